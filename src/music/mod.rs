//! Notes and keys: pure theory. Knows nothing of MIDI messages, maps or sound.

mod key;

pub use key::{Key, KeyError};
