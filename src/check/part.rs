//! A zone as the findings look at it.

use super::words;
use crate::evening::{Inputs, Offset};
use crate::map::{Plays, Sound, StayInKey, Zone};

/// One channel of one output: the output's number in the gear, and the channel.
pub(super) type SoundChannel = (usize, u8);

/// A zone with what its names mean.
pub(super) struct ResolvedZone<'a> {
    pub zone: &'a Zone,
    pub sound: &'a Sound,
    pub place: SoundChannel,
    pub inputs: Inputs,
}

impl ResolvedZone<'_> {
    /// The zone's name in quotation marks.
    pub fn name(&self) -> String {
        words::quoted(&self.zone.name)
    }

    /// Its keys, as numbers.
    pub fn keys(&self) -> (u8, u8) {
        (u8::from(self.zone.keys.value.0), u8::from(self.zone.keys.value.1))
    }

    /// Whether the map says which keys it has.
    pub fn names_keys(&self) -> bool {
        self.zone.keys.spot != self.zone.spot
    }

    /// From the pressed key to its note, without the shift, in semitones.
    pub fn offset(&self) -> i32 {
        self.offset_at(0)
    }

    /// From the pressed key to its note under a shift, before `within`.
    pub fn offset_at(&self, shift: i32) -> i32 {
        Offset::of(self.zone).at(shift)
    }

    /// Whether each key gives its own note, as far from it as any other: nothing is derived, and no key is another's.
    pub fn is_literal(&self) -> bool {
        let moved = self.zone.stay_in_key == StayInKey::Nearest;
        !self.zone.plays.derives() && !self.zone.one_key_chord && !moved
    }

    /// Whether it takes all keys in its range: none is left to zones after it for not fitting (rule R12).
    pub fn takes_all(&self) -> bool {
        self.zone.stay_in_key != StayInKey::Silent
    }

    /// How far below and above a key, moved by the offset, the notes may lie that come of it, before `within`.
    pub fn spread(&self) -> (i32, i32) {
        let (below, above) = match self.zone.plays {
            // Rule R13.
            _ if self.zone.one_key_chord => (8, 8),
            // The widest fifth is augmented (rule R11).
            Plays::RootFifth => (0, 8),
            _ => (0, 0),
        };
        // No key is further than two semitones from one of the scale.
        let moved = if self.zone.stay_in_key == StayInKey::Nearest { 2 } else { 0 };
        (below + moved, above + moved)
    }

    /// Whether it listens to an input.
    pub fn hears(&self, input: usize) -> bool {
        self.inputs & 1 << input != 0
    }
}
