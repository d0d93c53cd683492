//! What a send says, flat, and how it is made of a message as the maps have it.

use super::ids::Micros;
use crate::map::SendMessage;
use crate::midi::U7;

/// What a send says.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Say {
    Program { bank: Option<(u8, u8)>, program: u8 },
    Control { number: u8, value: u8 },
    Note { note: u8, velocity: u8, length: Micros },
    System { bytes: Vec<u8>, starts: bool },
}

impl Say {
    /// A message as the maps have it.
    pub fn of(message: &SendMessage) -> Say {
        let bytes = |(msb, lsb): (U7, U7)| (u8::from(msb), u8::from(lsb));
        match message {
            SendMessage::Program { bank, program, .. } => {
                Say::Program { bank: bank.map(bytes), program: u8::from(*program) }
            }
            SendMessage::Control { number, value, .. } => {
                Say::Control { number: u8::from(*number), value: u8::from(*value) }
            }
            SendMessage::Note { note, velocity, length, .. } => {
                Say::Note { note: *note as u8, velocity: u8::from(*velocity), length: Micros(*length) }
            }
            SendMessage::System { bytes, starts } => Say::System { bytes: bytes.clone(), starts: *starts },
        }
    }

    /// Whether it sets something going that the start of the program must not (rule R8).
    pub fn starts_something(&self) -> bool {
        matches!(self, Say::Note { .. } | Say::System { starts: true, .. })
    }
}
