//! Notes, keys, scales, chords and voicing: pure theory. Knows nothing of MIDI messages, maps or sound.
//!
//! A set of keys or notes is a `u128`, bit n for number n; a set of pitch classes is [`classes::Classes`].
//! Functions marked *(playing)* allocate nothing.

pub mod chord;
pub mod classes;
mod degree;
pub mod follow;
mod german;
mod key;
pub mod key_finding;
mod letters;
pub mod note;
pub mod range;
pub mod scale;
mod speller;
mod spelling;
mod tone;
mod voice_type;
pub mod voicing;

pub use chord::Chord;
pub use classes::Classes;
pub use degree::degree;
pub use german::German;
pub use key::{Key, KeyError, nearest_way};
pub use speller::Speller;
pub use tone::Tone;
pub use voice_type::VoiceType;
