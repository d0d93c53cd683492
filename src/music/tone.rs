//! Pitch classes with their spelling: the root and the bass of a chord as it is written.

use std::fmt;

use super::Key;
use super::note::{LETTERS, NATURALS};

/// Places of the letters C, D, E, F, G, A, B on the line of fifths, counted from C.
const FIFTHS: [i32; 7] = [0, 2, 4, -1, 1, 3, 5];

/// A pitch class as it is written: a letter with a sharp, a flat or neither.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Tone {
    /// 0 = C … 6 = B.
    pub(super) letter: u8,
    /// −1 flat, 0, +1 sharp.
    pub(super) accidental: i8,
}

impl Tone {
    /// The pitch class (0 = C … 11 = B, folded by octaves) as a key writes it: see
    /// [`name_in`](super::note::name_in).
    #[must_use]
    pub fn in_key(class: u8, key: Key) -> Tone {
        let letter = key.letter_of(class % 12);
        let off = i32::from(class % 12) - NATURALS[usize::from(letter % 7)];
        // A key's letter is never more than a semitone off, round the octave.
        Tone { letter, accidental: ((off + 6).rem_euclid(12) - 6) as i8 }
    }

    /// The pitch class, 0 = C … 11 = B.
    #[must_use]
    pub fn class(self) -> u8 {
        (NATURALS[usize::from(self.letter % 7)] + i32::from(self.accidental)).rem_euclid(12) as u8
    }

    /// The tone so many semitones higher, or lower for a negative number, where a piece has moved by them to
    /// this key: written on the same degree as before, a raised fourth as a raised fourth, where the key that
    /// it came from is plain (F# and Gb major are two ways to write one) and no double accidental comes of
    /// it; else as the key writes it. A way of whole octaves changes nothing.
    #[must_use]
    pub fn moved(self, semitones: i32, key: Key) -> Tone {
        if semitones % 12 == 0 {
            return self;
        }
        let class = (i32::from(self.class()) + semitones.rem_euclid(12)) % 12;
        // Seven semitones make a fifth, and 7·7 = 1 modulo 12.
        let to = key.signature();
        let from = (to - 7 * semitones.rem_euclid(12) + 5).rem_euclid(12) - 5;
        let place = self.fifths() + to - from;
        // Further than the leading note of the third degree, or than a lowered fifth, nobody reads a degree.
        let is_degree = from != 6 && (to - 6..=to + 9).contains(&place) && (-8..=12).contains(&place);
        if is_degree { Tone::at_fifths(place) } else { Tone::in_key(class as u8, key) }
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

    #[test]
    fn a_move_keeps_the_degree() {
        let moved = |text: &str, way: i32, key: &str| {
            let tone = Tone::read(text).unwrap().0.moved(way, key.parse().unwrap());
            assert_eq!(tone.class(), (i32::from(Tone::read(text).unwrap().0.class()) + way).rem_euclid(12) as u8);
            tone.to_string()
        };
        // The leading note to the relative minor of C, moved to D and Eb; the lowered seventh likewise.
        assert_eq!(moved("G#", 2, "D"), "A#");
        assert_eq!(moved("G#", 3, "Eb"), "B");
        assert_eq!(moved("Bb", 2, "D"), "C");
        assert_eq!(moved("Bb", 3, "Eb"), "Db");
        // In minor: the leading note and the lowered second of A minor, to E minor.
        assert_eq!(moved("G#", 7, "Em"), "D#");
        assert_eq!(moved("Bb", 7, "Em"), "F");
        // Where it would need a double sharp, and where the chart may have been in F# or in Gb.
        assert_eq!(moved("G#", -1, "B"), "G");
        assert_eq!(moved("Cb", 6, "C"), "F");
        assert_eq!(moved("B", 6, "C"), "F");
        assert_eq!(moved("F#", -1, "C"), "F");
        assert_eq!(moved("G#", 0, "Eb"), "G#");
    }

    #[test]
    fn every_class_is_spelled_in_every_key() {
        for letter in "CDEFGAB".chars() {
            for rest in ["", "#", "b", "m", "#m", "bm"] {
                let key: Key = format!("{letter}{rest}").parse().unwrap();
                for class in 0..12 {
                    let tone = Tone::in_key(class, key);
                    assert_eq!(tone.class(), class);
                    assert_eq!(Tone::read(&tone.to_string()), Some((tone, "")));
                }
            }
        }
        // The scale of Gb major has a Cb (published in any table of keys; here from npm tonal 6.3.0).
        let spelled: Vec<String> =
            "Gb".parse::<Key>().unwrap().scale().map(|c| Tone::in_key(c, "Gb".parse().unwrap()).to_string()).into();
        assert_eq!(spelled, ["Gb", "Ab", "Bb", "Cb", "Db", "Eb", "F"]);
    }
}
