//! A zone, flat, and how it is made of a zone as written.

use super::ids::{ChannelId, FollowerId, Micros};
use crate::evening::{Inputs, Offset, feet_of, inputs_of, touch};
use crate::map::{Controls, Gear, KeyRange, Linger, Pedal, Plays, Sound, StayInKey, Zone};
use crate::midi::U7;

/// How a zone's sound is set up; numbers as on the wire.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(super) struct SetUp {
    pub bank: Option<(u8, u8)>,
    pub program: Option<u8>,
    pub volume: Option<u8>,
    pub pan: Option<u8>,
}

impl SetUp {
    /// That of a sound, with a volume of its own where it has one in this song.
    pub fn of(sound: &Sound, volume: Option<U7>) -> SetUp {
        SetUp {
            bank: sound.bank.map(|(msb, lsb)| (u8::from(msb), u8::from(lsb))),
            program: sound.program.map(u8::from),
            volume: volume.or(sound.volume).map(u8::from),
            pan: sound.pan.map(u8::from),
        }
    }
}

/// A zone, flat.
#[derive(Debug, Clone)]
pub(super) struct PlanZone {
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
    /// From its keys to its notes, before `within`.
    pub offset: Offset,
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
    /// Its number among the zones that follow chords, where it is one.
    pub follower: Option<FollowerId>,
    /// Whether its handfuls matter where nothing rings.
    pub gathers: bool,
    /// Fewer keys change nothing of what is derived.
    pub min_keys: u32,
    pub linger: Linger,
    pub stay: StayInKey,
    pub one_key: bool,
    /// How long its held notes take to fade out.
    pub fade: Micros,
}

impl PlanZone {
    /// A zone of a song, with the number of its name and the channel of its sound.
    pub fn of(zone: &Zone, gear: &Gear, name: u16, channel: ChannelId) -> PlanZone {
        let (inputs, feet) = (inputs_of(gear, zone), feet_of(gear, zone));
        // Every field is named, so that the compiler finds one that is forgotten here. The name's number is given, the
        // inputs were asked for above, and which zones a section has stands with the section.
        #[rustfmt::skip]
        let Zone {
            spot: _, name: _, sound, input: _, pedals_from: _, sections: _, keys, velocity, by_handful, exclusive, curve, level,
            volume, transpose: _, octave: _, follow_key: _, within, plays, min_keys, linger, stay_in_key, one_key_chord, pedal,
            controls, bend, on, fade,
        } = zone;
        let sound = gear.sound(&sound.value);
        PlanZone {
            name,
            inputs,
            feet,
            keys: (keys.value.0 as u8, keys.value.1 as u8),
            window: velocity.value,
            by_handful: *by_handful,
            exclusive: *exclusive,
            velocity: touch(curve.as_ref(), *level),
            offset: Offset::of(zone),
            within: within.as_ref().map(|range| range.value),
            channel,
            set_up: sound.map_or_else(SetUp::default, |sound| SetUp::of(sound, *volume)),
            pedal: *pedal,
            controls: followed(controls),
            bend: *bend,
            on: *on,
            plays: *plays,
            follower: None,
            gathers: false,
            min_keys: u32::from(*min_keys),
            linger: *linger,
            stay: *stay_in_key,
            one_key: *one_key_chord,
            fade: Micros(*fade),
        }
    }

    /// The inputs whose sustain pedal holds what it hears.
    pub fn sustains(&self) -> Inputs {
        self.inputs | self.feet
    }

    /// Whether notes of it may ring without a finger, or be owned by the zone while fingers are down.
    pub fn can_ring(&self) -> bool {
        self.linger != Linger::Off || self.plays != Plays::AsPressed || self.one_key
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
