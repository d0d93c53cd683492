//! Notes: what sounds, who owns it, what channels were told, and how notes begin, end and fade.
//!
//! | file | rules |
//! | --- | --- |
//! | `owners` | R1, R2: active notes and the keys that hold them |
//! | `unheld` | R8, R10–R15: held notes, which no finger holds |
//! | `fade` | R15: how notes end for good; R8: the set-up of a channel |
//! | `strike` | R2, R3: how notes begin |
//! | `drone` | R14 |

pub(super) mod drone;
mod fade;
pub(super) mod owners;
pub(super) mod strike;
pub(super) mod unheld;

use super::channels::Channels;
use super::current::Current;
use super::plan::Plan;
use super::step::Step;
use drone::Sounding;
use owners::Owners;
use strike::Struck;
use unheld::Unheld;

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
}
