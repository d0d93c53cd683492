//! What can be done to a set: the one table of actions, with the words for each.
//!
//! Cues of the maps, scripts, markers of takes, `handspan do`, its help and the page read this table. An action comes
//! in two forms of one type: as written, with names, and with the numbers of a set; [`Action::resolve`] leads from the
//! first to the second.

use super::words;
use crate::music::{Key, KeyError};

/// How an action is written and shown.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Row {
    /// Its word.
    pub word: &'static str,
    /// What follows the word in a command; empty where nothing does.
    pub after: &'static str,
    /// What it is called where a cue of the maps is drawn or listed.
    pub label: &'static str,
    /// What it does, for `--help`.
    pub help: &'static str,
}

/// Rows of the table, and an enumeration with a variant for each.
macro_rules! rows {
    ($(#[$about:meta])* $kind:ident { $(
        $(#[$doc:meta])* $variant:ident: $word:literal, $after:literal, $label:literal, $help:literal;
    )* }) => {
        $(#[$about])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq)]
        pub enum $kind { $( $(#[$doc])* $variant, )* }

        impl $kind {
            /// All of them, in the order of the table.
            pub const ALL: &'static [$kind] = &[$($kind::$variant),*];

            /// How it is written and shown.
            #[must_use]
            pub const fn row(self) -> Row {
                match self {
                    $($kind::$variant => Row { word: $word, after: $after, label: $label, help: $help },)*
                }
            }
        }
    };
}

rows! {
    /// The actions that are one word.
    Plain {
        /// On to the next song or pause.
        NextSong: "next-song", "", "next song", "on to the next song or pause";
        /// Back to the song or pause before.
        PreviousSong: "previous-song", "", "previous song", "back to the song or pause before";
        /// The current song again, from its first section.
        FromTheTop: "from-the-top", "", "from the top", "the song again from its first section";
        /// On to the next section of tonight's order.
        NextSection: "next-section", "", "next section", "on to the next section";
        /// Back to the section before.
        PreviousSection: "previous-section", "", "previous section", "back to the section before";
        /// A semitone up.
        RaiseKey: "raise-key", "", "a semitone up", "the room's key a semitone up";
        /// A semitone down.
        LowerKey: "lower-key", "", "a semitone down", "the room's key a semitone down";
        /// Back to tonight's key.
        TonightsKey: "tonights-key", "", "tonight's key", "back to tonight's key";
        /// What the current song and section send on entering again, with what was not done at the start.
        ResendMessages: "resend-messages", "", "send again", "what song and section send on entering";
        /// Programs, volumes, pans and controllers again, to all outputs.
        ResendSounds: "resend-sounds", "", "all sounds again", "the set-up of all sounds";
        /// A beat of the tempo.
        Tap: "tap", "", "a beat", "a beat of the tempo: four make one";
        /// Silence everything at once.
        Panic: "panic", "", "panic", "all notes off";
    }
}

rows! {
    /// The actions that have something after their word: the variants of [`Action`] besides [`Action::Plain`].
    With {
        /// [`Action::Song`].
        Song: "song", "TITLE", "song", "to this song, or to this position in the set";
        /// [`Action::LineUp`].
        LineUp: "line-up", "TITLE", "line up song", "the song that next-song will enter, once";
        /// [`Action::Section`].
        Section: "section", "NAME", "section", "to this section";
        /// [`Action::Key`].
        Key: "key", "KEY", "key", "the room's key to this one";
        /// [`Action::Zone`].
        Zone: "zone", "NAME (on, off)", "zone", "the zones of this name on or off, else the other way";
        /// [`Action::Drone`].
        Drone: "drone", "(on, off)", "drone", "the drone on or off, else the other way";
        /// [`Action::Fade`].
        Fade: "fade", "(MILLISECONDS)", "fade", "the held notes fade, over 2000 unless told otherwise";
    }
}

/// All words, in the order of the table.
pub(super) const WORDS: [&str; Plain::ALL.len() + With::ALL.len()] = {
    let mut words = [""; Plain::ALL.len() + With::ALL.len()];
    let mut index = 0;
    while index < words.len() {
        words[index] = match index.checked_sub(Plain::ALL.len()) {
            None => Plain::ALL[index].row().word,
            Some(index) => With::ALL[index].row().word,
        };
        index += 1;
    }
    words
};

/// A word of the table.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Word {
    /// An action by itself.
    Plain(Plain),
    /// One that has something after it.
    With(With),
}

impl Word {
    /// The whole table.
    pub fn all() -> impl Iterator<Item = Word> + Clone {
        let plain = Plain::ALL.iter().map(|plain| Word::Plain(*plain));
        plain.chain(With::ALL.iter().map(|with| Word::With(*with)))
    }

    /// How it is written and shown.
    #[must_use]
    pub fn row(self) -> Row {
        match self {
            Word::Plain(plain) => plain.row(),
            Word::With(with) => with.row(),
        }
    }

    /// The words alone.
    pub fn known() -> impl Iterator<Item = &'static str> + Clone {
        Word::all().map(|word| word.row().word)
    }

    /// The action with this word.
    #[must_use]
    pub fn read(text: &str) -> Option<Word> {
        Word::all().find(|word| word.row().word == text)
    }

    /// The word for an action that was called otherwise once.
    #[must_use]
    pub fn renamed(old: &str) -> Option<&'static str> {
        words::renamed("do", old)
    }
}

/// Something done to the set. What it names is written (in a cue, or after a word), or looked up already.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Action<Song, Name, Key> {
    /// What is one word.
    Plain(Plain),
    /// To this song or pause.
    Song(Song),
    /// This song or pause is the one that `next-song` will enter; nothing is sent yet.
    LineUp(Song),
    /// To the section of this name.
    Section(Name),
    /// To this key, the nearest way from what sounds.
    Key(Key),
    /// Turns the zones of this name.
    Zone {
        /// Their name.
        name: Name,
        /// On, off, or the other way.
        on: Option<bool>,
    },
    /// Turns the drone on or off, or the other way; one that sounds in an earlier key only moves to the present one.
    Drone(Option<bool>),
    /// Everything that rings without a finger fades, in so many microseconds.
    Fade(u64),
}

/// How long a fade takes unless told otherwise, and at the most, in microseconds.
pub const USUAL_FADE: u64 = 2_000_000;
/// See [`USUAL_FADE`].
pub const LONGEST_FADE: u64 = 60_000_000;

impl<Song, Name, Key> From<Plain> for Action<Song, Name, Key> {
    fn from(plain: Plain) -> Self {
        Action::Plain(plain)
    }
}

/// Looks up what written actions name.
pub trait LookUp<Song, Name, Key> {
    /// What a song becomes.
    type Song;
    /// What a name becomes.
    type Name;
    /// What a key becomes.
    type Key;
    /// What is said of a name that there is not.
    type Error;

    /// Looks up a song or pause of the set.
    ///
    /// # Errors
    /// There is none.
    fn song(&mut self, song: Song) -> Result<Self::Song, Self::Error>;

    /// Looks up a section's name.
    ///
    /// # Errors
    /// There is none.
    fn section(&mut self, name: Name) -> Result<Self::Name, Self::Error>;

    /// Looks up a zone's name. After a word, what is said of `on` may still be part of it.
    ///
    /// # Errors
    /// There is none.
    fn zone(&mut self, name: Name, on: Option<bool>) -> Result<(Self::Name, Option<bool>), Self::Error>;

    /// The key.
    fn key(&mut self, key: Key) -> Self::Key;
}

/// An action with all that it names looked up by `L`.
pub type Resolved<S, N, K, L> =
    Action<<L as LookUp<S, N, K>>::Song, <L as LookUp<S, N, K>>::Name, <L as LookUp<S, N, K>>::Key>;

impl<Song, Name, Key> Action<Song, Name, Key> {
    /// Its word.
    #[must_use]
    pub fn word(&self) -> Word {
        Word::With(match self {
            Action::Plain(plain) => return Word::Plain(*plain),
            Action::Song(_) => With::Song,
            Action::LineUp(_) => With::LineUp,
            Action::Section(_) => With::Section,
            Action::Key(_) => With::Key,
            Action::Zone { .. } => With::Zone,
            Action::Drone(_) => With::Drone,
            Action::Fade(_) => With::Fade,
        })
    }

    /// The same with what it names looked up.
    ///
    /// # Errors
    /// What [`LookUp`] says of a name that there is not.
    pub fn resolve<L: LookUp<Song, Name, Key>>(self, names: &mut L) -> Result<Resolved<Song, Name, Key, L>, L::Error> {
        Ok(match self {
            Action::Plain(plain) => Action::Plain(plain),
            Action::Song(song) => Action::Song(names.song(song)?),
            Action::LineUp(song) => Action::LineUp(names.song(song)?),
            Action::Section(name) => Action::Section(names.section(name)?),
            Action::Key(key) => Action::Key(names.key(key)),
            Action::Zone { name, on } => {
                let (name, on) = names.zone(name, on)?;
                Action::Zone { name, on }
            }
            Action::Drone(on) => Action::Drone(on),
            Action::Fade(time) => Action::Fade(time),
        })
    }
}

impl<Song: AsRef<str>, Name: AsRef<str>> Action<Song, Name, Key> {
    /// What follows the word, as [`Action::read`] reads it.
    #[must_use]
    pub fn after(&self) -> String {
        let turned = |on: Option<bool>| on.map(|on| if on { "on" } else { "off" });
        match self {
            Action::Plain(_) | Action::Fade(USUAL_FADE) => String::new(),
            Action::Song(song) | Action::LineUp(song) => song.as_ref().to_owned(),
            Action::Section(name) => name.as_ref().to_owned(),
            Action::Key(key) => key.to_string(),
            Action::Zone { name, on } => {
                turned(*on).map_or_else(|| name.as_ref().to_owned(), |on| format!("{} {on}", name.as_ref()))
            }
            Action::Drone(on) => turned(*on).unwrap_or_default().to_owned(),
            Action::Fade(time) => (time / 1000).to_string(),
        }
    }

    /// The words that [`Action::read`] reads as this.
    #[must_use]
    pub fn written(&self) -> String {
        followed(self.word().row().word, &self.after())
    }
}

/// What follows `zone`: its name, and whether it is turned on or off or the other way. A zone's own name may end in
/// "on" or "off": the whole is tried first.
pub fn zone_turned(written: &str, is_known: impl Fn(&str) -> bool) -> (&str, Option<bool>) {
    match written.rsplit_once(char::is_whitespace) {
        _ if is_known(written) => (written, None),
        Some((name, "on")) => (name.trim_end(), Some(true)),
        Some((name, "off")) => (name.trim_end(), Some(false)),
        _ => (written, None),
    }
}

/// A word with what follows it, if anything does.
#[must_use]
pub fn followed(word: &str, after: &str) -> String {
    if after.is_empty() { word.to_owned() } else { format!("{word} {after}") }
}

/// Why a text is no action.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum ActionError {
    /// No such word.
    #[error("\"{0}\" is no action; write one of: {words}", words = Word::known().collect::<Vec<_>>().join(", "))]
    Unknown(String),
    /// The word needs something after it.
    #[error("\"{0}\" needs {1} after it")]
    Missing(&'static str, &'static str),
    /// What follows the word does not exist in this set.
    #[error("there is no {0} \"{1}\" in this set")]
    NoSuch(&'static str, String),
    /// Not a key.
    #[error(transparent)]
    Key(#[from] KeyError),
}

impl<'a> Action<&'a str, &'a str, Key> {
    /// Reads an action such as `next-song`, `song 3`, `section Chorus`, `key Eb` or `zone bed off`. Whether a zone's
    /// name ends in its last word, only the set can tell.
    ///
    /// # Errors
    /// An unknown word, or something missing after it.
    pub fn read(text: &'a str) -> Result<Self, ActionError> {
        let text = text.trim();
        let unknown = || ActionError::Unknown(text.to_owned());
        let (word, rest) = text.split_once(char::is_whitespace).unwrap_or((text, ""));
        let rest = rest.trim();
        let with = match Word::read(word).ok_or_else(unknown)? {
            // A word too many may be a misunderstanding: better not done than done wrongly.
            Word::Plain(_) if !rest.is_empty() => return Err(unknown()),
            Word::Plain(plain) => return Ok(Action::Plain(plain)),
            Word::With(with) => with,
        };
        let need = |what| match rest {
            "" => Err(ActionError::Missing(with.row().word, what)),
            rest => Ok(rest),
        };
        Ok(match with {
            With::Song => Action::Song(need("a title or its place in the set, counted from 1")?),
            With::LineUp => Action::LineUp(need("a title or its place in the set, counted from 1")?),
            With::Section => Action::Section(need("its name")?),
            With::Key => Action::Key(need("a key such as Eb or C#m")?.parse()?),
            With::Zone => Action::Zone {
                name: need("its name, and \"on\" or \"off\" if it is not to be the other way")?,
                on: None,
            },
            With::Drone => Action::Drone(match rest {
                "" => None,
                "on" => Some(true),
                "off" => Some(false),
                _ => return Err(unknown()),
            }),
            With::Fade if rest.is_empty() => Action::Fade(USUAL_FADE),
            With::Fade => Action::Fade(
                milliseconds(rest)
                    .ok_or(ActionError::Missing(with.row().word, "nothing, or a time in milliseconds up to 60000,"))?,
            ),
        })
    }
}

fn milliseconds(text: &str) -> Option<u64> {
    text.parse::<u64>().ok()?.checked_mul(1000).filter(|time| *time <= LONGEST_FADE)
}
