//! What is sent to other machines, as written.

use super::{At, Spot};
use crate::midi::{Channel, Note, U7};

/// When a send is said.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Moment {
    /// On entering the song.
    Enter,
    /// On leaving the song.
    Leave,
    /// On entering the section of this name.
    Section(String),
}

/// A message to another machine.
#[derive(Debug, Clone)]
pub struct Send {
    /// The whole send, for findings about it.
    pub spot: Spot,
    /// When it is said.
    pub at: At<Moment>,
    /// The output that it goes to.
    pub to: At<String>,
    /// How long after the moment, in microseconds.
    pub after: u64,
    /// What is said.
    pub message: SendMessage,
}

/// What a send says.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum SendMessage {
    /// Bank select, where given, and a program change.
    Program {
        /// Channel.
        channel: Channel,
        /// Bank, most and least significant byte.
        bank: Option<(U7, U7)>,
        /// Program, from 0 as on the wire.
        program: U7,
    },
    /// A controller or channel mode message.
    Control {
        /// Channel.
        channel: Channel,
        /// Number.
        number: U7,
        /// Value.
        value: U7,
    },
    /// A note with its end.
    Note {
        /// Channel.
        channel: Channel,
        /// Key.
        note: Note,
        /// Velocity, 1–127.
        velocity: U7,
        /// Time to its end, in microseconds.
        length: u64,
    },
    /// A whole system message: machine control (`transport`), a clock command (`clock`),
    /// song select, or bytes as given.
    System {
        /// The bytes.
        bytes: Vec<u8>,
        /// Whether it sets another machine's transport or clock going: held back at the start of `play` (rule R8).
        starts: bool,
    },
}
