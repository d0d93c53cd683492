//! Musical keys, major and minor, and the ways between them.

use std::fmt;
use std::str::FromStr;

/// A major or minor key with its spelling, such as `F#`, `Bb` or `C#m`.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Key {
    /// 0 = C … 6 = B.
    letter: u8,
    /// −1 flat, 0, +1 sharp.
    accidental: i8,
    minor: bool,
}

/// Why a text names no key.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error(
    "\"{0}\" is no key: write a letter A to G, then # or b where needed, then m for minor, such as \"Eb\" or \"C#m\""
)]
pub struct KeyError(pub String);

impl Key {
    /// The tonic's pitch class, 0 = C … 11 = B.
    #[must_use]
    pub fn tonic(self) -> u8 {
        let natural = [0i16, 2, 4, 5, 7, 9, 11][usize::from(self.letter % 7)];
        (natural + i16::from(self.accidental)).rem_euclid(12) as u8
    }

    /// Whether it is a minor key.
    #[must_use]
    pub fn is_minor(self) -> bool {
        self.minor
    }

    /// Semitones from this key's tonic to another's, the nearest way, −5 … +6 (rule R5).
    #[must_use]
    pub fn nearest_way(self, to: Key) -> i32 {
        let up = self.way_up(to);
        if up > 6 { up - 12 } else { up }
    }

    /// Semitones from this key's tonic up to another's, 0 … 11.
    #[must_use]
    pub fn way_up(self, to: Key) -> i32 {
        (i32::from(to.tonic()) - i32::from(self.tonic())).rem_euclid(12)
    }
}

impl FromStr for Key {
    type Err = KeyError;

    fn from_str(text: &str) -> Result<Self, KeyError> {
        let fault = || KeyError(text.to_owned());
        let mut rest = text.chars();
        let letter = rest.next().and_then(|c| "CDEFGAB".find(c)).ok_or_else(fault)? as u8;
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
        let letter = ["C", "D", "E", "F", "G", "A", "B"][usize::from(self.letter % 7)];
        let accidental = match self.accidental {
            1 => "#",
            -1 => "b",
            _ => "",
        };
        write!(f, "{letter}{accidental}{}", if self.minor { "m" } else { "" })
    }
}
