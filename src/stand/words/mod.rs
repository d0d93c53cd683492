//! What zones, cues and messages are called before the player, on every screen and on paper.

pub(crate) mod cues;
pub(crate) mod messages;
pub(crate) mod zones;
