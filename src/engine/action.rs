//! What a player can do to the set, and the words for it.

use super::ids::Micros;
use super::plan::Plan;
use crate::evening::entry_named;
use crate::music::Key;

/// Something done to the set, with all names already looked up.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Action {
    /// On to the next song or pause.
    NextSong,
    /// Back to the song or pause before.
    PreviousSong,
    /// To the song or pause of this index in the set.
    Song(usize),
    /// The current song again, from its first section.
    FromTheTop,
    /// On to the next section of tonight's order.
    NextSection,
    /// Back to the section before.
    PreviousSection,
    /// To the section with this name: an index into the plan's section names.
    Section(u16),
    /// A semitone up.
    RaiseKey,
    /// A semitone down.
    LowerKey,
    /// To this key, the nearest way from what sounds.
    Key {
        /// Pitch class of the tonic.
        tonic: u8,
        /// Whether it is a minor key.
        minor: bool,
    },
    /// Back to tonight's key.
    TonightsKey,
    /// Turns the zones of this name (an index into the plan's zone names) on or off, or the other way.
    Zone {
        /// Index of the name.
        name: u16,
        /// On, off, or the other way.
        on: Option<bool>,
    },
    /// Turns the drone on or off, or the other way; one that sounds in an earlier key only moves to the present one.
    Drone(Option<bool>),
    /// Everything that rings without a finger fades.
    Fade(Micros),
    /// The current song's enter-sends again, those that were held back at the start among them.
    ResendMessages,
    /// Programs, volumes, pans and controllers again, to all outputs.
    ResendSounds,
    /// The song or pause of this index is the one that `next-song` will enter.
    LineUp(usize),
    /// A beat of the tempo.
    Tap,
    /// Silence everything at once.
    Panic,
}

/// Why a text is no action.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum ActionError {
    /// No such word.
    #[error("\"{0}\" is no action; write one of: {words}", words = Action::known().collect::<Vec<_>>().join(", "))]
    Unknown(String),
    /// The word needs something after it.
    #[error("\"{0}\" needs {1} after it")]
    Missing(&'static str, &'static str),
    /// What follows the word does not exist in this set.
    #[error("there is no {0} \"{1}\" in this set")]
    NoSuch(&'static str, String),
    /// Not a key.
    #[error(transparent)]
    Key(#[from] crate::music::KeyError),
}

/// The actions that are one word, each with it.
const PLAIN: [(&str, Action); 14] = [
    ("next-song", Action::NextSong),
    ("previous-song", Action::PreviousSong),
    ("from-the-top", Action::FromTheTop),
    ("next-section", Action::NextSection),
    ("previous-section", Action::PreviousSection),
    ("raise-key", Action::RaiseKey),
    ("lower-key", Action::LowerKey),
    ("tonights-key", Action::TonightsKey),
    ("drone", Action::Drone(None)),
    ("fade", Action::Fade(USUAL_FADE)),
    ("tap", Action::Tap),
    ("resend-messages", Action::ResendMessages),
    ("resend-sounds", Action::ResendSounds),
    ("panic", Action::Panic),
];

/// The words of the actions that need something after them.
const MORE: [&str; 5] = ["song", "section", "key", "zone", "line-up"];

/// How long a fade takes unless told otherwise, in microseconds, and at the most.
pub(super) const USUAL_FADE: Micros = Micros::from_millis(2_000);
const LONGEST_FADE: Micros = Micros::from_millis(60_000);

impl Action {
    /// The words for actions.
    pub fn known() -> impl Iterator<Item = &'static str> + Clone {
        PLAIN.iter().map(|(word, _)| *word).chain(MORE)
    }

    /// Reads an action such as `next-song`, `song 3`, `section Chorus`, `key Eb` or `zone bed off`.
    ///
    /// # Errors
    /// An unknown word, or a name that this set does not have.
    pub fn parse(text: &str, plan: &Plan) -> Result<Action, ActionError> {
        let text = text.trim();
        let (word, rest) = text.split_once(char::is_whitespace).unwrap_or((text, ""));
        let rest = rest.trim();
        match word {
            "song" => return song("song", rest, plan).map(Action::Song),
            "line-up" => return song("line-up", rest, plan).map(Action::LineUp),
            "section" => return section(rest, plan),
            "key" => return key(rest),
            "zone" => return zone(rest, plan),
            "fade" if !rest.is_empty() => return fade(rest),
            "drone" if rest == "on" => return Ok(Action::Drone(Some(true))),
            "drone" if rest == "off" => return Ok(Action::Drone(Some(false))),
            _ => {}
        }
        // A word too many may be a misunderstanding: better not done than done wrongly.
        let plain = PLAIN.iter().find(|(known, _)| *known == word).filter(|_| rest.is_empty());
        plain.map(|(_, action)| *action).ok_or_else(|| ActionError::Unknown(text.to_owned()))
    }

    /// The words that [`Action::parse`] reads as this, as far as the plan's names can be told apart.
    #[must_use]
    pub fn words(&self, plan: &Plan) -> String {
        if let Some((word, _)) = PLAIN.iter().find(|(_, action)| action == self) {
            return (*word).to_owned();
        }
        match *self {
            Action::Drone(on) => format!("drone {}", if on == Some(true) { "on" } else { "off" }),
            Action::Fade(time) => format!("fade {}", time.0 / 1000),
            Action::Song(entry) => format!("song {}", song_words(entry, plan)),
            Action::LineUp(entry) => format!("line-up {}", song_words(entry, plan)),
            Action::Section(name) => {
                format!("section {}", plan.section_names.get(usize::from(name)).map_or("", String::as_str))
            }
            Action::Key { tonic, minor } => format!("key {}", Key::usual(tonic, minor, false)),
            Action::Zone { name, on } => {
                let turn = match on {
                    None => "",
                    Some(true) => " on",
                    Some(false) => " off",
                };
                format!("zone {}{turn}", plan.zone_name(name))
            }
            _ => String::new(),
        }
    }
}

/// The words that [`song`] reads as this entry. A song may be called "7", and its title counts before a position.
fn song_words(entry: usize, plan: &Plan) -> String {
    let position = (entry + 1).to_string();
    if entry_named(&plan.titles, &position) == Some(entry) { position } else { plan.title(entry).to_owned() }
}

fn song(word: &'static str, name: &str, plan: &Plan) -> Result<usize, ActionError> {
    if name.is_empty() {
        return Err(ActionError::Missing(word, "a title or its place in the set, counted from 1"));
    }
    entry_named(&plan.titles, name).ok_or_else(|| ActionError::NoSuch("song", name.to_owned()))
}

fn section(name: &str, plan: &Plan) -> Result<Action, ActionError> {
    if name.is_empty() {
        return Err(ActionError::Missing("section", "its name"));
    }
    let index = plan.section_names.iter().position(|section| section == name);
    index.map(|index| Action::Section(index as u16)).ok_or_else(|| ActionError::NoSuch("section", name.to_owned()))
}

fn key(name: &str) -> Result<Action, ActionError> {
    if name.is_empty() {
        return Err(ActionError::Missing("key", "a key such as Eb or C#m"));
    }
    let key: Key = name.parse()?;
    Ok(Action::Key { tonic: key.tonic(), minor: key.is_minor() })
}

fn fade(milliseconds: &str) -> Result<Action, ActionError> {
    let time = milliseconds.parse::<u64>().ok().and_then(|time| time.checked_mul(1000).map(Micros));
    let time = time.filter(|time| *time <= LONGEST_FADE);
    time.map(Action::Fade).ok_or(ActionError::Missing("fade", "nothing, or a time in milliseconds up to 60000,"))
}

fn zone(rest: &str, plan: &Plan) -> Result<Action, ActionError> {
    if rest.is_empty() {
        return Err(ActionError::Missing("zone", "its name, and \"on\" or \"off\" if it is not to be the other way"));
    }
    let number = |name: &str| plan.zone_named(name);
    // A zone's own name may end in "on" or "off": the whole is tried first.
    if let Some(name) = number(rest) {
        return Ok(Action::Zone { name, on: None });
    }
    let (name, on) = match rest.rsplit_once(char::is_whitespace) {
        Some((name, "on")) => (name.trim_end(), Some(true)),
        Some((name, "off")) => (name.trim_end(), Some(false)),
        _ => (rest, None),
    };
    number(name).map(|name| Action::Zone { name, on }).ok_or_else(|| ActionError::NoSuch("zone", name.to_owned()))
}
