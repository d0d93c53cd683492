//! Cues (rule R19): what a pedal, a spare key or a message of another machine does to the set. They act before zones.

use std::sync::Arc;

use super::Engine;
use super::action::Action;
use super::ledger::KeyNumber;
use super::out::{By, Fired, Notice, Out};
use super::plan::{Plan, PlanCue, PlanDoes, PlanTrigger};
use super::sensor::Sensor;
use crate::map::Press;
use crate::midi::Message;
use crate::midi::machine_control;

/// No cue fires so soon after its input appeared, in microseconds: a cable put back is no pedal.
const DEAF: u64 = 500_000;

/// What came that may fire a cue.
#[derive(Debug, Clone, Copy)]
pub(super) enum Came<'a> {
    Message(Message<'a>),
    Release,
    Time,
}

impl Came<'_> {
    fn by(self) -> By {
        match self {
            Came::Message(_) => By::Event,
            Came::Release => By::Release,
            Came::Time => By::Time,
        }
    }
}

/// What the engine knows of cues while it plays.
#[derive(Debug, Clone)]
pub(super) struct Cues {
    pub sensors: Vec<Sensor>,
    /// For each sensor the list of cues that were in force when it went down.
    pub lists: Vec<u16>,
    /// One bit for each key that is down as a cue's.
    keys: Vec<u64>,
    /// Which cues stand on.
    standing: Vec<bool>,
    /// When each input appeared.
    appeared: Vec<u64>,
    /// The song that `next-song` will enter.
    pub lined_up: Option<usize>,
}

impl Cues {
    pub fn new(plan: &Plan) -> Cues {
        Cues {
            sensors: vec![Sensor::default(); plan.sensors.len()],
            lists: vec![0; plan.sensors.len()],
            keys: vec![0; plan.inputs.len() * 16 * 128 / 64],
            standing: vec![false; plan.cues.len()],
            appeared: vec![0; plan.inputs.len()],
            lined_up: None,
        }
    }

    /// When it will be known what a press was.
    pub fn next(&self) -> Option<u64> {
        self.sensors.iter().filter_map(Sensor::due).min()
    }

    /// An input is there from now on.
    pub fn appear(&mut self, input: usize, now: u64) {
        if let Some(appeared) = self.appeared.get_mut(input) {
            *appeared = now;
        }
    }

    pub fn is_on(&self, cue: u16) -> bool {
        self.standing.get(usize::from(cue)).is_some_and(|on| *on)
    }

    pub fn has_key(&self, key: KeyNumber) -> bool {
        self.keys[key as usize / 64] & 1 << (key % 64) != 0
    }

    pub fn set_key(&mut self, key: KeyNumber, down: bool) {
        let bit = 1 << (key % 64);
        let word = &mut self.keys[key as usize / 64];
        *word = if down { *word | bit } else { *word & !bit };
    }

    /// Takes over from an older plan's: presses, keys and what stands on, as far as the cues are still there.
    pub fn take_over(&mut self, older: &Cues, old: &Plan, new: &Plan) {
        for (number, sensor) in new.sensors.iter().enumerate() {
            if let Some(before) = old.sensors.iter().position(|known| known == sensor) {
                self.sensors[number] = older.sensors[before];
                let list = usize::from(older.lists[before]);
                let file = list.checked_sub(1).and_then(|song| old.song_files.get(song));
                let song = file.and_then(|file| new.song_files.iter().position(|known| known == file));
                self.lists[number] = song.map_or(0, |song| song as u16 + 1);
            }
        }
        for (number, cue) in old.cues.iter().enumerate().filter(|(number, _)| older.standing[*number]) {
            if let Some(same) = new.cues.iter().position(|known| known.is_as(new, cue, old)) {
                self.standing[same] |= older.standing[number];
            }
        }
        self.keys.clone_from(&older.keys);
        self.appeared.clone_from(&older.appeared);
    }
}

impl PlanCue {
    /// Whether it is the cue of another plan: it stands on and goes off likewise. What is held goes off with the key or
    /// pedal that holds it, and so is the same only there.
    pub(super) fn is_as(&self, own: &Plan, other: &PlanCue, others: &Plan) -> bool {
        let held_by = |cue: &PlanCue, plan: &Plan| {
            let sensor = cue.sensor().filter(|_| cue.hold);
            sensor.and_then(|sensor| plan.sensors.get(usize::from(sensor)).copied())
        };
        (self.input, self.press(), &self.name, self.hold) == (other.input, other.press(), &other.name, other.hold)
            && self.off_says == other.off_says
            && held_by(self, own) == held_by(other, others)
    }

    fn press(&self) -> Option<Press> {
        match self.trigger {
            PlanTrigger::Sensor { press, .. } => Some(press),
            _ => None,
        }
    }

    /// Whether it waits for this press of this sensor.
    pub(super) fn waits_for(&self, number: u16, kind: Press) -> bool {
        matches!(self.trigger, PlanTrigger::Sensor { sensor, press } if sensor == number && press == kind)
    }

    pub(super) fn is_on(&self, number: u16) -> bool {
        matches!(self.trigger, PlanTrigger::Sensor { sensor, .. } if sensor == number)
    }
}

impl Engine {
    /// The cues in force: the gear's and, from a song's entry until it is left, the song's.
    pub(super) fn cue_list(&self) -> u16 {
        self.current().map_or(0, |(_, tonight, _)| tonight.song as u16 + 1)
    }

    pub(super) fn is_deaf(&self, input: usize, now: u64) -> bool {
        self.cues.appeared.get(input).is_none_or(|appeared| now.saturating_sub(*appeared) < DEAF)
    }

    /// A message that is neither a key nor a controller.
    pub(super) fn cue_message(&mut self, input: usize, message: Message<'_>, now: u64, out: &mut Out) {
        if self.is_deaf(input, now) {
            return;
        }
        let plan = Arc::clone(&self.plan);
        let list = self.cue_list();
        let is = |wanted: &Option<u8>, value: u8| wanted.is_none_or(|wanted| wanted == value);
        for cue in plan.cues_of(list) {
            let planned = &plan.cues[usize::from(cue)];
            let received = match (planned.trigger, message) {
                _ if planned.input != input => continue,
                (PlanTrigger::Program { program, channel }, Message::Program { channel: on, program: said })
                    if is(&program, u8::from(said)) && is(&channel, on.index()) =>
                {
                    Some(u8::from(said) + 1)
                }
                (PlanTrigger::SongSelect(song), Message::SongSelect(said)) if is(&song, u8::from(said)) => {
                    Some(u8::from(said) + 1)
                }
                (PlanTrigger::Clock(status), Message::Clock(said)) if status == said => None,
                (PlanTrigger::Transport(command), Message::Exclusive(bytes))
                    if machine_control::command(bytes) == Some(command) =>
                {
                    None
                }
                _ => continue,
            };
            self.fire(cue, received, Came::Message(message), now, out);
        }
    }

    /// Fires a cue; `received` is the number that came in.
    pub(super) fn fire(&mut self, cue: u16, received: Option<u8>, came: Came<'_>, now: u64, out: &mut Out) {
        let plan = Arc::clone(&self.plan);
        let planned = &plan.cues[usize::from(cue)];
        if self.is_loop(planned.input, now, out) {
            return;
        }
        out.notice(Notice::Fired(Fired { cue, at: now, by: came.by(), received }));
        if let Came::Message(message) = came {
            self.remember_echo(planned.input, message, now);
        }
        if planned.off.is_some() {
            if self.cues.standing[usize::from(cue)] {
                self.close_cue(cue, now, out);
                return;
            }
            if self.is_left_behind(cue) {
                return;
            }
            self.cues.standing[usize::from(cue)] = true;
            out.notice(Notice::Cue(cue, true));
        }
        let numbered = || received.and_then(|number| plan.entry_numbered(number));
        let source = Some(planned.input);
        match planned.does {
            PlanDoes::Act(action) => self.act(action, source, now, out),
            PlanDoes::Send(send) => self.send(send, now, out),
            PlanDoes::SongReceived => match numbered() {
                Some(entry) => self.act(Action::Song(entry), source, now, out),
                None => out.notice(Notice::NothingThere),
            },
            PlanDoes::LineUpReceived => match numbered() {
                Some(entry) => self.act(Action::LineUp(entry), source, now, out),
                None => out.notice(Notice::NothingThere),
            },
        }
    }

    /// Whether a cue's song was left since its press: what begins to stand on now would stay so.
    fn is_left_behind(&self, cue: u16) -> bool {
        let in_list = |list| self.plan.cues_of(list).any(|other| other == cue);
        !in_list(0) && !in_list(self.cue_list())
    }

    /// A cue that stands on says `off`; whether it stood on.
    pub(super) fn close_cue(&mut self, cue: u16, now: u64, out: &mut Out) -> bool {
        let stood = self.cues.standing.get_mut(usize::from(cue)).is_some_and(std::mem::take);
        if stood {
            out.notice(Notice::Cue(cue, false));
            if let Some(off) = self.plan.cues[usize::from(cue)].off {
                self.send(off, now, out);
            }
        }
        stood
    }

    /// A cue that an earlier run left standing on says `off`.
    pub(super) fn close_left_cue(&mut self, cue: u16, now: u64, out: &mut Out) {
        if let Some(standing) = self.cues.standing.get_mut(usize::from(cue)) {
            *standing = true;
        }
        self.close_cue(cue, now, out);
    }

    /// Cues that stand on and of which `which` says so say `off`.
    pub(super) fn close_cues(&mut self, now: u64, out: &mut Out, which: impl Fn(u16, &PlanCue) -> bool) {
        let plan = Arc::clone(&self.plan);
        for (cue, planned) in plan.cues.iter().enumerate() {
            if self.cues.standing[cue] && which(cue as u16, planned) {
                self.close_cue(cue as u16, now, out);
            }
        }
    }

    /// What stands on in this plan and is not in a newer one goes off.
    pub(super) fn close_cues_that_go(&mut self, newer: &Plan, now: u64, out: &mut Out) {
        out.at(now);
        let plan = Arc::clone(&self.plan);
        self.close_cues(now, out, |_, cue| !newer.cues.iter().any(|known| known.is_as(newer, cue, &plan)));
    }

    /// A song is left: what its own cues have on goes off, but for those whose key or pedal is still held.
    pub(super) fn leave_song_cues(&mut self, song: usize, now: u64, out: &mut Out) {
        let plan = Arc::clone(&self.plan);
        let own = |cue: u16| plan.cues_of(song as u16 + 1).any(|other| other == cue);
        let gears = |cue: u16| plan.cues_of(0).any(|other| other == cue);
        self.close_cues(now, out, |cue, planned| own(cue) && !gears(cue) && !planned.hold);
    }

    /// An input is lost: its presses are forgotten, and what its cues have on goes off.
    pub(super) fn forget_presses(&mut self, input: usize, now: u64, out: &mut Out) {
        let plan = Arc::clone(&self.plan);
        self.close_cues(now, out, |_, cue| cue.input == input);
        for (sensor, _) in plan.sensors.iter().enumerate().filter(|(_, sensor)| sensor.input == input) {
            self.cues.sensors[sensor].forget();
        }
        let words = 16 * 128 / 64;
        self.cues.keys[input * words..(input + 1) * words].fill(0);
    }

    /// What presses might become is forgotten.
    pub(super) fn stop_waiting_for_presses(&mut self) {
        for sensor in &mut self.cues.sensors {
            sensor.give_up();
        }
    }

    /// Which cues stand on, by number.
    pub fn standing_cues(&self) -> impl Iterator<Item = u16> {
        (0..).zip(&self.cues.standing).filter(|(_, stands)| **stands).map(|(cue, _)| cue)
    }
}
