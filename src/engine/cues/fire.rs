//! What becomes of a press, what firing a cue does, and the cues that are on (rule R19).

use super::{Cues, Todo};
use crate::engine::guard::LoopVerdict;
use crate::engine::ids::Action;
use crate::engine::ids::{CueId, DetectorId, SendId};
use crate::engine::out::{By, Fired, Notice};
use crate::engine::plan::{Plan, PlanCue, PlanDeed, PlanDoes, PlanTrigger};
use crate::engine::step::Step;
use crate::map::Press;
use crate::midi::Message;

impl PlanCue {
    /// Whether it is the cue of another plan: it is on and goes off likewise. What is held goes off with the key or
    /// pedal that holds it, and so is the same only there.
    pub fn is_as(&self, own: &Plan, other: &PlanCue, others: &Plan) -> bool {
        let held_by =
            |cue: &PlanCue, plan: &Plan| cue.detector().filter(|_| cue.while_down).map(|held| *plan.detector(held));
        (self.input, self.press(), &self.name, self.while_down)
            == (other.input, other.press(), &other.name, other.while_down)
            && self.off_says == other.off_says
            && held_by(self, own) == held_by(other, others)
    }

    fn press(&self) -> Option<Press> {
        match self.trigger {
            PlanTrigger::Press { press, .. } => Some(press),
            _ => None,
        }
    }

    /// Whether it waits for this press of this detector.
    pub fn waits_for(&self, number: DetectorId, kind: Press) -> bool {
        matches!(self.trigger, PlanTrigger::Press { detector, press } if detector == number && press == kind)
    }

    /// Whether it waits for some press of this detector.
    pub fn is_on(&self, number: DetectorId) -> bool {
        self.detector() == Some(number)
    }
}

impl Cues {
    /// The next thing that the engine has to do for the cues; it has to be done before this is called again. `list` is
    /// that of the cues in use now, `message` what let the first of them fire.
    pub fn next_deed(&mut self, list: u16, message: Option<Message<'_>>, step: &mut Step<'_>) -> Option<PlanDeed> {
        while let Some(todo) = self.todo.pop_front() {
            let deed = match todo {
                Todo::Fire { cue, received, by } => self.fire(cue, (received, by), (list, message), step),
                Todo::Press { detector, list, awaited } => {
                    let pressed = self.detectors[detector.index()].press(awaited, step.now);
                    self.fire_first(list, (detector, pressed.map(Into::into)), By::Event, step.plan);
                    None
                }
                Todo::Lift { detector, list } => {
                    let pressed = self.detectors[detector.index()].lift(step.now);
                    self.fire_first(list, (detector, pressed.map(Into::into)), By::Release, step.plan);
                    None
                }
                Todo::Release { cue } => {
                    let was_on = self.is_on(cue);
                    let off = self.close(cue, step);
                    if was_on {
                        step.notice(Notice::Fired(Fired { cue, at: step.now, by: By::Release, received: None }));
                    }
                    off.map(PlanDeed::Send)
                }
                Todo::ReleaseIfUp { cue, detector } => {
                    let is_held = self.detectors[detector.index()].is_held();
                    if !is_held { self.close(cue, step).map(PlanDeed::Send) } else { None }
                }
            };
            if deed.is_some() {
                return deed;
            }
        }
        None
    }

    /// What a press turned out to be comes before what else there is to do.
    fn fire_first(&mut self, list: u16, (detector, press): (DetectorId, Option<Press>), by: By, plan: &Plan) {
        let Some(press) = press else { return };
        let later = self.todo.len();
        self.fire_all(list, (detector, press), by, plan);
        self.todo.rotate_left(later);
    }

    /// Fires a cue; `received` is the number that came in, `list` that of the cues in use.
    fn fire(
        &mut self,
        cue: CueId,
        (received, by): (Option<u8>, By),
        (list, message): (u16, Option<Message<'_>>),
        step: &mut Step<'_>,
    ) -> Option<PlanDeed> {
        let plan = step.plan;
        let planned = plan.cue(cue);
        match step.guard.judge(planned.input, step.now) {
            LoopVerdict::Fires => {}
            LoopVerdict::InLoop => return None,
            LoopVerdict::LoopBegins => {
                step.notice(Notice::Loop(planned.input));
                return None;
            }
        }
        step.notice(Notice::Fired(Fired { cue, at: step.now, by, received }));
        if let Some(message) = message.filter(|_| by == By::Event) {
            step.guard.remember(planned.input, message, step.now);
        }
        if planned.off.is_some() {
            if self.is_on(cue) {
                return self.close(cue, step).map(PlanDeed::Send);
            }
            // What begins to be on after its song was left would stay so.
            let in_list = |list| plan.cues_in(list).any(|other| other == cue);
            if !in_list(0) && !in_list(list) {
                return None;
            }
            self.on[cue.index()] = true;
            step.notice(Notice::Cue(cue, true));
        }
        let numbered = || received.and_then(|number| plan.entry_numbered(number));
        let action = match planned.does {
            PlanDoes::Send(send) => return Some(PlanDeed::Send(send)),
            PlanDoes::Act(action) => Some(action),
            PlanDoes::SongReceived => numbered().map(Action::Song),
            PlanDoes::LineUpReceived => numbered().map(Action::LineUp),
        };
        if action.is_none() {
            step.notice(Notice::NothingThere);
        }
        action.map(PlanDeed::Act)
    }

    /// A cue that is on goes off; what that sends.
    pub fn close(&mut self, cue: CueId, step: &mut Step<'_>) -> Option<SendId> {
        let was_on = self.on.get_mut(cue.index()).is_some_and(std::mem::take);
        if was_on {
            step.notice(Notice::Cue(cue, false));
        }
        step.plan.cues.get(cue.index()).filter(|_| was_on).and_then(|planned| planned.off)
    }

    /// A cue that an earlier run left on goes off; what that sends, unless the start has sent it. `list` is that of the
    /// cues in use.
    pub fn close_left(&mut self, cue: CueId, list: u16, step: &mut Step<'_>) -> Option<SendId> {
        let is_sent = usize::from(cue.0) < self.on.len() && self.rest(cue, list, step.plan).is_some();
        if let Some(on) = self.on.get_mut(cue.index()) {
            *on = true;
        }
        self.close(cue, step).filter(|_| !is_sent)
    }

    /// The rest of a cue in use whose map says which it is, where the cue is not on.
    pub fn rest(&self, cue: CueId, list: u16, plan: &Plan) -> Option<SendId> {
        let planned = plan.cue(cue);
        let is_sent = planned.rests && !self.is_on(cue) && plan.cues_in(list).any(|other| other == cue);
        planned.off.filter(|_| is_sent)
    }

    /// The first cue that is on and of which `which` says so goes off; what that sends.
    pub fn close_next(&mut self, step: &mut Step<'_>, which: impl Fn(CueId, &PlanCue) -> bool) -> Option<SendId> {
        let plan = step.plan;
        let mut off = None;
        while off.is_none() {
            let cue = self.all_on().find(|cue| which(*cue, plan.cue(*cue)))?;
            off = self.close(cue, step);
        }
        off
    }
}
