//! Pitch classes with their spelling: the root and the bass of a chord as it is written.

use std::fmt;

use super::letters::{LETTERS, NATURALS};

/// Places of the letters C, D, E, F, G, A, B on the line of fifths, counted from C.
const FIFTHS: [i32; 7] = [0, 2, 4, -1, 1, 3, 5];

/// Places on the line of fifths to the tone so many semitones above: minor and major intervals, the fourth augmented.
pub(super) const INTERVALS: [i32; 12] = [0, -5, 2, -3, 4, -1, 6, 1, -4, 3, -2, 5];

/// A pitch class as it is written: a letter with a sharp, a flat or neither.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Tone {
    /// 0 = C … 6 = B.
    pub(super) letter: u8,
    /// −1 flat, 0, +1 sharp.
    pub(super) accidental: i8,
}

impl Tone {
    /// The middle of the line of fifths, from which its places are counted.
    pub(super) const C: Tone = Tone { letter: 0, accidental: 0 };

    /// The pitch class, 0 = C … 11 = B.
    #[must_use]
    pub fn class(self) -> u8 {
        (NATURALS[usize::from(self.letter % 7)] + i32::from(self.accidental)).rem_euclid(12) as u8
    }

    /// The place on the line of fifths: 0 = C, 1 = G, −1 = F; from −8 (Fb) to 12 (B#).
    pub(super) fn fifths(self) -> i32 {
        FIFTHS[usize::from(self.letter % 7)] + 7 * i32::from(self.accidental)
    }

    /// The tone at a place from −8 to 12 on the line of fifths.
    pub(super) fn at_fifths(place: i32) -> Tone {
        let accidental = (place + 1).div_euclid(7);
        let letter = ((place - 7 * accidental) * 4).rem_euclid(7);
        Tone { letter: letter as u8, accidental: accidental.clamp(-1, 1) as i8 }
    }

    /// The other ways to write the same pitch class.
    pub(super) fn others(self) -> impl Iterator<Item = Tone> {
        [-12, 12].into_iter().filter_map(move |way| self.further(way))
    }

    /// The tone so many places further on the line of fifths, if it needs no double accidental.
    pub(super) fn further(self, way: i32) -> Option<Tone> {
        let place = self.fifths() + way;
        (-8..=12).contains(&place).then(|| Tone::at_fifths(place))
    }

    /// A pitch class by its usual interval from this tone upward, if that needs no double accidental.
    pub(super) fn above(self, class: u8) -> Option<Tone> {
        self.further(INTERVALS[usize::from((12 + class % 12 - self.class()) % 12)])
    }

    /// Reads a tone at the start of a text: a capital letter A to G, then `#`, `♯`, `b` or `♭` where needed.
    /// Also gives the rest of the text. `None` where no tone stands there.
    #[must_use]
    pub fn read(text: &str) -> Option<(Tone, &str)> {
        let mut rest = text.chars();
        let first = rest.next()?;
        let letter = LETTERS.iter().position(|letter| *letter == first)? as u8;
        let after = rest.as_str();
        let (accidental, rest) = match rest.next() {
            Some('#' | '♯') => (1, rest.as_str()),
            Some('b' | '♭') => (-1, rest.as_str()),
            _ => (0, after),
        };
        Some((Tone { letter, accidental }, rest))
    }
}

impl fmt::Display for Tone {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let accidental = match self.accidental {
            1 => "#",
            -1 => "b",
            _ => "",
        };
        write!(f, "{}{accidental}", LETTERS[usize::from(self.letter % 7)])
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tones_read_and_write() {
        for (text, class) in [("C", 0), ("F#", 6), ("Bb", 10), ("Cb", 11), ("B#", 0), ("E#", 5), ("Fb", 4)] {
            let (tone, rest) = Tone::read(text).unwrap();
            assert_eq!((tone.class(), rest, tone.to_string().as_str()), (class, "", text));
        }
        let (tone, rest) = Tone::read("B♭maj7").unwrap();
        assert_eq!((tone.to_string().as_str(), rest), ("Bb", "maj7"));
        assert_eq!(Tone::read("C♯").unwrap().0.to_string(), "C#");
        for text in ["", "H", "b", "c", "#", "é"] {
            assert_eq!(Tone::read(text), None, "{text}");
        }
    }
}
