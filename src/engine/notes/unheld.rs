//! Held notes: lingering and derived notes, one-key chords, the drone (rules R8, R10–R15). No finger holds them, or not
//! by itself.
//!
//! Each is one more owner of its note, so that R1 and R2 hold for it as for any other.

use super::Notes;
use super::owners::Source;
use crate::engine::ids::{ChannelId, KeyId};
use crate::engine::plan::Plan;
use crate::engine::step::Step;
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

    /// Whether no finger has to hold it: all but one-key chords, and what is derived without linger.
    pub fn is_without_finger(&self, plan: &Plan) -> bool {
        match self.why {
            Why::Lingers | Why::Toggled(_) | Why::Drone => true,
            Why::Derived => plan.zone_of(self.source).is_some_and(|zone| zone.linger != Linger::Off),
            Why::Chord(_) | Why::Fades => false,
        }
    }
}

impl Notes {
    /// Ends the held notes that `ends` says, upward; `velocity` is that of their offs.
    pub fn end_unheld(&mut self, velocity: u8, step: &mut Step<'_>, ends: impl Fn(&Unheld) -> bool) {
        let lowest = |all: &[Unheld]| {
            let ending = all.iter().enumerate().filter(|(_, unheld)| ends(unheld));
            ending.min_by_key(|(_, unheld)| unheld.note).map(|(index, _)| index)
        };
        while let Some(index) = lowest(&self.unheld) {
            let Unheld { channel, note, generation, .. } = self.unheld.remove(index);
            if self.owners.remove_owner(channel, note, generation) {
                step.note_off(channel, note, velocity);
            }
        }
    }

    /// Whether a note of a kind is held.
    pub fn holds(&self, kind: impl Fn(&Unheld) -> bool) -> bool {
        self.unheld.iter().any(kind)
    }

    /// Whether there is room for one more.
    pub fn has_room(&self) -> bool {
        self.unheld.len() < self.unheld.capacity()
    }

    /// Held notes of a zone that goes out of use stay until the next handful.
    pub fn leave(&mut self, source: Source) {
        for unheld in self.unheld.iter_mut().filter(|unheld| unheld.source == source && unheld.why != Why::Drone) {
            unheld.left = true;
        }
    }

    /// Held notes at an output that nothing was connected to are struck again (rule R21).
    pub fn strike_again(&mut self, output: usize, step: &mut Step<'_>) {
        for index in 0..self.unheld.len() {
            let Unheld { channel, note, .. } = self.unheld[index];
            let same = |other: &Unheld| (other.channel, other.note) == (channel, note);
            let done = self.unheld[..index].iter().any(|other| same(other) && other.stays(step.plan));
            if step.plan.is_at(channel, output) && self.unheld[index].stays(step.plan) && !done {
                let velocity = self.owners.velocity(channel, note);
                step.note_off(channel, note, 64);
                self.channels.note_on(channel, note, velocity, step);
            }
        }
    }
}
