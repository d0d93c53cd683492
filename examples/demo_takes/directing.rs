//! How the set is moved without a look at a screen: by pedals, a spare key and the player of recorded tracks.

use handspan::music::KeyError;

use super::hands::{Performance, QUARTER};
use super::pieces::{CARRY, Entry, FROST, Piece, Section, WEIR_GATE, section};

/// The pedals with cues, and the topmost key.
const MIDDLE: u8 = 66;
const LEFT: u8 = 67;
const TOP: i32 = 108;
/// MIDI Machine Control: all devices, stop.
const STOP: [u8; 6] = [0xF0, 0x7F, 0x7F, 0x06, 0x01, 0xF7];

/// Pieces and the ticks at which each begins.
pub type Starts = Vec<(u64, &'static Piece)>;

impl Performance {
    /// From the first song by pedal to the second, from there by the tracks player to one in the middle of the set.
    ///
    /// # Errors
    /// A key or chord of a piece is not well written.
    pub fn direct(&mut self) -> Result<Starts, KeyError> {
        let mut starts = vec![(self.now, &WEIR_GATE)];
        self.mark("song 1");
        self.part(&WEIR_GATE, const { &[section("Verse", 62, "C | G/B")] })?;
        self.press(self.now - 60, MIDDLE, 90);
        self.part(&WEIR_GATE, const { &[section("Chorus", 76, "F | C")] })?;
        // Twice, in the middle of the last chord: it goes on sounding.
        self.press(self.now - 3 * QUARTER / 2, LEFT, 90);
        self.press(self.now - 3 * QUARTER / 2 + 190, LEFT, 100);
        starts.push((self.now, &FROST));
        self.part(&FROST, const { &[section("Verse", 56, "C | Am")] })?;
        self.press(self.now - QUARTER, LEFT, QUARTER + 60);
        self.now += 4 * QUARTER;
        self.tracks(&[0xC0, CARRY.place as u8 - 1]);
        starts.push((self.now, &CARRY));
        self.part(&CARRY, const { &[section("Intro", 50, "Cmaj7 | Fmaj7")] })?;
        self.tracks_key(24);
        self.note(self.now + 2 * QUARTER, 4 * QUARTER, TOP, 70);
        self.part(&CARRY, const { &[section("Verse", 60, "C | G")] })?;
        self.tracks_key(26);
        self.part(&CARRY, const { &[section("Chorus", 74, "F | G")] })?;
        self.tracks(&STOP);
        self.now += 3 * QUARTER;
        Ok(starts)
    }

    /// Plays sections, which cues have entered, and does not rest.
    fn part(&mut self, piece: &'static Piece, sections: &'static [Section]) -> Result<(), KeyError> {
        self.play(&Entry { place: piece.place, piece, sections, wish: None, rest: 0 })
    }

    fn press(&mut self, begin: u64, pedal: u8, length: u64) {
        self.control(begin, pedal, 127);
        self.control(begin + length, pedal, 0);
    }

    /// The tracks player says something, just before the beat.
    fn tracks(&mut self, message: &[u8]) {
        let now = self.now - 20;
        self.say_as_tracks(now, message);
    }

    /// A note on the channel for cues.
    fn tracks_key(&mut self, key: u8) {
        let now = self.now - 20;
        self.say_as_tracks(now, &[0x9E, key, 100]);
        self.say_as_tracks(now + 10, &[0x8E, key, 64]);
    }

    fn say_as_tracks(&mut self, tick: u64, message: &[u8]) {
        self.mark_at(tick, "from tracks");
        self.message(tick, message);
        self.mark_at(tick + 1, "from keyboard");
    }
}
