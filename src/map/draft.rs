//! A song between its reading and the set's.

use super::Song;
use super::names::Known;
use crate::music::Key;

/// A song as far as it could be read, and what the set has to know of it.
#[derive(Debug)]
pub(super) struct Draft {
    /// The song; where something could not be read, a fault is reported and a placeholder stands.
    pub song: Song,
    /// The chart's key, if it could be read.
    pub key: Option<Key>,
    /// Whether it gives a number, readable or not.
    pub numbered: bool,
    /// Whether it has a drone, or may have one that could not be read.
    pub has_drone: bool,
    /// Its sections.
    pub sections: Known<()>,
    /// Its zones.
    pub zones: Known<()>,
}
