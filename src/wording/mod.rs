//! What zones, cues and messages are called before the player, on every screen and on paper.
//!
//! It knows neither ports nor files, and nobody who shows its words.

pub(crate) mod cues;
pub(crate) mod messages;
pub(crate) mod zones;
