//! What a page says: read strictly, every size and range checked before anything comes of it.

use base64::Engine;
use base64::prelude::BASE64_STANDARD;
use serde::Deserialize;
use serde::de::{Deserializer, Error, Unexpected};

use super::scram::Hash;

/// The version of the form.
pub(super) const VERSION: u32 = 2;

/// The longest message in bytes.
pub(super) const LONGEST: usize = 1024;

/// The most words of a `do`, and the most letters of one.
const MOST_WORDS: usize = 8;
const LONGEST_WORD: usize = 200;

/// The latest time that makes sense, in milliseconds: a thousand years.
const LATEST: f64 = 3.2e13;

/// The fewest and the most letters of a page's nonce: Base64 of 16 bytes has 22 without padding.
const NONCE: std::ops::RangeInclusive<usize> = 22..=64;

/// The greeting.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Hello {
    pub hello: u32,
    /// That the page knows a passcode.
    pub response: Option<Response>,
    /// The token that an earlier admission gave this device.
    pub device: Option<String>,
}

/// What a page answers to the challenge.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct Response {
    #[serde(deserialize_with = "nonce")]
    pub nonce: String,
    #[serde(deserialize_with = "proof")]
    pub proof: Hash,
}

/// A nonce as RFC 5802, section 7, has it: letters that can be seen, and no comma.
fn nonce<'de, D: Deserializer<'de>>(from: D) -> Result<String, D::Error> {
    let text = String::deserialize(from)?;
    let is_sound = NONCE.contains(&text.len()) && text.bytes().all(|byte| byte.is_ascii_graphic() && byte != b',');
    if is_sound { Ok(text) } else { Err(D::Error::invalid_value(Unexpected::Other("text"), &"a nonce")) }
}

fn proof<'de, D: Deserializer<'de>>(from: D) -> Result<Hash, D::Error> {
    let bytes = BASE64_STANDARD.decode(String::deserialize(from)?).ok();
    let proof = bytes.and_then(|bytes| bytes.try_into().ok());
    proof.ok_or_else(|| D::Error::invalid_value(Unexpected::Other("text"), &"Base64 of 32 bytes"))
}

/// What a greeting of any version says.
#[derive(Debug, Deserialize)]
struct AnyHello {
    hello: u32,
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

/// Which input the keys of this page play as.
#[derive(Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct PlaysAs {
    pub plays_as: String,
}

/// Whether the page wants to hear.
#[derive(Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct SoundMessage {
    pub sound: bool,
}

/// Whether the page wants to see what inputs receive.
#[derive(Debug, PartialEq, Deserialize)]
#[serde(deny_unknown_fields)]
pub(super) struct ReceivedMessage {
    pub received: bool,
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
    Pedal(PedalMessage),
    PlaysAs(PlaysAs),
    Sound(SoundMessage),
    Received(ReceivedMessage),
    Here(Here),
}

impl Hello {
    /// Reads a greeting; of another version only which.
    pub fn read(text: &str) -> Option<Hello> {
        let AnyHello { hello } = serde_json::from_str(text).ok()?;
        if hello != VERSION {
            return Some(Hello { hello, response: None, device: None });
        }
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
            PageMessage::Pedal(PedalMessage { at, .. }) => at.is_none_or(is_time),
            PageMessage::PlaysAs(PlaysAs { plays_as }) => plays_as.chars().count() <= LONGEST_WORD,
            PageMessage::Sound(_) | PageMessage::Received(_) => true,
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
            Some(PageMessage::Pedal(PedalMessage { pedal: true, at: None }))
        );
        let upper = PlaysAs { plays_as: "upper".to_owned() };
        assert_eq!(PageMessage::read(r#"{"plays_as": "upper"}"#), Some(PageMessage::PlaysAs(upper)));
        assert_eq!(PageMessage::read(r#"{"sound": false}"#), Some(PageMessage::Sound(SoundMessage { sound: false })));
        let received = PageMessage::Received(ReceivedMessage { received: true });
        assert_eq!(PageMessage::read(r#"{"received": true}"#), Some(received));
        assert_eq!(PageMessage::read(r#"{"here": 1}"#), Some(PageMessage::Here(Here { here: 1.0 })));
        assert!(Hello::read(r#"{"hello": 2}"#).is_some_and(|hello| hello.response.is_none()));
        assert!(Hello::read(r#"{"hello": 2, "response": null, "device": "y"}"#).is_some());
        let (nonce, proof) = ("n".repeat(22), BASE64_STANDARD.encode([7; 32]));
        let hello = format!(r#"{{"hello": 2, "response": {{"nonce": "{nonce}", "proof": "{proof}"}}}}"#);
        let response = Hello::read(&hello).and_then(|hello| hello.response).expect("a response");
        assert_eq!((response.nonce, response.proof), (nonce, [7; 32]));
        let other = Hello::read(r#"{"hello": 1, "passcode": "x", "device": "y"}"#).expect("a greeting");
        assert_eq!((other.hello, other.device), (1, None), "what else another version says is not looked at");
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
            r#"{"plays_as": null}"#,
            r#"{"plays_as": "upper", "down": 60}"#,
            r#"{"here": "now"}"#,
        ] {
            assert_eq!(PageMessage::read(text), None, "{text}");
        }
        let long = format!(r#"{{"do": ["song", "{}"], "ask": 7, "at": 1, "seen": 1}}"#, "x".repeat(LONGEST_WORD + 1));
        assert_eq!(PageMessage::read(&long), None);
        for text in [
            r#"{"hello": 2, "as": "root"}"#,
            r#"{"hello": 2, "passcode": "x"}"#,
            r#"{"hello": 2, "response": {}}"#,
            r#"{"hello": -2}"#,
        ] {
            assert!(Hello::read(text).is_none(), "{text}");
        }
    }
}
