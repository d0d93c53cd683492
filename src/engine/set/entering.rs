//! What songs, sections and pauses have done on entering and leaving (rule R8).

use crate::engine::Engine;
use crate::engine::current::Current;
use crate::engine::ids::{Action, Micros};
use crate::engine::out::Notice;
use crate::engine::plan::{Plan, PlanDeed, Playing};
use crate::engine::set::held_back::HeldBack;
use crate::engine::step::Step;

/// How much of the lists is done.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Doing {
    All,
    /// At the start nothing is set going: no transport, clock, note or drone.
    NothingStarts,
    /// On request: all messages again; with what sets something going, where the start held that back.
    Again {
        held_back: bool,
    },
}

impl PlanDeed {
    /// Whether it sets something going that the start of the program must not.
    fn starts_something(self, plan: &Plan) -> bool {
        match self {
            PlanDeed::Send(send) => plan.send(send).say.starts_something(),
            PlanDeed::Act(action) => action == Action::Drone(Some(true)),
        }
    }
}

impl Current {
    /// The lists of where the set stands: the song's, that of its entry in the set, the section's.
    pub(super) fn lists<'p>(&self, plan: &'p Plan) -> [&'p [PlanDeed]; 3] {
        let entry = plan.entries.get(self.standing.entry).map_or(&[][..], |entry| &entry.enter);
        match self.entered(plan) {
            Some(Playing { song, .. }) => [&song.enter, entry, &song.sections[self.standing.section].enter],
            None => [&[], entry, &[]],
        }
    }

    /// The zones of the song that the keys play are on or off as a list says; whether that turned one.
    pub(super) fn turn_zones(&mut self, list: &[PlanDeed], plan: &Plan) -> bool {
        let mut turned = false;
        for deed in list {
            let PlanDeed::Act(Action::Zone { name, on: Some(on) }) = *deed else { continue };
            for zone in self.playing(plan).map_or(0..0, |playing| playing.song.zones.clone()) {
                if plan.zones[zone].name == name && self.on[zone] != on {
                    self.on[zone] = on;
                    turned = true;
                }
            }
        }
        turned
    }
}

impl Engine {
    /// Does the rest of a list, whose zones were turned before.
    pub(super) fn do_list(&mut self, list: &[PlanDeed], doing: Doing, step: &mut Step<'_>) {
        for deed in list {
            let starts = deed.starts_something(step.plan);
            match *deed {
                _ if doing == Doing::NothingStarts && starts => {}
                PlanDeed::Send(send) => self.sends.send(send, &mut self.notes, step),
                // Only what was not done is done now: the player may have turned it since.
                PlanDeed::Act(_) if matches!(doing, Doing::Again { held_back } if !(starts && held_back)) => {}
                // What is not there does nothing.
                PlanDeed::Act(Action::Drone(on)) => {
                    self.notes.turn_drone(on, &self.current, step);
                }
                PlanDeed::Act(Action::Fade(time)) => {
                    self.notes.fade_all(Micros(time), step);
                }
                PlanDeed::Act(_) => {}
            }
        }
    }

    /// Does the lists of where the set stands.
    pub(super) fn do_lists(&mut self, doing: Doing, step: &mut Step<'_>) {
        for list in self.current.lists(step.plan) {
            self.do_list(list, doing, step);
        }
    }

    /// Tells what the start did not do.
    pub(super) fn tell_not_done(&mut self, step: &mut Step<'_>) {
        let plan = step.plan;
        let count = |list: &[PlanDeed]| list.iter().filter(|deed| deed.starts_something(plan)).count() as u16;
        let [song, entry, section] = self.current.lists(plan).map(count);
        self.held_back = HeldBack { song: song.saturating_add(entry), section };
        if self.held_back.count() > 0 {
            step.notice(Notice::HeldBack(self.held_back.count()));
        }
    }

    /// Sends again what the lists send, and does what the start did not.
    pub(super) fn resend_messages(&mut self, step: &mut Step<'_>) {
        let is_pause = self.current.entered(step.plan).is_none();
        if is_pause && self.current.lists(step.plan).iter().all(|list| list.is_empty()) {
            step.notice(Notice::NothingThere);
            return;
        }
        let HeldBack { song, section } = std::mem::take(&mut self.held_back);
        for (list, held_back) in self.current.lists(step.plan).into_iter().zip([song, song, section]) {
            self.do_list(list, Doing::Again { held_back: held_back > 0 }, step);
        }
        step.notice(Notice::SaidAgain);
    }
}
