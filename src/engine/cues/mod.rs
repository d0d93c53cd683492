//! Cues (rule R19): what a pedal, a spare key or a message of another machine does to the set. They act before zones.
//!
//! Cues do nothing to the rest of the engine themselves. What is received becomes a list of things to do; each is looked
//! at when its turn comes, and what the engine has to do for it is returned as a [`PlanDeed`](super::plan::PlanDeed).
//!
//! | file | rules |
//! | --- | --- |
//! | `trigger` | R19: from keys, controllers and messages to cues |
//! | `presses` | R19: when a press counts, and what it was |
//! | `fire` | R19: what firing does; cues that are on |

mod fire;
mod presses;
mod trigger;

use std::collections::VecDeque;

use super::ids::{CueId, DetectorId, KeyId, Micros, key_count};
use super::out::By;
use super::plan::Plan;
use crate::map::Press;
use presses::{Awaited, PressDetector};

pub(super) use trigger::Offered;

/// What the engine knows of cues while it plays.
#[derive(Debug, Clone)]
pub(super) struct Cues {
    detectors: Vec<PressDetector>,
    /// For each detector the list of cues that were in use when it went down.
    lists: Vec<u16>,
    /// One bit for each key that is down as a cue's.
    keys: Vec<u64>,
    /// Which cues are on.
    on: Vec<bool>,
    /// When each input appeared.
    appeared: Vec<Micros>,
    todo: VecDeque<Todo>,
}

/// What has become of a press, or may.
#[derive(Debug, Clone, Copy)]
enum Todo {
    /// A cue fires, unless something speaks against it; `received` is the number that came in.
    Fire { cue: CueId, received: Option<u8>, by: By },
    /// A press counts: what it is, if that is known already.
    Press { detector: DetectorId, list: u16, awaited: Awaited },
    /// It ends: what it was, if that is known now.
    Lift { detector: DetectorId, list: u16 },
    /// A cue that is held goes off, if it is on, as its press ends.
    Release { cue: CueId },
    /// A cue that is held and fired only after its press had ended goes off at once.
    ReleaseIfUp { cue: CueId, detector: DetectorId },
}

impl Cues {
    pub fn new(plan: &Plan) -> Cues {
        Cues {
            detectors: vec![PressDetector::default(); plan.detectors.len()],
            lists: vec![0; plan.detectors.len()],
            keys: vec![0; key_count(plan.inputs.len()) / 64],
            on: vec![false; plan.cues.len()],
            appeared: vec![Micros::ZERO; plan.inputs.len()],
            // Each cue may fire three times for one message (a press that ends another, either, and its kind) and be
            // released, and each detector asks twice.
            todo: VecDeque::with_capacity(8 * plan.cues.len() + 4 * plan.detectors.len() + 16),
        }
    }

    /// When it will be known what a press was.
    pub fn next(&self) -> Option<Micros> {
        self.detectors.iter().filter_map(PressDetector::due).min()
    }

    /// An input is there from now on.
    pub fn appear(&mut self, input: usize, now: Micros) {
        if let Some(appeared) = self.appeared.get_mut(input) {
            *appeared = now;
        }
    }

    /// Whether a cue is on.
    pub fn is_on(&self, cue: CueId) -> bool {
        self.on.get(cue.index()).is_some_and(|on| *on)
    }

    /// Which cues are on.
    pub fn all_on(&self) -> impl Iterator<Item = CueId> {
        (0..).map(CueId).zip(&self.on).filter(|(_, on)| **on).map(|(cue, _)| cue)
    }

    fn has_key(&self, key: KeyId) -> bool {
        self.keys[key.index() / 64] & 1 << (key.index() % 64) != 0
    }

    fn set_key(&mut self, key: KeyId, down: bool) {
        let bit = 1 << (key.index() % 64);
        let word = &mut self.keys[key.index() / 64];
        *word = if down { *word | bit } else { *word & !bit };
    }

    /// Takes over from an older plan's: presses, keys and what is on, as far as the cues are still there.
    pub fn take_over(&mut self, older: &Cues, old: &Plan, new: &Plan) {
        for (number, detector) in new.detectors.iter().enumerate() {
            if let Some(before) = old.detectors.iter().position(|known| known == detector) {
                self.detectors[number] = older.detectors[before];
                let list = usize::from(older.lists[before]);
                let file = list.checked_sub(1).and_then(|song| old.song_files.get(song));
                let song = file.and_then(|file| new.song_files.iter().position(|known| known == file));
                self.lists[number] = song.map_or(0, |song| song as u16 + 1);
            }
        }
        for cue in older.all_on() {
            let same = |known: &super::plan::PlanCue| known.is_as(new, old.cue(cue), old);
            if let Some(same) = new.cues.iter().position(same) {
                self.on[same] = true;
            }
        }
        self.keys.clone_from(&older.keys);
        self.appeared.clone_from(&older.appeared);
    }

    /// An input is lost: its presses are forgotten. Its cues that are on must have been closed.
    pub fn forget_presses(&mut self, input: usize, plan: &Plan) {
        for (detector, _) in plan.detectors.iter().enumerate().filter(|(_, detector)| detector.input == input) {
            self.detectors[detector].forget();
        }
        let words = key_count(1) / 64;
        self.keys[input * words..(input + 1) * words].fill(0);
    }

    /// What is still to come of presses is forgotten.
    pub fn stop_waiting_for_presses(&mut self) {
        self.detectors.iter_mut().for_each(PressDetector::stop_waiting);
    }

    /// The cues that wait for such a press fire.
    fn fire_all(&mut self, list: u16, (detector, press): (DetectorId, Press), by: By, plan: &Plan) {
        for cue in plan.cues_in(list) {
            let planned = plan.cue(cue);
            if planned.waits_for(detector, press) {
                self.todo.push_back(Todo::Fire { cue, received: None, by });
                if planned.while_down {
                    self.todo.push_back(Todo::ReleaseIfUp { cue, detector });
                }
            }
        }
    }
}
