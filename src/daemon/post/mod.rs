//! The post: a local socket in the user's runtime folder, at which other terminals and scripts have something done, ask
//! how it stands, and change the set.
//!
//! One request and one answer are a line of JSON each ([`Request`], [`Answer`]); `docs/status.md` describes them. Nothing
//! that comes in here reaches the music but by a [`Remote`](super::Remote): actions one at a time, changed maps made
//! ready beforehand. Whatever is too long, too slow, too much, no JSON or of another user is refused or dropped.

mod clerk;
mod client;
mod folder;
mod server;

use serde::{Deserialize, Serialize};

use super::state::State;

pub use clerk::Clerk;
pub use client::{AskError, Running, ask, running};
pub use folder::{Claim, ClaimError, FolderError, folder, is_name};
pub use server::{Post, open};

/// The version of the form of requests and answers.
pub const VERSION: u32 = 1;

/// The name of a performance that was given no other.
pub const USUAL_NAME: &str = "handspan";

/// The longest request in bytes, with the end of its line.
pub const LONGEST: usize = 4096;

/// The most connections at a time.
pub const MOST: usize = 16;

/// What is asked of a performance.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Request {
    /// [`VERSION`].
    pub version: u32,
    /// What for.
    #[serde(flatten)]
    pub ask: Ask,
}

/// What a request is for.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "ask", rename_all = "kebab-case")]
pub enum Ask {
    /// Something is to be done.
    Do {
        /// The action, or the change to the set.
        words: Vec<String>,
    },
    /// How it stands.
    Status,
}

/// What came of a request.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Outcome {
    /// It was done.
    Done,
    /// It could not be done; nothing has changed.
    Undone,
    /// It was not understood; nothing has changed.
    Wrong,
    /// Too many ask at this moment; the same may be asked again a little later.
    Busy,
}

/// The answer to a request.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Answer {
    /// [`VERSION`].
    pub version: u32,
    /// What came of it.
    pub outcome: Outcome,
    /// What happened, or why not.
    pub words: String,
    /// How it stands, where that was asked.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub state: Option<State>,
}

impl Answer {
    fn new(outcome: Outcome, words: impl Into<String>) -> Answer {
        Answer { version: VERSION, outcome, words: words.into(), state: None }
    }
}
