//! From keys, controllers and messages to cues (rule R19): what belongs to a cue and to nothing else, and which press it
//! was.

use super::presses::{Awaited, Crossing};
use super::{Cues, Todo};
use crate::engine::ids::{CueId, DetectorId, KeyId, Micros};
use crate::engine::out::By;
use crate::engine::plan::{Detected, Plan, PlanDetector, PlanTrigger};
use crate::engine::step::{Received, Step};
use crate::map::Press;
use crate::midi::{Message, machine_control};

/// No cue fires so soon after its input appeared: a cable put back is no pedal.
const DEAF: Micros = Micros::from_millis(500);

/// What cues make of a message.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::engine) enum Offered {
    /// It is nobody's but the zones'.
    Free,
    /// It is a cue's.
    Taken,
    /// It is a cue's; the key was a zone's until now, and its notes end.
    TakenKey(KeyId),
    /// It is a cue's; a controller of this number, as the input's is heard, and its value.
    TakenControl(u8, u8),
}

/// Which presses of a detector the cues of a list wait for, besides single ones.
fn awaited(detector: DetectorId, list: u16, plan: &Plan) -> Awaited {
    let waits = |press| plan.cues_in(list).any(|cue| plan.cue(cue).waits_for(detector, press));
    Awaited { double: waits(Press::Double), long: waits(Press::Long) }
}

impl PlanDetector {
    fn is_key(&self, id: KeyId, channel: u8, is_listened_to: bool) -> bool {
        let Detected::Key { key, channel: only } = self.what else { return false };
        (self.input, key) == (id.input(), id.key()) && only.map_or(is_listened_to, |only| only == channel)
    }

    fn is_control(&self, (input, channel): (usize, u8), number: u8, is_listened_to: bool) -> bool {
        let Detected::Control { number: own, channel: only, .. } = self.what else { return false };
        self.input == input && own == number && only.map_or(is_listened_to, |only| only == channel)
    }

    fn is_reversed(&self) -> bool {
        matches!(self.what, Detected::Control { reversed: true, .. })
    }
}

impl Cues {
    /// Offers a message to the cues in use, which are those of `list`. What is to be done is done by
    /// [`Cues::next_deed`].
    pub fn offer(&mut self, received: &Received<'_>, list: u16, step: &Step<'_>) -> Offered {
        let Received { input, message, is_listened_to } = *received;
        let taken = |is_taken: bool| if is_taken { Offered::Taken } else { Offered::Free };
        match message {
            Message::NoteOn { channel, note, .. } => {
                let (channel, key) = (channel.index(), note as u8);
                self.key_down(KeyId::new(input, channel, key), (channel, is_listened_to), list, step)
            }
            Message::NoteOff { channel, note, .. } => {
                let channel = channel.index();
                taken(self.key_up(KeyId::new(input, channel, note as u8), channel, list, step.plan))
            }
            Message::PolyPressure { channel, note, .. } => {
                taken(self.has_key(KeyId::new(input, channel.index(), note as u8)))
            }
            Message::Control { channel, number, value } => {
                let number = step.plan.inputs[input].heard_as(u8::from(number));
                let place = (input, channel.index(), is_listened_to);
                match self.control(place, (number, u8::from(value)), list, step) {
                    true => Offered::TakenControl(number, u8::from(value)),
                    false => Offered::Free,
                }
            }
            _ => {
                self.other_message(input, message, list, step);
                Offered::Free
            }
        }
    }

    /// A key that is down as a cue's is struck once more: its release got lost, and comes before anything else.
    pub fn release_lost(&mut self, received: &Received<'_>, list: u16, plan: &Plan) {
        if let Message::NoteOn { channel, note, .. } = received.message {
            let channel = channel.index();
            self.key_up(KeyId::new(received.input, channel, note as u8), channel, list, plan);
        }
    }

    /// What is known by now of the press of one detector: what it was, and that it ended. `list` is that of the cues in
    /// use. Whether there are more detectors.
    pub fn resolve(&mut self, detector: DetectorId, list: u16, step: &Step<'_>) -> bool {
        let Some(state) = self.detectors.get_mut(detector.index()) else { return false };
        if let Some(pressed) = state.resolve(step.now) {
            self.fire_all(self.lists[detector.index()], (detector, pressed.into()), By::Time, step.plan);
        }
        if let Some(counted) = self.detectors[detector.index()].settle(step.now) {
            self.go_up(detector, counted, list, step.plan);
        }
        true
    }

    fn is_deaf(&self, input: usize, now: Micros) -> bool {
        self.appeared.get(input).is_none_or(|appeared| now - *appeared < DEAF)
    }

    fn key_down(&mut self, id: KeyId, (channel, is_listened_to): (u8, bool), list: u16, step: &Step<'_>) -> Offered {
        let plan = step.plan;
        let here = |detector: &DetectorId| plan.detector(*detector).is_key(id, channel, is_listened_to);
        if !plan.detectors_in(list).any(|detector| here(&detector)) {
            return Offered::Free;
        }
        self.set_key(id, true);
        let counts = !self.is_deaf(id.input(), step.now);
        for detector in plan.detectors_in(list).filter(here) {
            self.detectors[detector.index()].go_down(counts, step.now);
            self.go_down(detector, list, counts, step);
        }
        Offered::TakenKey(id)
    }

    fn key_up(&mut self, id: KeyId, channel: u8, list: u16, plan: &Plan) -> bool {
        if !self.has_key(id) {
            return false;
        }
        self.set_key(id, false);
        for (detector, planned) in plan.all_detectors() {
            let state = &mut self.detectors[detector.index()];
            if planned.is_key(id, channel, true) && state.is_down() {
                let counted = state.go_up();
                self.go_up(detector, counted, list, plan);
            }
        }
        true
    }

    fn control(
        &mut self,
        (input, channel, is_listened_to): (usize, u8, bool),
        (number, value): (u8, u8),
        list: u16,
        step: &Step<'_>,
    ) -> bool {
        let plan = step.plan;
        let deaf = self.is_deaf(input, step.now);
        let mut is_cue = false;
        for (detector, planned) in plan.all_detectors() {
            let in_force = plan.detectors_in(list).any(|other| other == detector);
            let held = self.detectors[detector.index()].is_down();
            if !planned.is_control((input, channel), number, is_listened_to) || !(in_force || held) {
                continue;
            }
            is_cue = true;
            let guard = (in_force && !deaf).then(|| awaited(detector, list, plan).guard());
            let state = &mut self.detectors[detector.index()];
            match state.turn(value, planned.is_reversed(), guard, step.now) {
                Some((Crossing::Down, counts)) => self.go_down(detector, list, counts, step),
                Some((Crossing::Up, counted)) => self.go_up(detector, counted, list, plan),
                None => {}
            }
        }
        is_cue
    }

    fn go_down(&mut self, detector: DetectorId, list: u16, counts: bool, step: &Step<'_>) {
        if !counts {
            return;
        }
        let (plan, now) = (step.plan, step.now);
        let awaited = awaited(detector, list, plan);
        // A press that still waits and does not become a double one by this was a single one: where no cue in use waits
        // for a second one any more, or where the same key is struck on another channel.
        let state = &mut self.detectors[detector.index()];
        if !(awaited.double && state.doubles(now)) && state.give_up() {
            let before = self.lists[detector.index()];
            self.fire_all(before, (detector, Press::Single), By::Time, plan);
        }
        self.lists[detector.index()] = list;
        self.fire_all(list, (detector, Press::Either), By::Event, plan);
        self.todo.push_back(Todo::Press { detector, list, awaited });
    }

    /// A press ends; `in_use` is the list of the cues in use by now.
    fn go_up(&mut self, detector: DetectorId, counted: bool, in_use: u16, plan: &Plan) {
        let list = self.lists[detector.index()];
        for cue in plan.cues_in(list) {
            let planned = plan.cue(cue);
            if planned.while_down && planned.is_on(detector) {
                self.todo.push_back(Todo::Release { cue });
            }
        }
        if counted {
            // A song's own cue does nothing at a crossing after the song was left.
            let is_loaded = |cue: &CueId| [0, in_use].iter().any(|list| plan.cues_in(*list).any(|other| other == *cue));
            for cue in plan.cues_in(list).filter(is_loaded) {
                let planned = plan.cue(cue);
                // While a held cue is on, its release is what ends it.
                if planned.waits_for(detector, Press::Either) && !planned.while_down {
                    self.todo.push_back(Todo::Fire { cue, received: None, by: By::Release });
                }
            }
            self.todo.push_back(Todo::Lift { detector, list });
        }
    }

    /// A message that is neither a key nor a controller.
    fn other_message(&mut self, input: usize, message: Message<'_>, list: u16, step: &Step<'_>) {
        if self.is_deaf(input, step.now) {
            return;
        }
        let is = |wanted: Option<u8>, value: u8| wanted.is_none_or(|wanted| wanted == value);
        for cue in step.plan.cues_in(list) {
            let planned = step.plan.cue(cue);
            let received = match (planned.trigger, message) {
                _ if planned.input != input => continue,
                (PlanTrigger::Program { program, channel }, Message::Program { channel: on, program: received })
                    if is(program, u8::from(received)) && is(channel, on.index()) =>
                {
                    Some(u8::from(received) + 1)
                }
                (PlanTrigger::SongSelect(song), Message::SongSelect(received)) if is(song, u8::from(received)) => {
                    Some(u8::from(received) + 1)
                }
                (PlanTrigger::Clock(status), Message::Clock(received)) if status == received => None,
                (PlanTrigger::Transport(command), Message::Exclusive(bytes))
                    if machine_control::command(bytes) == Some(command) =>
                {
                    None
                }
                _ => continue,
            };
            self.todo.push_back(Todo::Fire { cue, received, by: By::Event });
        }
    }
}
