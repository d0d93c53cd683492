//! Notes and keys: pure theory. Knows nothing of MIDI messages, maps or sound.

mod key;
pub mod note;

pub use key::{Key, KeyError};
