//! What rings without a finger on it: lingering and derived notes, one-key chords, the drone (rules R8, R10–R15).
//!
//! Each is one more owner of its note in the ledger, so that R1 and R2 hold for it as for any other.

use std::sync::Arc;

use super::Engine;
use super::ledger::KeyNumber;
use super::out::Out;
use super::plan::Plan;
use crate::map::Linger;

/// A zone of a plan that is no longer there counts on from here; it is in use no more.
pub(super) const GONE: u16 = 1 << 15;

/// A note that a zone or the drone owns.
#[derive(Debug, Clone, Copy)]
pub(super) struct Ring {
    /// The zone; of no meaning for the drone.
    pub zone: u16,
    pub place: u16,
    pub note: u8,
    pub why: Why,
    /// Whether its zone went out of use: it ends before the next handful strikes (rule R8).
    pub left: bool,
    pub generation: u32,
}

/// Why a note rings, and so what ends it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Why {
    /// Its key came up; the zone's next handful ends it.
    Lingers,
    /// Until this key is struck again.
    Toggled(KeyNumber),
    /// Derived from a handful; with its zone's last key, or at the zone's next decision.
    Derived,
    /// Of the chord that this key plays.
    Chord(KeyNumber),
    /// Of the drone.
    Drone,
    /// Fades away (rule R15).
    Fades,
}

impl Engine {
    /// Ends the rings that `ends` says, upward; `velocity` is that of their offs.
    pub(super) fn end_rings(&mut self, velocity: u8, out: &mut Out, ends: impl Fn(&Ring) -> bool) {
        let lowest = |rings: &[Ring]| {
            let ending = rings.iter().enumerate().filter(|(_, ring)| ends(ring));
            ending.min_by_key(|(_, ring)| ring.note).map(|(index, _)| index)
        };
        while let Some(index) = lowest(&self.rings) {
            let ring = self.rings.remove(index);
            if self.ledger.remove_owner(ring.place, ring.note, ring.generation) {
                self.say_off(ring.place, ring.note, velocity, out);
            }
        }
    }

    /// Whether something of a kind rings.
    pub(super) fn rings(&self, kind: impl Fn(&Ring) -> bool) -> bool {
        self.rings.iter().any(kind)
    }

    /// Whether there is room for one more that rings.
    pub(super) fn has_room_to_ring(&self) -> bool {
        self.rings.len() < self.rings.capacity()
    }

    /// Rule R8: what rings in zones that went out of use ends, or begins to fade, before a handful strikes.
    pub(super) fn end_left(&mut self, now: u64, out: &mut Out) {
        let plan = Arc::clone(&self.plan);
        let ends = |ring: &Ring| ring.left && ring.is_without_finger(&plan) && ring.why != Why::Drone;
        while let Some(ring) = self.rings.iter().find(|ring| ends(ring)).copied() {
            let fade = plan.zones.get(usize::from(ring.zone)).map_or(0, |zone| zone.fade);
            let same = |other: &Ring| (other.zone, other.place) == (ring.zone, ring.place) && ends(other);
            self.fade_rings(ring.place, fade, now, out, same);
        }
    }
}

impl Ring {
    /// Whether it lingers in a zone that is in use.
    pub(super) fn lingers(&self) -> bool {
        self.why == Why::Lingers && !self.left
    }

    /// Whether it is there to stay, without a finger.
    pub(super) fn rings_on(&self, plan: &Plan) -> bool {
        self.is_without_finger(plan) && !self.left
    }

    /// Whether no finger has to hold it: all but one-key chords, and what is derived without linger.
    pub(super) fn is_without_finger(&self, plan: &Plan) -> bool {
        match self.why {
            Why::Lingers | Why::Toggled(_) | Why::Drone => true,
            Why::Derived => plan.zones.get(usize::from(self.zone)).is_some_and(|zone| zone.linger != Linger::Off),
            Why::Chord(_) | Why::Fades => false,
        }
    }
}
