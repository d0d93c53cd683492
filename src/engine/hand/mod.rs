//! The hand: from pressed keys to notes, and what is struck together.
//!
//! | file | rules |
//! | --- | --- |
//! | `press` | R3, R4, R6: a key goes down; R1: it comes up |
//! | `handful`, `gather` | R10: what is struck together |
//! | `follower` | R11: which keys a zone that follows chords counts, and when |
//! | `derive` | R11: notes derived from them |
//! | `one_key` | R13: one-key chords |
//! | `stay_in_key` | R12 |

mod derive;
mod follower;
mod gather;
pub(super) mod handful;
mod one_key;
mod press;
mod stay_in_key;

use super::ids::ZoneId;
use super::notes::On;
use super::plan::Plan;
use super::zone::PlanZone;
use crate::evening::Inputs;
use crate::music::voicing::Voicing;
use follower::Follower;
use handful::{Gathering, Handful};

/// What is known of the playing hand.
#[derive(Debug)]
pub(super) struct Hand {
    /// The latest handful of each zone.
    pub handfuls: Vec<Handful>,
    /// For each zone with `velocity_by = "handful"`, the notes that it may still let in.
    pub gatherings: Vec<Gathering>,
    /// What each zone that follows chords knows of the hand.
    followers: Vec<Follower>,
    /// The inputs whose sustain pedal is down.
    pub sustained: Inputs,
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
            followers: vec![Follower::default(); usize::from(plan.followers)],
            sustained: 0,
            presses: 0,
            moved: false,
        }
    }

    fn handful(&self, zone: ZoneId) -> &Handful {
        &self.handfuls[zone.index()]
    }

    fn follower(&self, zone: &PlanZone) -> Option<&Follower> {
        self.followers.get(zone.follower?.index())
    }

    fn follower_mut(&mut self, zone: &PlanZone) -> Option<&mut Follower> {
        self.followers.get_mut(zone.follower?.index())
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

    /// The inputs whose sustain pedal is down by now: where it came up, nothing is held by it any longer (rule R11).
    pub fn take_sustained(&mut self, sustained: Inputs, on: &On<'_, '_>) {
        let lifted = self.sustained & !sustained;
        self.sustained = sustained;
        if lifted == 0 {
            return;
        }
        let zones = on.current.in_use.iter().map(|zone| on.step.plan.zone(*zone));
        for zone in zones.filter(|zone| zone.sustains() & sustained == 0) {
            self.follower_mut(zone).into_iter().for_each(Follower::lift_pedal);
        }
    }

    /// The step is over: no handful begins in it any more.
    pub fn end_step(&mut self) {
        self.moved = false;
    }

    /// A song begins: its zones lead their voices, and count the section's chords, from its beginning.
    pub fn begin_song(&mut self, zone: ZoneId, plan: &Plan) {
        self.handful_mut(zone).voicing = Voicing::default();
        self.begin_section(zone, plan);
    }

    /// A section is entered: its zones count its chords from its beginning.
    pub fn begin_section(&mut self, zone: ZoneId, plan: &Plan) {
        self.follower_mut(plan.zone(zone)).into_iter().for_each(Follower::begin_section);
    }

    /// A zone of another plan goes on as this one, with what it knows of the hand.
    pub fn inherit(&mut self, (zone, plan): (ZoneId, &Plan), older: &Hand, (old, old_plan): (ZoneId, &Plan)) {
        *self.handful_mut(zone) = *older.handful(old);
        if let Some((heir, follower)) = self.follower_mut(plan.zone(zone)).zip(older.follower(old_plan.zone(old))) {
            *heir = *follower;
        }
    }

    /// Nothing is known of handfuls any more but the chords from which the next are led.
    pub fn forget(&mut self) {
        self.handfuls.iter_mut().for_each(Handful::forget);
        self.followers.fill(Follower::default());
    }
}
