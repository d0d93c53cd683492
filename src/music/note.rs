//! Note names such as `F#3`, read and written.
//!
//! A name is a letter, an accidental where needed, and the octave in which the letter stands: `Cb4` is
//! the B below `C4`, `B#3` is `C4` itself. How octaves are counted is not standardised: most of the trade
//! calls MIDI note 60 C4 (as scientific pitch notation does), some makers call it C3, so every function
//! here takes the octave of middle C.

use wmidi::Note;

use super::Tone;
use super::letters::{LETTERS, NATURALS};

/// Why a text names no note.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum NoteError {
    /// The text is not written as a note name.
    #[error(
        "\"{0}\" is no note: write a capital letter A to G, then # or b where needed, then the octave, such as \"F#3\""
    )]
    Name(String),
    /// The text is a note name, but MIDI has no such note.
    #[error("\"{text}\" is no MIDI note: write one from {lowest} to {highest}")]
    Range {
        /// The text.
        text: String,
        /// Name of the lowest note, 0.
        lowest: String,
        /// Name of the highest note, 127.
        highest: String,
    },
}

/// Reads a note name. `middle_c_octave` is the octave of MIDI note 60: 4 where that is called C4, 3 where
/// it is called C3. Small letters are refused: in `b4` a reader cannot tell a note from a flat.
///
/// # Errors
/// The text is not a note name, or the note is not one of 0–127.
pub fn parse(text: &str, middle_c_octave: i32) -> Result<Note, NoteError> {
    let number = semitones(text, middle_c_octave).ok_or_else(|| NoteError::Name(text.to_owned()))?;
    u8::try_from(number).ok().and_then(|number| Note::try_from(number).ok()).ok_or_else(|| NoteError::Range {
        text: text.to_owned(),
        lowest: name(Note::LOWEST_NOTE, middle_c_octave),
        highest: name(Note::HIGHEST_NOTE, middle_c_octave),
    })
}

/// The MIDI number that a well-formed name stands for, in or out of MIDI's range.
fn semitones(text: &str, middle_c_octave: i32) -> Option<i32> {
    let mut rest = text.chars();
    let letter = rest.next()?;
    let natural = NATURALS[LETTERS.iter().position(|l| *l == letter)?];
    let rest = rest.as_str();
    let (accidental, octave) = match rest.chars().next()? {
        '#' => (1, &rest[1..]),
        'b' => (-1, &rest[1..]),
        _ => (0, rest),
    };
    let digits = octave.strip_prefix('-').unwrap_or(octave);
    let plain = matches!(digits.as_bytes(), [b'0'..=b'9'] | [b'1'..=b'9', b'0'..=b'9']) && octave != "-0";
    let octave: i32 = octave.parse().ok().filter(|_| plain)?;
    Some(60 + 12 * (octave - middle_c_octave) + natural + accidental)
}

/// Whether a key is a black one, by its number or its pitch class.
#[must_use]
pub fn is_black(key: u8) -> bool {
    matches!(key % 12, 1 | 3 | 6 | 8 | 10)
}

/// A note's name, black keys as sharps.
#[must_use]
pub fn name(note: Note, middle_c_octave: i32) -> String {
    let number = i32::from(u8::from(note));
    let letter = [0, 0, 1, 1, 2, 3, 3, 4, 4, 5, 5, 6][(number % 12) as usize];
    spelled(number, letter, middle_c_octave)
}

/// A note's name, its pitch class written as this tone, which must be its own.
pub(super) fn written(note: Note, tone: Tone, middle_c_octave: i32) -> String {
    spelled(i32::from(u8::from(note)), usize::from(tone.letter), middle_c_octave)
}

/// Writes the note with this letter, from which it must be at most a semitone away.
fn spelled(number: i32, letter: usize, middle_c_octave: i32) -> String {
    let accidental = (number - NATURALS[letter] + 6).rem_euclid(12) - 6;
    let sign = match accidental {
        1 => "#",
        -1 => "b",
        _ => "",
    };
    let octave = (number - accidental - 60).div_euclid(12) + middle_c_octave;
    format!("{}{sign}{octave}", LETTERS[letter])
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::music::{Key, Speller};

    fn note(number: u8) -> Note {
        Note::try_from(number).unwrap()
    }

    #[test]
    fn middle_c_is_60_as_either_school_counts() {
        // MIDI 1.0 Detailed Specification 4.2.1 p. 10: 60 is middle C; its octave's number is common practice.
        assert_eq!(parse("C4", 4), Ok(note(60)));
        assert_eq!(parse("C3", 3), Ok(note(60)));
        assert_eq!(name(note(60), 4), "C4");
        assert_eq!(name(note(60), 3), "C3");
    }

    #[test]
    fn ends_of_the_keyboard_and_of_midi() {
        for (text, number) in [("A0", 21), ("C8", 108), ("C-1", 0), ("G9", 127), ("A4", 69)] {
            assert_eq!(parse(text, 4), Ok(note(number)), "{text}");
            assert_eq!(name(note(number), 4), text);
        }
        assert_eq!(parse("C-2", 3), Ok(note(0)));
        assert_eq!(parse("G8", 3), Ok(note(127)));
    }

    #[test]
    fn octave_goes_by_the_letter() {
        for (text, number) in [("Cb4", 59), ("B#3", 60), ("E#3", 53), ("Fb3", 52), ("Bb3", 58), ("F#3", 54)] {
            assert_eq!(parse(text, 4), Ok(note(number)), "{text}");
        }
    }

    #[test]
    fn beyond_midi_says_what_there_is() {
        for text in ["G#9", "A9", "C10", "Cb-1", "B-2", "C99", "C-99"] {
            let error = parse(text, 4).unwrap_err();
            assert_eq!(error.to_string(), format!("\"{text}\" is no MIDI note: write one from C-1 to G9"));
        }
        let error = parse("A8", 3).unwrap_err();
        assert_eq!(error.to_string(), "\"A8\" is no MIDI note: write one from C-2 to G8");
    }

    #[test]
    fn what_could_be_read_in_two_ways_is_refused() {
        let odd = [
            "", "C", "#", "4", "60", "c4", "b4", "bb3", "H3", "C##4", "Cbb4", "C#b4", "C 4", " C4", "C4 ", "C+4",
            "C04", "C-0", "C--1", "C4.0", "C♯4", "Cis4", "C#", "Bb", "C100", "C-100", "é4", "Cé",
        ];
        for text in odd {
            assert_eq!(parse(text, 4), Err(NoteError::Name(text.to_owned())), "{text}");
        }
        assert_eq!(
            NoteError::Name("b4".to_owned()).to_string(),
            "\"b4\" is no note: write a capital letter A to G, then # or b where needed, then the octave, such as \"F#3\""
        );
    }

    #[test]
    fn every_name_reads_back() {
        let keys: Vec<Key> = ["C", "Eb", "F#", "Gb", "C#", "Cb", "Am", "D#m", "Abm", "A#m", "G#", "Fbm"]
            .map(|key| key.parse().unwrap())
            .to_vec();
        for number in 0..=127 {
            for octave in [3, 4] {
                assert_eq!(parse(&name(note(number), octave), octave), Ok(note(number)));
                for key in &keys {
                    let spelled = Speller::from(*key).note(note(number), octave);
                    // C-1 spelled B# stands in the octave below, which is a name of a MIDI note all the same.
                    assert_eq!(parse(&spelled, octave), Ok(note(number)), "{key} {spelled}");
                }
            }
        }
    }
}
