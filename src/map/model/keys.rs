//! Ranges of keys, and keys of music that a map chooses.

use crate::midi::Note;
use crate::music::Key;

/// Which way the shift goes on entering a song (rule R5).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ShiftWay {
    /// −5 … +6.
    Nearest,
    /// 0 … 11.
    Up,
    /// −11 … 0.
    Down,
}

/// In which key the fingers play.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PlayIn {
    /// In this one.
    Key(Key),
    /// In the room's key.
    Room,
}

/// An inclusive range of keys, lowest first.
pub type KeyRange = (Note, Note);
