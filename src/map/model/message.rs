//! Messages to other machines as written.

use crate::midi::{Channel, Note, U7};

/// A message to another machine.
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

impl SendMessage {
    /// The channel that it is sent on, where it has one.
    #[must_use]
    pub fn channel(&self) -> Option<Channel> {
        match self {
            SendMessage::Program { channel, .. }
            | SendMessage::Control { channel, .. }
            | SendMessage::Note { channel, .. } => Some(*channel),
            SendMessage::System { .. } => None,
        }
    }
}
