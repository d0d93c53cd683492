//! What a page says: read strictly, every size and range checked before anything comes of it.

use serde::Deserialize;

/// The version of the form.
pub(super) const VERSION: u32 = 1;

/// The longest message in bytes.
pub(super) const LONGEST: usize = 1024;

/// The most words of a `do`, and the most letters of one.
const MOST_WORDS: usize = 8;
const LONGEST_WORD: usize = 200;

/// The latest time that makes sense, in milliseconds: a thousand years.
const LATEST: f64 = 3.2e13;

/// The greeting.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Hello {
    pub hello: u32,
    pub passcode: Option<String>,
    /// The token that an earlier admission gave this device.
    pub device: Option<String>,
}

/// An action or a change of the set.
#[derive(Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Do {
    #[serde(rename = "do")]
    pub words: Vec<String>,
    /// Comes back with the answer.
    pub ask: u32,
    /// When the thumb pressed.
    pub at: f64,
    /// The number of the last state that the page had drawn.
    pub seen: u64,
}

/// A key of the page's keyboard goes down.
#[derive(Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Down {
    pub down: u8,
    pub velocity: u8,
    pub at: f64,
}

/// It comes up.
#[derive(Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Up {
    pub up: u8,
}

/// The sustain pedal.
#[derive(Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct PedalMessage {
    pub pedal: bool,
    #[serde(default)]
    pub at: Option<f64>,
}

/// Whether the page wants to hear.
#[derive(Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct SoundMessage {
    pub sound: bool,
}

/// A sign of life.
#[derive(Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Here {
    pub here: f64,
}

/// What a page that was let in says.
#[derive(Debug, PartialEq, Deserialize)]
#[serde(untagged)]
pub(super) enum PageMessage {
    Do(Do),
    Down(Down),
    Up(Up),
    PedalMessage(PedalMessage),
    SoundMessage(SoundMessage),
    Here(Here),
}

impl Hello {
    /// Reads a greeting.
    pub fn read(text: &str) -> Option<Hello> {
        serde_json::from_str(text).ok()
    }
}

impl PageMessage {
    /// Reads a message; none where anything about it is wrong.
    pub fn read(text: &str) -> Option<PageMessage> {
        let said: PageMessage = serde_json::from_str(text).ok()?;
        said.is_sound().then_some(said)
    }

    fn is_sound(&self) -> bool {
        let is_time = |at: f64| (0.0..LATEST).contains(&at);
        match self {
            PageMessage::Do(asked) => {
                is_time(asked.at)
                    && (1..=MOST_WORDS).contains(&asked.words.len())
                    && asked.words.iter().all(|word| {
                        word.chars().count() <= LONGEST_WORD && !word.is_empty() && !word.contains(char::is_control)
                    })
            }
            PageMessage::Down(Down { down, velocity, at }) => {
                *down < 128 && (1..128).contains(velocity) && is_time(*at)
            }
            PageMessage::Up(Up { up }) => *up < 128,
            PageMessage::PedalMessage(PedalMessage { at, .. }) => at.is_none_or(is_time),
            PageMessage::SoundMessage(_) => true,
            PageMessage::Here(Here { here }) => is_time(*here),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_documented_is_read() {
        let asked = PageMessage::read(r#"{"do": ["section", "Last Chorus"], "ask": 7, "at": 5120, "seen": 31}"#);
        let words = vec!["section".to_owned(), "Last Chorus".to_owned()];
        assert_eq!(asked, Some(PageMessage::Do(Do { words, ask: 7, at: 5120.0, seen: 31 })));
        let down = PageMessage::read(r#"{"down": 60, "velocity": 80, "at": 5120.25}"#);
        assert_eq!(down, Some(PageMessage::Down(Down { down: 60, velocity: 80, at: 5120.25 })));
        assert_eq!(PageMessage::read(r#"{"up": 60}"#), Some(PageMessage::Up(Up { up: 60 })));
        assert_eq!(
            PageMessage::read(r#"{"pedal": true}"#),
            Some(PageMessage::PedalMessage(PedalMessage { pedal: true, at: None }))
        );
        assert_eq!(
            PageMessage::read(r#"{"sound": false}"#),
            Some(PageMessage::SoundMessage(SoundMessage { sound: false }))
        );
        assert_eq!(PageMessage::read(r#"{"here": 1}"#), Some(PageMessage::Here(Here { here: 1.0 })));
        assert!(Hello::read(r#"{"hello": 1, "passcode": null}"#).is_some());
        assert!(Hello::read(r#"{"hello": 1, "passcode": "x", "device": "y"}"#).is_some());
    }

    #[test]
    fn anything_else_is_not() {
        for text in [
            "",
            "null",
            "{}",
            "[]",
            "7",
            r#"{"up": 128}"#,
            r#"{"up": -1}"#,
            r#"{"up": 60.5}"#,
            r#"{"up": 60, "down": 60}"#,
            r#"{"up": 60, "up": 61}"#,
            r#"{"down": 60, "velocity": 0, "at": 1}"#,
            r#"{"down": 60, "velocity": 128, "at": 1}"#,
            r#"{"down": 60, "velocity": 80}"#,
            r#"{"down": 60, "velocity": 80, "at": -1}"#,
            r#"{"down": 60, "velocity": 80, "at": 1e300}"#,
            r#"{"down": 60, "velocity": 80, "at": null}"#,
            r#"{"do": [], "ask": 7, "at": 1, "seen": 1}"#,
            r#"{"do": [""], "ask": 7, "at": 1, "seen": 1}"#,
            r#"{"do": "panic", "ask": 7, "at": 1, "seen": 1}"#,
            r#"{"do": ["song", "a\nb"], "ask": 7, "at": 1, "seen": 1}"#,
            r#"{"do": ["panic"], "ask": 7, "at": 1, "seen": 1, "more": 1}"#,
            r#"{"do": ["panic"], "at": 1, "seen": 1}"#,
            r#"{"do": ["1","2","3","4","5","6","7","8","9"], "ask": 7, "at": 1, "seen": 1}"#,
            r#"{"pedal": 1}"#,
            r#"{"here": "now"}"#,
        ] {
            assert_eq!(PageMessage::read(text), None, "{text}");
        }
        let long = format!(r#"{{"do": ["song", "{}"], "ask": 7, "at": 1, "seen": 1}}"#, "x".repeat(LONGEST_WORD + 1));
        assert_eq!(PageMessage::read(&long), None);
        assert!(Hello::read(r#"{"hello": 1, "passcode": null, "as": "root"}"#).is_none());
    }
}
