//! A zone, flat, and how it is made of a zone as written.

use super::{Compiler, output_number, set_up};
use crate::engine::ids::{ChannelId, Micros};
use crate::engine::plan::SetUp;
use crate::evening::{Inputs, feet_of, inputs_of, touch};
use crate::map::{Controls, KeyRange, Linger, Pedal, Plays, StayInKey, Zone};

/// A zone, flat.
#[derive(Debug, Clone)]
pub(in crate::engine) struct PlanZone {
    /// Index into the plan's zone names.
    pub name: u16,
    /// The inputs that it listens to.
    pub inputs: Inputs,
    /// The inputs whose pedals and controllers it follows.
    pub feet: Inputs,
    pub keys: (u8, u8),
    pub window: (u8, u8),
    pub by_handful: bool,
    pub exclusive: bool,
    /// Velocity after the input's curve, velocity on the wire (rule R6).
    pub velocity: [u8; 128],
    /// Octaves and transposition together, in semitones.
    pub offset: i32,
    pub follow_key: bool,
    pub within: Option<KeyRange>,
    pub channel: ChannelId,
    pub set_up: SetUp,
    pub pedal: Pedal,
    /// One bit for each controller that it follows; pedals are not among them.
    pub controls: u128,
    /// Whether it follows bend and pressure.
    pub bend: bool,
    pub on: bool,
    pub plays: Plays,
    /// Whether its handfuls matter where nothing rings.
    pub gathers: bool,
    /// Fewer keys change nothing of what is derived.
    pub min_keys: u32,
    pub linger: Linger,
    pub stay: StayInKey,
    pub one_key: bool,
    /// How long its notes fade that end for good.
    pub fade: Micros,
}

impl PlanZone {
    /// Whether notes of it may ring without a finger, or be owned by the zone while fingers are down.
    pub fn can_ring(&self) -> bool {
        self.linger != Linger::Off || self.plays != Plays::AsPressed || self.one_key
    }
}

impl Compiler<'_> {
    pub(super) fn zone(&mut self, zone: &Zone) -> PlanZone {
        let (inputs, feet) = (inputs_of(self.gear, zone), feet_of(self.gear, zone));
        // Every field is named, so that the compiler finds one that is forgotten here. The inputs were asked for above,
        // and which zones a section has stands with the section.
        #[rustfmt::skip]
        let Zone {
            spot: _, name, sound, input: _, pedals_from: _, sections: _, keys, velocity, by_handful, exclusive, curve, level,
            volume, transpose, octave, follow_key, within, plays, min_keys, linger, stay_in_key, one_key_chord, pedal,
            controls, bend, on, fade,
        } = zone;
        let sound = self.gear.sound(&sound.value);
        PlanZone {
            name: self.zone_number(name),
            inputs,
            feet,
            keys: (keys.value.0 as u8, keys.value.1 as u8),
            window: velocity.value,
            by_handful: *by_handful,
            exclusive: *exclusive,
            velocity: touch(curve.as_ref(), *level),
            offset: 12 * octave + transpose,
            follow_key: *follow_key,
            within: within.as_ref().map(|range| range.value),
            channel: sound.map_or(ChannelId(0), |sound| {
                self.channel(output_number(self.gear, &sound.output), sound.channel.index())
            }),
            set_up: sound.map_or_else(SetUp::default, |sound| set_up(sound, *volume)),
            pedal: *pedal,
            controls: followed(controls),
            bend: *bend,
            on: *on,
            plays: *plays,
            gathers: false,
            min_keys: u32::from(*min_keys),
            linger: *linger,
            stay: *stay_in_key,
            one_key: *one_key_chord,
            fade: Micros(*fade),
        }
    }
}

/// The controllers that a zone follows, one bit each. 120 belongs to them; 121 and 123–127 speak of the input.
fn followed(controls: &Controls) -> u128 {
    let pedals = (64..=69).fold(0u128, |set, number| set | 1 << number);
    match controls {
        Controls::Follow => !pedals,
        Controls::Ignore => 0,
        Controls::List(numbers) => numbers.iter().fold(0, |set, number| set | 1 << u8::from(*number)) & !pedals,
    }
}
