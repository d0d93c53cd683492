//! Held notes: lingering and derived notes, one-key chords, the drone (rules R8, R10–R15). No finger holds them, or not
//! by itself.
//!
//! Each is one more owner of its note, so that R1 and R2 hold for it as for any other.

use crate::engine::ids::Source;
use crate::engine::ids::{ChannelId, KeyId};
use crate::engine::plan::Plan;
use crate::map::Linger;

/// A note that a zone or the drone owns.
#[derive(Debug, Clone, Copy)]
pub(in crate::engine) struct Unheld {
    pub source: Source,
    pub channel: ChannelId,
    pub note: u8,
    pub why: Why,
    /// Whether its zone went out of use: it ends before the next handful strikes (rule R8).
    pub left: bool,
    pub generation: u32,
}

/// Why a note is held, and so what ends it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::engine) enum Why {
    /// Its key came up; the zone's next handful ends it.
    Lingers,
    /// Until this key is struck again.
    Toggled(KeyId),
    /// Derived from a handful; with its zone's last key, or at the zone's next decision.
    Derived,
    /// Of the chord that this key plays.
    Chord(KeyId),
    /// Of the drone.
    Drone,
    /// Fades away (rule R15).
    Fades,
}

impl Unheld {
    /// Whether it lingers in a zone that is in use.
    pub fn lingers(&self) -> bool {
        self.why == Why::Lingers && !self.left
    }

    /// Whether it is there to stay, without a finger.
    pub fn stays(&self, plan: &Plan) -> bool {
        self.is_without_finger(plan) && !self.left
    }

    /// Whether fingers have to hold it, though it is the zone's.
    pub fn is_held(&self, plan: &Plan) -> bool {
        !self.is_without_finger(plan) && self.why != Why::Fades
    }

    /// Whether no finger has to hold it: all but one-key chords, and what is derived without linger.
    pub fn is_without_finger(&self, plan: &Plan) -> bool {
        match self.why {
            Why::Lingers | Why::Toggled(_) | Why::Drone => true,
            Why::Derived => plan.zone_of(self.source).is_some_and(|zone| zone.linger != Linger::Off),
            Why::Chord(_) | Why::Fades => false,
        }
    }
}
