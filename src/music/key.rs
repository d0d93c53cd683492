//! Musical keys, major and minor: their spelling, their notes, and the ways between them.
//!
//! Spelling is calculated on the line of fifths (… Bb F C G D A E B F# …), where a major key's signature is
//! its tonic's place counted from C and a minor key's is that of the major key three fifths lower
//! (common practice).

use std::fmt;
use std::str::FromStr;

use super::letters::{LETTERS, NATURALS};
use super::{German, Tone};

/// A major or minor key with its spelling, such as `F#`, `Bb` or `C#m`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Key {
    /// 0 = C … 6 = B.
    letter: u8,
    /// −1 flat, 0, +1 sharp.
    accidental: i8,
    minor: bool,
}

/// Why a text names no key.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("\"{0}\" is no key: {help}", help = instead(.0))]
pub struct KeyError(pub String);

fn instead(text: &str) -> String {
    match German::key(text) {
        Some((german, key)) => format!("{german}, write \"{key}\""),
        None => {
            "write a letter A to G, then # or b where needed, then m for minor, such as \"Eb\" or \"C#m\"".to_owned()
        }
    }
}

impl Key {
    /// The key that a text most likely means which is none: with a small letter, with `♭` and `♯`, with major and minor as
    /// words.
    #[must_use]
    pub fn meant(text: &str) -> Option<Key> {
        const MAJOR: [&str; 4] = ["major", "maj", "dur", "M"];
        const MINOR: [&str; 6] = ["minor", "min", "moll", "mi", "m", "-"];
        let plain = text.trim().replace('♭', "b").replace('♯', "#").replace(" flat", "b").replace(" sharp", "#");
        if !plain.is_ascii() {
            return None;
        }
        let without = |words: &[&str]| {
            let ends = |word: &&&str| {
                plain.ends_with(**word) || word.len() > 1 && plain.to_ascii_lowercase().ends_with(**word)
            };
            words.iter().find(ends).map(|word| plain[..plain.len() - word.len()].trim_end_matches([' ', '-']))
        };
        let (tonic, mode) = match (without(&MAJOR), without(&MINOR)) {
            (Some(rest), _) => (rest, ""),
            (None, Some(rest)) => (rest, "m"),
            (None, None) => (plain.as_str(), ""),
        };
        let mut letters = tonic.chars();
        let first = letters.next()?.to_ascii_uppercase();
        format!("{first}{}{mode}", letters.as_str()).parse().ok()
    }

    /// The tonic's pitch class, 0 = C … 11 = B.
    #[must_use]
    pub fn tonic(self) -> u8 {
        let natural = NATURALS[usize::from(self.letter % 7)];
        (natural + i32::from(self.accidental)).rem_euclid(12) as u8
    }

    /// Whether it is a minor key.
    #[must_use]
    pub fn is_minor(self) -> bool {
        self.minor
    }

    /// Semitones from this key's tonic to another's, the nearest way, −5 … +6 (rule R5).
    #[must_use]
    pub fn nearest_way(self, to: Key) -> i32 {
        nearest_way(self.tonic(), to.tonic())
    }

    /// Semitones from this key's tonic up to another's, 0 … 11.
    #[must_use]
    pub fn way_up(self, to: Key) -> i32 {
        (i32::from(to.tonic()) - i32::from(self.tonic())).rem_euclid(12)
    }

    /// Semitones from this key's tonic down to another's, −11 … 0.
    #[must_use]
    pub fn way_down(self, to: Key) -> i32 {
        -to.way_up(self)
    }

    /// The key signature: sharps, or flats as a negative number, −7 … +7 (the byte `sf` of the standard
    /// MIDI file's key signature, RP-001). A key that no signature can write, such as G# major with its
    /// eight sharps, has that of the key it is written as, here Ab major.
    #[must_use]
    pub fn signature(self) -> i32 {
        self.written().sharps()
    }

    /// The seven pitch classes of its scale from the tonic upward; of a minor key, the natural minor.
    #[must_use]
    pub fn scale(self) -> [u8; 7] {
        let steps = if self.minor { [0, 2, 3, 5, 7, 8, 10] } else { [0, 2, 4, 5, 7, 9, 11] };
        steps.map(|step| (self.tonic() + step) % 12)
    }

    /// The minor key with a major key's signature, or the major key with a minor key's.
    #[must_use]
    pub fn relative(self) -> Key {
        let key = self.written();
        let tonic = if key.minor { key.fifths() - 3 } else { key.fifths() + 3 };
        Key::at_fifths(tonic, !key.minor)
    }

    /// The key so many semitones higher, or lower for a negative number, as it is usually written: with
    /// the fewest sharps or flats (common practice: Db rather than C#, B rather than Cb, G#m rather than
    /// Abm). Where both have six, F# and Gb, D#m and Ebm, it has sharps if this key has, flats if this key
    /// has, and from C and Am sharps upward and flats downward. A way of whole octaves changes nothing.
    #[must_use]
    pub fn transposed(self, semitones: i32) -> Key {
        if semitones % 12 == 0 {
            return self;
        }
        let tonic = (i32::from(self.tonic()) + semitones.rem_euclid(12)).rem_euclid(12) as u8;
        let sharp = match self.signature() {
            0 => semitones > 0,
            sharps => sharps > 0,
        };
        Key::usual(tonic, self.minor, sharp)
    }

    /// The key on a pitch class (0 = C … 11 = B, folded by octaves) as it is usually written: with the
    /// fewest sharps or flats, and of F# and Gb, D#m and Ebm, the one that `sharp` asks for.
    #[must_use]
    pub fn usual(tonic: u8, minor: bool, sharp: bool) -> Key {
        // Seven semitones make a fifth, and 7·7 = 1 modulo 12: so this is the tonic's place, modulo 12.
        let tonic = i32::from(tonic % 12) * 7;
        let mode = if minor { 3 } else { 0 };
        let sharps = (tonic - mode + 5).rem_euclid(12) - 5;
        Key::at_fifths(if sharps == 6 && !sharp { -6 } else { sharps } + mode, minor)
    }

    /// This key, or the one it is written as where no signature can write it: G# major as Ab major.
    #[must_use]
    pub fn written(self) -> Key {
        match self.sharps() {
            8.. => Key::at_fifths(self.fifths() - 12, self.minor),
            ..=-8 => Key::at_fifths(self.fifths() + 12, self.minor),
            _ => self,
        }
    }

    /// The letter (0 = C … 6 = B) with which this key writes a pitch class; never more than a semitone off.
    pub(super) fn letter_of(self, pitch_class: u8) -> u8 {
        // The harmonic chromatic scale reaches from five fifths below the tonic to six above it.
        let lowest = self.written().fifths() - 5;
        let place = lowest + (i32::from(pitch_class) * 7 - lowest).rem_euclid(12);
        // Beyond Fb and B# only double accidentals are left.
        let place = match place {
            13.. => place - 12,
            ..=-9 => place + 12,
            _ => place,
        };
        Key::at_fifths(place, false).letter
    }

    /// The tonic's place on the line of fifths: 0 = C, 1 = G, −1 = F; from −8 (Fb) to 12 (B#).
    fn fifths(self) -> i32 {
        self.tone().fifths()
    }

    /// The tonic as it is written.
    pub(super) fn tone(self) -> Tone {
        Tone { letter: self.letter, accidental: self.accidental }
    }

    /// Sharps (flats: negative) that its scale has, however many.
    fn sharps(self) -> i32 {
        if self.minor { self.fifths() - 3 } else { self.fifths() }
    }

    /// The key whose tonic stands at a place from −8 to 12 on the line of fifths.
    fn at_fifths(place: i32, minor: bool) -> Key {
        let Tone { letter, accidental } = Tone::at_fifths(place);
        Key { letter, accidental, minor }
    }
}

/// Semitones from one pitch class to another, the nearest way, −5 … +6 *(playing)*.
#[must_use]
pub fn nearest_way(from: u8, to: u8) -> i32 {
    let up = (i32::from(to) - i32::from(from)).rem_euclid(12);
    if up > 6 { up - 12 } else { up }
}

impl FromStr for Key {
    type Err = KeyError;

    fn from_str(text: &str) -> Result<Self, KeyError> {
        let fault = || KeyError(text.to_owned());
        let mut rest = text.chars();
        let first = rest.next().ok_or_else(fault)?;
        let letter = LETTERS.iter().position(|letter| *letter == first).ok_or_else(fault)? as u8;
        let rest = rest.as_str();
        let (accidental, rest) = match rest.as_bytes().first() {
            Some(b'#') => (1, &rest[1..]),
            Some(b'b') => (-1, &rest[1..]),
            _ => (0, rest),
        };
        let minor = match rest {
            "" => false,
            "m" => true,
            _ => return Err(fault()),
        };
        Ok(Key { letter, accidental, minor })
    }
}

impl fmt::Display for Key {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let letter = LETTERS[usize::from(self.letter % 7)];
        let accidental = match self.accidental {
            1 => "#",
            -1 => "b",
            _ => "",
        };
        write!(f, "{letter}{accidental}{}", if self.minor { "m" } else { "" })
    }
}

#[cfg(test)]
mod tests;
