//! A note that is about to be struck, and who will own it.

use super::owners::{Strike, Striker};
use super::unheld::Why;
use crate::engine::ids::{ChannelId, KeyId, Source, ZoneId};

/// A note that is about to be struck.
#[derive(Debug, Clone, Copy)]
pub(in crate::engine) struct Struck {
    pub(super) owner: Owner,
    pub(super) zone: ZoneId,
    pub(super) channel: ChannelId,
    pub(super) note: u8,
    pub(super) velocity: u8,
    pub(super) pressure: bool,
    pub(super) strike: Strike,
}

/// Who will own a note.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::engine) enum Owner {
    /// A pressed key.
    Key(KeyId),
    /// Its zone.
    Unheld(Why),
}

impl Owner {
    /// The key whose press it is.
    pub(super) fn key(self) -> Option<KeyId> {
        match self {
            Owner::Key(key) | Owner::Unheld(Why::Chord(key) | Why::Toggled(key)) => Some(key),
            Owner::Unheld(_) => None,
        }
    }
}

impl Struck {
    /// Who strikes it, as the table of active notes knows them.
    pub(super) fn striker(&self) -> Striker {
        self.owner.key().map_or(Striker::Source(Source::Zone(self.zone)), Striker::Key)
    }

    pub(super) fn is_same_note(&self, other: &Struck) -> bool {
        (other.channel, other.note) == (self.channel, self.note)
    }
}
