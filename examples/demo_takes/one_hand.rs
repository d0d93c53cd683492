//! A beginner's hand: one that rolls a chord and finds a melody above it, one finger for whole chords, a sweep.

use handspan::midi::Note;
use handspan::music::range::fold_into;
use handspan::music::{Key, KeyError};

use super::hands::{Chord, Performance, QUARTER};
use super::pieces::Piece;

/// Where one hand alone grips its chords.
const GRIP: (Note, Note) = (Note::B3, Note::Bb4);
/// A hand spans no more from its lowest key, in semitones: a ninth.
const SPAN: i32 = 14;
/// Where one finger plays chords.
const FINGER: (Note, Note) = (Note::C3, Note::B3);
/// The topmost keys, for a sweep.
const TOP: std::ops::RangeInclusive<i32> = 84..=103;

impl Performance {
    /// A chord rolled upward and held, a melody above it. Then the hand moves: mostly early enough to lift all fingers,
    /// now and then with fingers that come up late, after the next chord was struck.
    pub fn one_hand(&mut self, piece: &Piece, chord: &Chord, loud: u8, bar: u64, last: bool) -> Result<(), KeyError> {
        let mut notes: Vec<i32> = chord.notes.iter().filter_map(|class| fold_into(*class, GRIP)).collect();
        notes.sort_unstable();
        let late = *self.chance.one_of(&[&[0], &[0], &[1], &[2]]).first().unwrap_or(&0);
        // Fingers that move close to the keys are quick; a lifted hand rolls.
        let spread = if late > 0 { 4 } else { 12 } + self.chance.below(10);
        for (finger, note) in notes.iter().enumerate() {
            let begin = self.now + spread * finger as u64;
            let until = match late {
                _ if last => bar * 3 / 4,
                // Legato: the thumb first, the other fingers later and later.
                1 => bar + 8 + 14 * finger as u64,
                2 => bar + 30 + 20 * finger as u64,
                // Lifted, to move.
                _ => bar - 60 - self.chance.below(90),
            };
            let touch = loud + finger as u8 * 3 + self.chance.below(6) as u8;
            self.note(begin, self.now + until - begin, *note, touch);
        }
        if !last {
            self.melody_above(piece, &notes, loud, bar)?;
        }
        Ok(())
    }

    /// Single notes above a held chord, as far as the hand reaches.
    fn melody_above(&mut self, piece: &Piece, held: &[i32], loud: u8, bar: u64) -> Result<(), KeyError> {
        let (Some(lowest), Some(highest)) = (held.first(), held.last()) else { return Ok(()) };
        let scale = piece.key.parse::<Key>()?.scale();
        let reached: Vec<i32> =
            (highest + 1..=lowest + SPAN).filter(|note| scale.contains(&(note.rem_euclid(12) as u8))).collect();
        let rhythm = self.chance.one_of(&[&[2, 3], &[2, 3, 4], &[2, 4], &[3, 4, 5]]);
        for (step, begin) in rhythm.iter().enumerate() {
            let end = rhythm.get(step + 1).copied().unwrap_or(bar * 2 / QUARTER - 1);
            let Some(note) = reached.get((self.chance.below(2) as usize + step) % reached.len().max(1)) else { break };
            let at = self.now + begin * QUARTER / 2 + self.chance.below(16);
            let touch = loud + 14 + self.chance.below(8) as u8;
            self.note(at, (end - begin) * QUARTER / 2 - 24, *note, touch);
        }
        Ok(())
    }

    /// The key of a chord's bass, and again in the middle of the bar, softer.
    pub fn one_finger(&mut self, chord: &Chord, loud: u8, bar: u64, beat: u64) {
        let Some(key) = fold_into(chord.bass, FINGER) else { return };
        for (begin, softer) in [(0, 0), (beat * 2, 12)] {
            let at = self.now + begin + self.chance.below(14);
            let touch = loud - softer + self.chance.below(10) as u8;
            self.note(at, bar / 2 - 60, key, touch);
        }
    }

    /// The back of a fingernail over black keys and white, upward.
    pub fn sweep(&mut self, loud: u8, bar: u64) {
        let mut at = self.now + bar / 4;
        for (step, key) in TOP.enumerate() {
            self.note(at, 50, key, loud + step as u8);
            at += 22 + self.chance.below(9);
        }
    }
}
