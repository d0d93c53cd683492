//! The hand: from pressed keys to notes, and what is struck together.
//!
//! | file | rules |
//! | --- | --- |
//! | `press` | R3, R4, R6: a key goes down; R1: it comes up |
//! | `handful`, `gather` | R10: what is struck together |
//! | `derive` | R11: notes derived from a handful |
//! | `one_key` | R13: one-key chords |
//! | `stay_in_key` | R12 |

mod derive;
mod gather;
pub(super) mod handful;
mod one_key;
mod press;
mod stay_in_key;

use super::ids::ZoneId;
use super::notes::On;
use super::plan::Plan;
use handful::{Gathering, Handful};

/// What is known of the playing hand.
#[derive(Debug)]
pub(super) struct Hand {
    /// The latest handful of each zone.
    pub handfuls: Vec<Handful>,
    /// For each zone with `velocity_by = "handful"`, the notes that it may still let in.
    pub gatherings: Vec<Gathering>,
    /// How many keys were pressed so far.
    pub presses: u64,
    /// Whether a handful began in this step.
    moved: bool,
}

impl Hand {
    pub fn new(plan: &Plan) -> Hand {
        Hand {
            handfuls: vec![Handful::default(); plan.zones.len()],
            gatherings: vec![Gathering::default(); plan.zones.len()],
            presses: 0,
            moved: false,
        }
    }

    fn handful(&self, zone: ZoneId) -> &Handful {
        &self.handfuls[zone.index()]
    }

    fn handful_mut(&mut self, zone: ZoneId) -> &mut Handful {
        &mut self.handfuls[zone.index()]
    }

    /// The first handful after a change of key or song takes the drone along (rule R14).
    fn move_drone(&mut self, on: &mut On<'_, '_>) {
        if std::mem::take(&mut self.moved) {
            on.notes.move_drone(on.current, on.step);
        }
    }

    /// The step is over: no handful begins in it any more.
    pub fn end_step(&mut self) {
        self.moved = false;
    }

    /// Nothing is known of handfuls any more but the chords from which the next are led.
    pub fn forget(&mut self) {
        self.handfuls.iter_mut().for_each(Handful::forget);
    }
}
