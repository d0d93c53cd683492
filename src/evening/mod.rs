//! The rules of an evening, each in one function: what tonight makes of songs, keys, zones and inputs as they are
//! written. The engine compiles its tables by them; what is checked, drawn, printed and told asks them too.
//!
//! | file | what it says |
//! | --- | --- |
//! | `standing` | where the set stands, and which song the keys play there |
//! | `titles` | what an entry of the set is called, and how it is found by title, place or number (R19) |
//! | `order` | tonight's order of a song, and what section keys add at each step of it (R5) |
//! | `keys` | the chart's key, the fingers' and the room's, and the shift between them (R5) |
//! | `sections` | which zones belong to a section and are in use there, and its chords |
//! | `pitch` | from a key to the note that a zone makes of it, before `within` (R4) |
//! | `fits` | what fits the key (R12) |
//! | `fingers` | the chord that one key plays (R13) |
//! | `touch` | from a struck velocity to the one that is sent (R6) |
//! | `voices` | how a key suits a singer, and how far a melody goes beyond a voice |
//! | `key_choice` | the twelve keys of tonight, ranked for those who sing and those who play |
//! | `listening` | which inputs a zone listens to, and whose pedals it follows (R3, R7) |
//!
//! Everything here is pure. It does not know the engine, what sounds, or what is held.

mod fingers;
mod fits;
mod key_choice;
mod keys;
mod listening;
mod order;
mod pitch;
mod sections;
mod standing;
#[cfg(test)]
mod tests;
mod titles;
mod touch;
mod voices;

pub use fingers::chord_on;
pub use fits::{ZoneFits, fits, zone_fits};
pub use key_choice::{Asked, KeyChoice, easiest_fingers, key_choices};
pub use keys::{FURTHEST, Keys, transposed_for, within_an_octave};
pub use listening::{Inputs, MOST_INPUTS, feet_of, heard, inputs_of, listens, playing, worth_drawing};
pub use order::{Order, OrderStep, lift, own_lift};
pub use pitch::Offset;
pub use sections::{chords_of, curve_of, is_in_use, plays_in, sections_of, tempo_of};
pub use standing::Standing;
pub use titles::{entry_named, entry_numbered, entry_titled, number_of, title, title_of};
pub use touch::touch;
pub use voices::{Melody, Suits, numbers, octave_slip};
