//! A change of the set, and why one is not made.

use std::fmt;

use serde::{Deserialize, Serialize};

use crate::music::KeyError;

/// The most changes of one evening: each is applied again whenever maps are read.
pub const MOST: usize = 100;

/// The words for changes.
pub const WORDS: [&str; 9] = [
    "move-song",
    "add-song",
    "remove-song",
    "song-key",
    "song-singer",
    "adjust-zone",
    "adjust-song",
    "undo-change",
    "save-set",
];

/// The name that stands for no singer.
pub(super) const NOBODY: &str = "nobody";

/// Something that is changed about the set.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub enum Change {
    /// A song or pause goes to another position.
    MoveSong {
        /// Which.
        song: Titled,
        /// Its new position, from 1.
        to: usize,
    },
    /// A song is added at the end.
    AddSong {
        /// The path of its map, as the set names it.
        map: String,
        /// Tonight's key; the chart's if none.
        key: Option<String>,
    },
    /// A song or pause leaves the set; its map stays where it is.
    RemoveSong {
        /// Which.
        song: Titled,
    },
    /// Who sings a song tonight.
    SetSinger {
        /// Which.
        song: Titled,
        /// One of the set's singers; nobody if none.
        singer: Option<String>,
    },
    /// Tonight's key of a song.
    SetKey {
        /// Which.
        song: Titled,
        /// The key.
        key: String,
    },
    /// A field of a song's map.
    Adjust(Adjusted),
}

/// A field of a song's map, or of a zone in it, that is adjusted at a rehearsal.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Field {
    /// A zone's level in dB.
    Level,
    /// A zone's octave.
    Octave,
    /// A zone's lowest and highest key.
    Keys,
    /// What a zone does with notes whose keys came up.
    Linger,
    /// Whether a zone is on as the song is entered; it is turned so at once.
    On,
    /// The song's tempo.
    Tempo,
}

impl Field {
    /// Those of a zone.
    pub const OF_ZONES: [Field; 5] = [Field::Level, Field::Octave, Field::Keys, Field::Linger, Field::On];

    /// Its name in the map.
    #[must_use]
    pub fn name(self) -> &'static str {
        match self {
            Field::Level => "level",
            Field::Octave => "octave",
            Field::Keys => "keys",
            Field::Linger => "linger",
            Field::On => "on",
            Field::Tempo => "tempo",
        }
    }
}

/// What is adjusted in a song's map.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Adjusted {
    /// The path of the map, from the set's folder where it lies there.
    pub map: String,
    /// Which zone: its name, and which of those with this name, from 0; none for the song itself.
    pub zone: Option<Titled>,
    /// Which field.
    pub field: Field,
    /// Its new value, as one says it: `-3`, `C3 B5`, `next`, `on`.
    pub value: String,
}

/// A song or pause of the set by its title: positions change with the set.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct Titled {
    /// The title.
    pub title: String,
    /// Which of those with this title, from 0.
    pub number: usize,
}

/// Why something is not changed.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum ChangeError {
    /// A word is missing.
    #[error("\"{0}\" needs {1} after it, such as: {0} {2}")]
    Missing(&'static str, &'static str, &'static str),
    /// No such song.
    #[error("there is no song \"{0}\" in this set{near}", near = near(.1.as_deref()))]
    NoSuchSong(String, Option<String>),
    /// No such position.
    #[error("there is no position {0}: the set has {1}, counted from 1")]
    NoSuchPosition(String, usize),
    /// No such singer, and those that there are.
    #[error("the set has no singer \"{0}\": {all}", all = singers(.1))]
    NoSuchSinger(String, String),
    /// Several singers are shown by that name.
    #[error("\"{0}\" is the name of several singers: say which, {1}")]
    SeveralSingers(String, String),
    /// Not a key.
    #[error(transparent)]
    Key(#[from] KeyError),
    /// A pause has no key and no singer.
    #[error("\"{0}\" is a pause, which has no {1}")]
    Pause(String, &'static str),
    /// It would lead to a set with errors.
    #[error("{0}")]
    Faulty(String),
    /// The set's text cannot be edited.
    #[error("the set cannot be changed ({0})")]
    Uneditable(String),
    /// No song is played.
    #[error("no song is played: there is nothing to adjust")]
    NoSong,
    /// No such zone.
    #[error("the song has no zone \"{0}\"{near}", near = near(.1.as_deref()))]
    NoSuchZone(String, Option<String>),
    /// Not a value of the field.
    #[error("\"{1}\" is no {0}: {2}")]
    NoValue(&'static str, String, &'static str),
    /// More changes than are kept.
    #[error("{MOST} changes are not saved yet: say save-set first")]
    TooMany,
}

fn singers(names: &str) -> String {
    match names {
        "" => "none stands in its file; a [singers.guest] there makes one".to_owned(),
        names => format!("it has {names}"),
    }
}

fn near(near: Option<&str>) -> String {
    near.map_or_else(String::new, |near| format!(": did you mean \"{near}\"?"))
}

impl ChangeError {
    /// Whether what was said is wrong in itself, not only impossible now.
    #[must_use]
    pub fn is_wrong(&self) -> bool {
        !matches!(
            self,
            ChangeError::Faulty(_)
                | ChangeError::Uneditable(_)
                | ChangeError::TooMany
                | ChangeError::NoSong
                | ChangeError::NoSuchSinger(..)
                | ChangeError::SeveralSingers(..)
        )
    }
}

/// The words that ask for the change again.
impl fmt::Display for Change {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Change::MoveSong { song, to } => write!(f, "move-song \"{}\" {to}", song.title),
            Change::AddSong { map, key: None } => write!(f, "add-song \"{map}\""),
            Change::AddSong { map, key: Some(key) } => write!(f, "add-song \"{map}\" {key}"),
            Change::Adjust(Adjusted { zone: Some(zone), field, value, .. }) => {
                write!(f, "adjust-zone \"{}\" {} {value}", zone.title, field.name())
            }
            Change::Adjust(Adjusted { field, value, .. }) => write!(f, "adjust-song {} {value}", field.name()),
            Change::RemoveSong { song } => write!(f, "remove-song \"{}\"", song.title),
            Change::SetSinger { song, singer } => {
                write!(f, "song-singer \"{}\" \"{}\"", song.title, singer.as_deref().unwrap_or(NOBODY))
            }
            Change::SetKey { song, key } => write!(f, "song-key \"{}\" {key}", song.title),
        }
    }
}
