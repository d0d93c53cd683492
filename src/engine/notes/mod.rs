//! Notes: what sounds, who owns it, what channels were told, and how notes begin, end and fade.
//!
//! | file | rules |
//! | --- | --- |
//! | `owners` | R1, R2: active notes and the keys that hold them |
//! | `unheld` | R8, R10–R15: held notes, which no finger holds |
//! | `fade` | R15: how held notes end; R8: the set-up of a channel |
//! | `struck`, `strike` | R2, R3: how notes begin |
//! | `sounding`, `drone` | R14 |

pub(super) mod drone;
mod fade;
pub(super) mod owners;
mod sounding;
pub(super) mod strike;
pub(super) mod struck;
pub(super) mod unheld;

use super::channels::Channels;
use super::current::Current;
use super::plan::Plan;
use super::step::Step;
use crate::engine::ids::Source;
use owners::Owners;
use sounding::Sounding;
use struck::Struck;
use unheld::{Unheld, Why};

/// What sounds at the outputs.
#[derive(Debug)]
pub(super) struct Notes {
    pub owners: Owners,
    pub channels: Channels,
    /// Held notes: what sounds without a finger.
    pub unheld: Vec<Unheld>,
    /// What the drone sounds as, while it does.
    pub drone: Option<Sounding>,
    /// Notes that lay outside 0–127 and were not sent (rule R4).
    pub out_of_range: u64,
    /// Notes that are about to be struck; kept for its memory.
    struck: Vec<Struck>,
}

/// What a hand or a foot acts on: where the set stands, what sounds, and the step.
pub(super) struct On<'a, 'p> {
    pub current: &'a Current,
    pub notes: &'a mut Notes,
    pub step: &'a mut Step<'p>,
}

impl Notes {
    /// With room for so many held notes besides those of the plan.
    pub fn new(plan: &Plan, more_unheld: usize) -> Notes {
        let unheld = plan.zones.iter().filter(|zone| zone.can_ring()).count() + 1;
        Notes {
            owners: Owners::new(plan),
            channels: Channels::new(plan),
            // Each zone, and the drone, holds each note at most once.
            unheld: Vec::with_capacity(128 * unheld + more_unheld),
            drone: None,
            out_of_range: 0,
            // One press strikes at most a chord for each zone, or, with `velocity_by`, a note for each key that is down.
            struck: Vec::with_capacity(12 * plan.most_zones + super::ids::key_count(plan.inputs.len())),
        }
    }

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

    /// A zone comes back into use: what its fingers still hold there is its own again. What rings without one stays left.
    pub fn come_back(&mut self, source: Source, plan: &Plan) {
        let held = |unheld: &&mut Unheld| unheld.source == source && unheld.is_held(plan);
        self.unheld.iter_mut().filter(held).for_each(|unheld| unheld.left = false);
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
