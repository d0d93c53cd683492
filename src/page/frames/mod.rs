//! What the program sends to a page: each frame is made once, whoever gets it.

mod hand;
mod next;
mod set;
mod song;
#[cfg(test)]
mod tests;

use axum::extract::ws::Utf8Bytes;
use serde::Serialize;

use super::auth::Rights;
use super::trouble::Is;
use crate::daemon::state::State;
use crate::map::clean;

pub(super) use hand::Hand;
pub(super) use next::Next;
pub(super) use set::Set;
pub(super) use song::SongFrame;

/// A frame; its kind stands in it.
#[derive(Debug, Serialize)]
#[serde(tag = "kind", rename_all = "lowercase")]
pub(super) enum Frame<'a> {
    /// What a page has to answer with its passcode.
    Challenge { nonce: &'a str, salt: &'a str, rounds: u32 },
    /// Admitted.
    Welcome { version: u32, can: Rights, now: u64, name: &'a str, signature: Option<&'a str>, device: Option<&'a str> },
    /// Not admitted.
    Refused { words: &'a str, wait_ms: u64, passcode: bool },
    /// The set.
    Set(Set<'a>),
    /// The song that the keys play; in what has no song yet, null everywhere.
    Song(Box<SongFrame>),
    /// How it stands.
    State {
        now: u64,
        seen: u64,
        #[serde(flatten)]
        stands: &'a StateFrame,
    },
    /// What is under the hand.
    Hand(Hand),
    /// What the outputs got: number of the output and bytes.
    Sent { now: u64, messages: &'a [(usize, Vec<u8>)], lost: bool },
    /// What inputs received, each in words.
    Received { now: u64, lines: &'a [ReceivedLine] },
    /// What came of a `do`.
    Answer { ask: u32, done: bool, words: &'a str },
    /// A sign of life.
    Alive { now: u64 },
}

/// What is told again whenever anything of it changes.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub(super) struct StateFrame {
    pub state: State,
    pub trouble: Option<TroubleFrame>,
    pub latency_us: Option<u64>,
    pub viewers: usize,
    #[serde(flatten)]
    pub next: Next,
}

/// A message that an input received.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub(super) struct ReceivedLine {
    /// In words, with the input's name.
    pub words: String,
    /// The line of a cue that fires on it.
    pub when: Option<String>,
}

/// The last trouble.
#[derive(Debug, Clone, Serialize)]
pub(super) struct TroubleFrame {
    pub is: Is,
    pub words: String,
    pub ago_ms: u64,
}

impl PartialEq for TroubleFrame {
    /// That it grows older is nothing new.
    fn eq(&self, other: &TroubleFrame) -> bool {
        (self.is, &self.words) == (other.is, &other.words)
    }
}

/// A frame as it is sent. What turns the direction of what stands beside it stands in JSON as it is, and must not reach
/// the page; JSON itself has none of it.
pub(super) fn text(frame: &Frame<'_>) -> Utf8Bytes {
    // Nothing in a frame can fail to be written: all keys of its maps are names.
    clean(&serde_json::to_string(frame).unwrap_or_default()).into()
}
