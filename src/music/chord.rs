//! Chords: their symbols, read and written, their notes, and the name of what a hand holds.
//!
//! A symbol is a root, a kind and, after a slash, a bass: `F#m7`, `G/B`. How kinds are written differs from
//! chart to chart; the usual ways are all read (`Cmaj7`, `CM7`, `CΔ`, `C7(b9)`) and one of them is written.

mod kind;
mod naming;
mod progression;

use std::fmt;
use std::str::FromStr;

pub use kind::ChordKind;
pub use naming::{NamedChord, name};
pub use progression::{Bar, NO_CHORD, ProgressionError, ProgressionFault, progression};

use super::{Classes, Key, Tone};

/// A chord as a symbol says it, with its spelling.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Chord {
    root: Tone,
    kind: ChordKind,
    slash: Option<Tone>,
}

/// Why a text is no chord.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum ChordError {
    /// It does not begin with a root.
    #[error("\"{0}\" is no chord: begin with a capital letter A to G, then # or b where needed, such as \"F#m7\"")]
    Root(String),
    /// What follows the root is no kind of chord that is known here.
    #[error("\"{text}\" is no chord: {}", kind_help(.found, .root, *.nearest))]
    Kind {
        /// The whole text.
        text: String,
        /// Its root, as written.
        root: String,
        /// What stands after the root.
        found: String,
        /// How the nearest known kind is written, where one is near.
        nearest: Option<&'static str>,
    },
    /// What follows the slash is no bass.
    #[error(
        "\"{text}\" is no chord: \"{found}\" after the slash is no bass; write a capital letter A to G, then # or b where needed, such as \"G/B\""
    )]
    Bass {
        /// The whole text.
        text: String,
        /// What stands after the slash.
        found: String,
    },
}

fn kind_help(found: &str, root: &str, nearest: Option<&'static str>) -> String {
    match nearest {
        Some(near) => format!("\"{found}\" after the root is not known; did you mean \"{root}{near}\"?"),
        None => format!("\"{found}\" after the root is not known; write nothing or one of {}", ChordKind::list()),
    }
}

/// A symbol's rest after the root: what stands for the kind, and the bass if one is written. A six-nine has a slash of
/// its own, and so may what stands in brackets.
fn at_slash(rest: &str) -> (&str, Option<&str>) {
    let after_brackets = rest.rfind(')').map_or(0, |end| end + 1);
    let from = rest.find("6/9").map_or(after_brackets, |at| after_brackets.max(at + "6/9".len()));
    match rest[from..].split_once('/') {
        Some((_, bass)) => (&rest[..rest.len() - bass.len() - 1], Some(bass)),
        None => (rest, None),
    }
}

impl Chord {
    /// A chord of this root and kind, over this bass if one is written.
    #[must_use]
    pub fn new(root: Tone, kind: ChordKind, slash: Option<Tone>) -> Chord {
        Chord { root, kind, slash }
    }

    /// Its pitch classes, a written bass among them *(playing)*.
    #[must_use]
    pub fn classes(self) -> Classes {
        self.kind.classes().moved(i32::from(self.root())).with(self.bass())
    }

    /// The root's pitch class, 0 = C … 11 = B *(playing)*.
    #[must_use]
    pub fn root(self) -> u8 {
        self.root.class()
    }

    /// The pitch class that is to be lowest: the written bass, else the root *(playing)*.
    #[must_use]
    pub fn bass(self) -> u8 {
        self.slash().unwrap_or(self.root())
    }

    /// The pitch class of the bass that is written after a slash, if one is *(playing)*.
    #[must_use]
    pub fn slash(self) -> Option<u8> {
        self.slash.map(Tone::class)
    }

    /// The root as it is written.
    pub(super) fn root_tone(self) -> Tone {
        self.root
    }

    /// How it writes one of its notes, a pitch class: a bass as it is written, all else by its interval from the root.
    /// `None` for what is none of its notes, or would need a double accidental.
    #[must_use]
    pub fn tone(self, class: u8) -> Option<Tone> {
        let above = (12 + class % 12 - self.root()) % 12;
        let by_interval = || self.root.further(self.kind.fifths_to(above)?);
        self.slash.filter(|slash| slash.class() == class % 12).or_else(by_interval)
    }

    /// Its kind.
    #[must_use]
    pub fn kind(self) -> ChordKind {
        self.kind
    }

    /// The chord where a piece has moved from one key to another; its root spelled as [`Tone::moved`] does, a bass at the
    /// same interval from it. A way of whole octaves changes nothing.
    #[must_use]
    pub fn moved(self, from: Key, key: Key) -> Chord {
        if from.nearest_way(key) == 0 {
            return self;
        }
        let root = self.root.moved(from, key);
        let plain = Chord { root, kind: self.kind, slash: None };
        let bass = |slash: Tone| {
            let moved = slash.moved(from, key);
            let by_interval = plain.tone(moved.class()).or_else(|| root.further(slash.fifths() - self.root.fifths()));
            by_interval.unwrap_or(moved)
        };
        Chord { slash: self.slash.map(bass), ..plain }
    }
}

impl FromStr for Chord {
    type Err = ChordError;

    fn from_str(text: &str) -> Result<Self, ChordError> {
        let (root, rest) = Tone::read(text).ok_or_else(|| ChordError::Root(text.to_owned()))?;
        let (found, slash) = at_slash(rest);
        let kind = ChordKind::read(found).ok_or_else(|| ChordError::Kind {
            text: text.to_owned(),
            root: root.to_string(),
            found: found.to_owned(),
            nearest: ChordKind::nearest(found),
        })?;
        let bass = |found: &str| match Tone::read(found) {
            Some((bass, "")) => Ok(bass),
            _ => Err(ChordError::Bass { text: text.to_owned(), found: found.to_owned() }),
        };
        Ok(Chord { root, kind, slash: slash.map(bass).transpose()? })
    }
}

impl fmt::Display for Chord {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}{}", self.root, self.kind)?;
        match self.slash {
            Some(bass) => write!(f, "/{bass}"),
            None => Ok(()),
        }
    }
}

#[cfg(test)]
mod tests;
