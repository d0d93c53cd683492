//! Making it quiet: panic (rule R16), a lost input and the end (R17); cues at rest (R19).

use super::Engine;
use super::hand::handful::Gathering;
use super::ids::{CueId, SendId};
use super::out::{Notice, Sink};
use super::plan::{PlanCue, PlanDoes};
use super::step::Step;

impl Engine {
    /// Rule R16. Only what is needed is said, so that a listener's queue of 200 events holds it.
    pub(super) fn panic(&mut self, step: &mut Step<'_>) {
        self.sends.forget_all();
        self.cues.stop_waiting_for_presses();
        for channel in self.notes.channels.all() {
            if self.notes.channels.get(channel).played {
                self.notes.silence(channel, true, step);
            }
        }
        for key in self.notes.owners.all_keys() {
            self.notes.owners.forget(key);
        }
        self.notes.unheld.clear();
        self.hand.forget();
        self.hand.gatherings.fill(Gathering::default());
        self.rest_cues(step, |_, _| true);
        step.notice(Notice::Panic);
    }

    /// As in a panic, at every channel of one output, whether or not it got a note from us: an earlier run may have left
    /// some there, and pedals down and pressure. What sounds elsewhere and what waits stays.
    pub(super) fn silence_output(&mut self, output: usize, step: &mut Step<'_>) {
        for channel in self.notes.channels.all().filter(|channel| step.plan.is_at(*channel, output)) {
            self.notes.silence(channel, false, step);
        }
    }

    /// Rule R17: an input's keys come up, lowest first, its pedals lift, bend and pressure rest.
    pub(super) fn lose_input(&mut self, input: usize, step: &mut Step<'_>) {
        if input >= step.plan.inputs.len() {
            return;
        }
        let (hand, controllers, mut on) = self.parts(step);
        hand.lift_keys(input, None, &mut on);
        controllers.lose(input, &mut on);
        hand.take_sustained(controllers.sustained(), &on);
        self.rest_cues(step, |_, cue| cue.input == input);
        self.cues.forget_presses(input, step.plan);
        self.clock.lose(input, step);
    }

    /// Cues that are on and of which `which` says so go off.
    pub(super) fn close_cues(&mut self, step: &mut Step<'_>, which: impl Fn(CueId, &PlanCue) -> bool) {
        while let Some(off) = self.cues.close_next(step, &which) {
            self.sends.send(off, &mut self.notes, step);
        }
    }

    /// Cues of which `which` says so are put at rest: those that are on go off, and of the others in use the rest is sent
    /// where the map says which it is.
    pub(super) fn rest_cues(&mut self, step: &mut Step<'_>, which: impl Fn(CueId, &PlanCue) -> bool) {
        let (plan, list) = (step.plan, self.cue_list());
        for (cue, planned) in (0..).map(CueId).zip(&plan.cues) {
            if !which(cue, planned) {
                continue;
            }
            let rest = self.cues.rest(cue, list, plan);
            if let Some(off) = rest.or_else(|| self.cues.close(cue, step)) {
                self.sends.send(off, &mut self.notes, step);
            }
        }
    }

    /// The cues in use at an output whose map says what their rest is are told there as they stand (rule R21).
    pub(super) fn tell_cues(&mut self, output: usize, step: &mut Step<'_>) {
        let (plan, list) = (step.plan, self.cue_list());
        for cue in plan.cues_in(list) {
            let planned = plan.cue(cue);
            let message = match planned.does {
                PlanDoes::Send(message) if planned.rests => {
                    if self.cues.is_on(cue) {
                        Some(message)
                    } else {
                        planned.off
                    }
                }
                _ => None,
            };
            let there = |send: &SendId| usize::from(plan.send(*send).output) == output;
            if let Some(message) = message.filter(there) {
                self.sends.send(message, &mut self.notes, step);
            }
        }
    }

    /// Ends all that sounds and lifts every pedal, trusting nothing else: for an engine that failed in a step.
    pub fn end_everything(&mut self, sink: &mut dyn Sink) {
        let now = self.last;
        self.with_step(now, sink, |engine, step| engine.notes.end_everything(step));
    }

    /// Rule R17: all inputs so, then the rest at once, nothing that leaving does.
    pub(super) fn stop(&mut self, step: &mut Step<'_>) {
        for input in 0..step.plan.inputs.len() {
            self.lose_input(input, step);
        }
        self.sends.forget_all();
        self.hand.forget();
        self.notes.end_everything(step);
    }
}
