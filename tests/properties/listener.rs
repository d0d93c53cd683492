//! What listeners make of the wire, shared by the properties and the trials of `tests/fuzz_seeds`.

use std::collections::{BTreeMap, BTreeSet};

use handspan::engine::Out;

/// (output, channel, note or controller)
pub type Wire = (usize, u8, u8);

/// Follows what is said to all outputs, and holds it to rule R2 and to the order of time (R20).
#[derive(Debug, Default)]
pub struct Listener {
    /// Notes that sound.
    pub sounding: BTreeSet<Wire>,
    /// Pedals that are not up.
    pub pedals: BTreeSet<Wire>,
    /// Bends that are not at the centre, by output and channel.
    pub bends: BTreeMap<(usize, u8), u16>,
    /// Pressures that are not 0, by output and channel.
    pub pressures: BTreeMap<(usize, u8), u8>,
    /// Controller 11 where it was said, by output and channel.
    pub levels: BTreeMap<(usize, u8), u8>,
    /// The values of controller 11 that a player gives it: all others are a fade's. Empty: any may be a player's.
    pub players_levels: &'static [u8],
    /// Places that got a note from this run, by output and channel.
    pub played: BTreeSet<(usize, u8)>,
    /// Notes that began before this listener came: their offs are no surprise.
    missed: BTreeSet<Wire>,
    /// Notes that a sender left behind when it was killed: only All Sound Off ends them.
    left: BTreeSet<Wire>,
    at: u64,
}

impl Listener {
    /// Hears what one step said.
    pub fn hear(&mut self, out: &Out) {
        for said in out.said() {
            self.hear_one(said.at.0, said.output, said.bytes);
        }
    }

    /// Hears one message; `at` is any measure of time that does not run backwards.
    pub fn hear_one(&mut self, at: u64, output: usize, bytes: &[u8]) {
        assert!(at >= self.at, "time goes backwards on the wire");
        self.at = at;
        let [status, data @ ..] = bytes else { panic!("an empty message") };
        let channel = status & 15;
        let wire = |number: u8| (output, channel, number);
        let place = format_args!("output {output}: {bytes:02X?}");
        match (status & 0xF0, data) {
            (0x90, [note, 1..=127]) => {
                let note = wire(*note);
                let fresh = self.sounding.insert(note) && !self.missed.contains(&note) && !self.left.contains(&note);
                assert!(fresh, "on after on: {place}");
                assert!(self.is_players_level(&(output, channel)), "a note at a level that a fade left: {place}");
                self.played.insert((output, channel));
            }
            (0x80, [note, _]) => {
                let known = self.sounding.remove(&wire(*note)) || self.missed.remove(&wire(*note));
                assert!(known, "off without on: {place}");
            }
            (0xB0, [pedal @ 64..=69, 0]) => {
                self.pedals.remove(&wire(*pedal));
            }
            (0xB0, [pedal @ 64..=69, _]) => {
                self.pedals.insert(wire(*pedal));
            }
            (0xB0, [11, level]) => {
                let before = self.levels.insert((output, channel), *level).unwrap_or(127);
                assert!(self.is_players_level(&(output, channel)) || *level < before, "a fade goes up: {place}");
            }
            (0xB0, [120, _]) => self.left.retain(|note| (note.0, note.1) != (output, channel)),
            // RP-015: what else a listener puts to rest at a reset of all controllers.
            (0xB0, [121, _]) => {
                self.pedals.retain(|(out, ch, pedal)| (*out, *ch) != (output, channel) || *pedal > 67);
                self.bends.remove(&(output, channel));
                self.pressures.remove(&(output, channel));
                self.levels.remove(&(output, channel));
            }
            (0xE0, [0, 64]) => {
                self.bends.remove(&(output, channel));
            }
            (0xE0, [low, high]) => {
                self.bends.insert((output, channel), u16::from(*high) << 7 | u16::from(*low));
            }
            (0xD0, [0]) => {
                self.pressures.remove(&(output, channel));
            }
            (0xD0, [value]) => {
                self.pressures.insert((output, channel), *value);
            }
            (0xA0 | 0xB0, [_, _]) | (0xC0, [_]) | (0xF0, _) => {}
            _ => panic!("no message: {place}"),
        }
    }

    /// Whether a place is at a level that a player can have given it.
    pub fn is_players_level(&self, place: &(usize, u8)) -> bool {
        let known = self.levels.get(place);
        self.players_levels.is_empty() || known.is_none_or(|level| self.players_levels.contains(level))
    }

    /// The level of an output's places may be another's by now.
    #[allow(dead_code, reason = "not all who share this file start listeners again")]
    pub fn forget_levels(&mut self, output: usize) {
        self.levels.retain(|place, _| place.0 != output);
    }

    /// The listener of an output was started again: it knows nothing of what was said there.
    #[allow(dead_code, reason = "not all who share this file start listeners again")]
    pub fn start_again(&mut self, output: usize) {
        self.missed.extend(self.sounding.iter().filter(|note| note.0 == output));
        self.sounding.retain(|note| note.0 != output);
        self.pedals.retain(|pedal| pedal.0 != output);
        self.bends.retain(|place, _| place.0 != output);
        self.pressures.retain(|place, _| place.0 != output);
        self.forget_levels(output);
    }

    /// Whoever spoke was killed: what sounds goes on, and no off that was owed will come.
    pub fn lose_sender(&mut self) {
        self.left.append(&mut self.sounding);
        self.missed.clear();
        self.played.clear();
    }

    /// Nothing sounds, no pedal is down, nothing is bent or pressed, and no fade left its level.
    pub fn assert_at_rest(&self) {
        assert!(self.sounding.is_empty(), "notes hang: {:?}", self.sounding);
        assert!(self.left.is_empty(), "notes of another run hang: {:?}", self.left);
        assert!(self.pedals.is_empty(), "pedals hang: {:?}", self.pedals);
        assert!(self.bends.is_empty(), "bends hang: {:?}", self.bends);
        assert!(self.pressures.is_empty(), "pressures hang: {:?}", self.pressures);
        assert!(self.levels.keys().all(|place| self.is_players_level(place)), "faded: {:?}", self.levels);
    }
}
