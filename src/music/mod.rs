//! Notes and keys: pure theory. Knows nothing of MIDI messages, maps or sound.

mod key;
pub mod note;
pub mod range;

pub use key::{Key, KeyError};
