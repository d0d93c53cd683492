//! Pitch classes with their spelling: the root and the bass of a chord as it is written.

use std::fmt;

use super::Key;
use super::note::{LETTERS, NATURALS};

/// A pitch class as it is written: a letter with a sharp, a flat or neither.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Tone {
    /// 0 = C … 6 = B.
    letter: u8,
    /// −1 flat, 0, +1 sharp.
    accidental: i8,
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
