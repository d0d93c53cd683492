//! MIDI messages, machine control and standard MIDI files. Knows nothing of maps, ports or time.

pub mod file;
pub mod machine_control;
mod message;
pub mod stream;
pub mod tempo;

pub use message::{Message, decode};
pub use wmidi::{Channel, Note, U7, U14};
