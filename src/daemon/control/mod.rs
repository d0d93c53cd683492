//! The control socket: a local socket in the user's runtime folder, at which other terminals and scripts have something done, ask
//! how it stands, and change the set.
//!
//! One request and one answer are a line of JSON each ([`ControlRequest`], [`Answer`]); `docs/status.md` describes them. Nothing
//! that comes in here reaches the music but by a [`Remote`](super::Remote): actions one at a time, changed maps made
//! ready beforehand. Whatever is too long, too slow, too much, no JSON or of another user is refused or dropped. One
//! thread serves all, and none of them can keep it waiting.

mod client;
mod folder;
mod local;
mod server;
mod visitor;

use serde::{Deserialize, Serialize};

pub use super::requests::{Answer, Ask, Outcome, RequestHandler, USUAL_NAME, VERSION};
pub use client::{AskError, Running, ask, running};
pub use folder::{FolderError, NameLock, NameLockError, folder, is_name};
pub use server::{ControlSocket, open};

/// The longest request in bytes, with the end of its line.
pub const LONGEST: usize = 4096;

/// The most connections at a time. Another one takes the place of the one that has been silent longest.
pub const MOST: usize = 16;

/// What is asked of a performance.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct ControlRequest {
    /// [`VERSION`].
    pub version: u32,
    /// What for.
    #[serde(flatten)]
    pub ask: Ask,
}
