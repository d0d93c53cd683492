//! How a key writes a tone.

use super::letters::NATURALS;
use super::{Key, Tone};

impl Tone {
    /// The pitch class (0 = C … 11 = B, folded by octaves) as a key writes it: notes of the scale as the key signature
    /// has them, the others as in the harmonic chromatic scale of the tonic (common practice: in C they are Db, Eb, F#,
    /// Ab and Bb). Where that asks for a double accidental, the plain tone stands instead.
    #[must_use]
    pub(super) fn in_key(class: u8, key: Key) -> Tone {
        let letter = key.letter_of(class % 12);
        let off = i32::from(class % 12) - NATURALS[usize::from(letter % 7)];
        // A key's letter is never more than a semitone off, round the octave.
        Tone { letter, accidental: ((off + 6).rem_euclid(12) - 6) as i8 }
    }

    /// The tone where a piece has moved from one key to another: written on the same degree as before, a raised
    /// fourth as a raised fourth, where no double accidental comes of it; else as the new key writes it. A way of whole
    /// octaves changes nothing.
    #[must_use]
    pub fn moved(self, from: Key, key: Key) -> Tone {
        let way = from.nearest_way(key);
        if way == 0 {
            return self;
        }
        let class = (i32::from(self.class()) + way).rem_euclid(12);
        let to = key.signature();
        let place = self.fifths() + to - from.signature();
        // Further than the leading note of the third degree, or than a lowered fifth, nobody reads a degree.
        let is_degree = (to - 6..=to + 9).contains(&place) && (-8..=12).contains(&place);
        if is_degree { Tone::at_fifths(place) } else { Tone::in_key(class as u8, key) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_move_keeps_the_degree() {
        let moved = |text: &str, from: &str, key: &str| {
            let (before, from, key): (Tone, Key, Key) =
                (Tone::read(text).unwrap().0, from.parse().unwrap(), key.parse().unwrap());
            let tone = before.moved(from, key);
            assert_eq!(tone.class(), (i32::from(before.class()) + from.nearest_way(key)).rem_euclid(12) as u8);
            tone.to_string()
        };
        // The leading note to the relative minor of C, moved to D and Eb; the lowered seventh likewise.
        assert_eq!(moved("G#", "C", "D"), "A#");
        assert_eq!(moved("G#", "C", "Eb"), "B");
        assert_eq!(moved("Bb", "C", "D"), "C");
        assert_eq!(moved("Bb", "C", "Eb"), "Db");
        // In minor: the leading note and the lowered second of A minor, to E minor.
        assert_eq!(moved("G#", "Am", "Em"), "D#");
        assert_eq!(moved("Bb", "Am", "Em"), "F");
        // Where it would need a double sharp.
        assert_eq!(moved("G#", "C", "B"), "G");
        // Two ways to write one key: each chart is read by its own signature.
        assert_eq!([moved("Cb", "Gb", "C"), moved("B", "F#", "C")], ["F", "F"]);
        assert_eq!([moved("E#", "F#", "C"), moved("F", "Gb", "C")], ["B", "B"]);
        assert_eq!([moved("G", "Abm", "Am"), moved("Fb", "Abm", "Am")], ["G#", "F"]);
        // What no degree of its chart is.
        assert_eq!(moved("F#", "Db", "C"), "F");
        assert_eq!(moved("G#", "Eb", "Eb"), "G#");
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
