//! MIDI messages, machine control and standard MIDI files. Knows nothing of maps, ports or time.

pub mod file;
mod length;
pub mod machine_control;
mod message;
pub mod stream;
pub mod tempo;
pub mod words;

pub use length::{is_whole, message_length};
pub use message::{Message, decode};
pub use wmidi::{Channel, Note, U7, U14};
