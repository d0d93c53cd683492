//! From keys and controllers to cues (rule R19): what belongs to a cue altogether, and which press it was.

use std::sync::Arc;

use super::Engine;
use super::cue::Came;
use super::ledger::Ledger;
use super::out::{By, Fired, Notice, Out};
use super::place::PEDALS;
use super::plan::{PlanSensor, Sensed};
use super::sensor::{Awaited, Crossing, Pressed};
use crate::map::Press;
use crate::midi::Message;

impl PlanSensor {
    fn is_key(&self, input: usize, channel: u8, key: u8, heard: bool) -> bool {
        let Sensed::Key { key: own, channel: only } = self.what else { return false };
        self.input == input && own == key && only.map_or(heard, |only| only == channel)
    }

    fn is_control(&self, input: usize, channel: u8, number: u8, heard: bool) -> bool {
        let Sensed::Control { number: own, channel: only, .. } = self.what else { return false };
        self.input == input && own == number && only.map_or(heard, |only| only == channel)
    }

    fn is_reversed(&self) -> bool {
        matches!(self.what, Sensed::Control { reversed: true, .. })
    }
}

impl Engine {
    /// Offers a message to the cues; whether it is theirs altogether.
    pub(super) fn hear_cue(&mut self, input: usize, message: Message<'_>, now: u64, out: &mut Out) -> bool {
        let only = self.plan.inputs[input].channel;
        let heard = |channel: u8| only.is_none_or(|only| only == channel);
        match message {
            Message::NoteOn { channel, note, .. } => {
                let channel = channel.index();
                self.cue_key_down((input, channel, note as u8), heard(channel), message, now, out)
            }
            Message::NoteOff { channel, note, .. } => self.cue_key_up((input, channel.index(), note as u8), now, out),
            Message::PolyPressure { channel, note, .. } => {
                self.cues.has_key(Ledger::number(input, channel.index(), note as u8))
            }
            Message::Control { channel, number, value } => {
                let (channel, value) = (channel.index(), u8::from(value));
                let number = self.plan.inputs[input].heard_as[usize::from(u8::from(number) & 127)];
                self.cue_control((input, channel, number), value, heard(channel), message, now, out)
            }
            _ => {
                self.cue_message(input, message, now, out);
                false
            }
        }
    }

    fn cue_key_down(
        &mut self,
        (input, channel, key): (usize, u8, u8),
        heard: bool,
        message: Message<'_>,
        now: u64,
        out: &mut Out,
    ) -> bool {
        let plan = Arc::clone(&self.plan);
        let list = self.cue_list();
        let here = |sensor: &PlanSensor| sensor.is_key(input, channel, key, heard);
        let number = Ledger::number(input, channel, key);
        // Where it is down as a cue's key already, its release got lost.
        self.cue_key_up((input, channel, key), now, out);
        if !plan.sensors_in(list).any(|sensor| here(&plan.sensors[usize::from(sensor)])) {
            return false;
        }
        self.release(number, 64, now, out);
        self.cues.set_key(number, true);
        let counts = !self.is_deaf(input, now);
        for sensor in plan.sensors_in(list).filter(|sensor| here(&plan.sensors[usize::from(*sensor)])) {
            self.cues.sensors[usize::from(sensor)].go_down(counts, now);
            self.go_down(sensor, list, counts, message, now, out);
        }
        true
    }

    fn cue_key_up(&mut self, (input, channel, key): (usize, u8, u8), now: u64, out: &mut Out) -> bool {
        let number = Ledger::number(input, channel, key);
        if !self.cues.has_key(number) {
            return false;
        }
        self.cues.set_key(number, false);
        let plan = Arc::clone(&self.plan);
        for (sensor, planned) in plan.sensors.iter().enumerate() {
            let state = &mut self.cues.sensors[sensor];
            if planned.is_key(input, channel, key, true) && state.is_down() {
                let counted = state.go_up();
                self.go_up(sensor as u16, counted, now, out);
            }
        }
        true
    }

    fn cue_control(
        &mut self,
        (input, channel, number): (usize, u8, u8),
        value: u8,
        heard: bool,
        message: Message<'_>,
        now: u64,
        out: &mut Out,
    ) -> bool {
        let plan = Arc::clone(&self.plan);
        let list = self.cue_list();
        let deaf = self.is_deaf(input, now);
        let mut is_cue = false;
        for (sensor, planned) in plan.sensors.iter().enumerate() {
            let in_force = plan.sensors_in(list).any(|other| usize::from(other) == sensor);
            let held = self.cues.sensors[sensor].is_down();
            if !planned.is_control(input, channel, number, heard) || !(in_force || held) {
                continue;
            }
            is_cue = true;
            let crossing = self.cues.sensors[sensor].turn(value, planned.is_reversed(), deaf || !in_force, now);
            match crossing {
                Some((Crossing::Down, counts)) => self.go_down(sensor as u16, list, counts, message, now, out),
                Some((Crossing::Up, counted)) => self.go_up(sensor as u16, counted, now, out),
                None => {}
            }
        }
        // A pedal that was down when it became a cue's still has to come up where it was heard.
        if is_cue && PEDALS.contains(&number) && self.pedal_lifts(input, channel, number, value) {
            self.pedal(input, channel, number, value, out);
        }
        is_cue
    }

    fn go_down(&mut self, sensor: u16, list: u16, counts: bool, message: Message<'_>, now: u64, out: &mut Out) {
        if !counts {
            return;
        }
        let plan = Arc::clone(&self.plan);
        let waits = |press| plan.cues_of(list).any(|cue| plan.cues[usize::from(cue)].waits_for(sensor, press));
        let awaited = Awaited { double: waits(Press::Double), long: waits(Press::Long) };
        // A press that still waits and does not become a double one by this was a single one: where no cue in force waits
        // for a second one any more, or where the same key is struck on another channel.
        let state = &mut self.cues.sensors[usize::from(sensor)];
        if !(awaited.double && state.doubles(now)) && state.give_up() {
            let before = self.cues.lists[usize::from(sensor)];
            self.fire_all(before, (sensor, Press::Single), Came::Time, now, out);
        }
        self.cues.lists[usize::from(sensor)] = list;
        self.fire_all(list, (sensor, Press::Either), Came::Message(message), now, out);
        if let Some(pressed) = self.cues.sensors[usize::from(sensor)].press(awaited, now) {
            self.fire_all(list, (sensor, kind(pressed)), Came::Message(message), now, out);
        }
    }

    fn go_up(&mut self, sensor: u16, counted: bool, now: u64, out: &mut Out) {
        let plan = Arc::clone(&self.plan);
        let list = self.cues.lists[usize::from(sensor)];
        for cue in plan.cues_of(list) {
            let planned = &plan.cues[usize::from(cue)];
            if planned.hold && planned.is_on(sensor) && self.close_cue(cue, now, out) {
                out.notice(Notice::Fired(Fired { cue, at: now, by: By::Release, received: None }));
            }
        }
        if counted {
            self.fire_all(list, (sensor, Press::Either), Came::Release, now, out);
            if let Some(pressed) = self.cues.sensors[usize::from(sensor)].lift(now) {
                self.fire_all(list, (sensor, kind(pressed)), Came::Release, now, out);
            }
        }
    }

    /// Presses of which it is known by now what they were.
    pub(super) fn run_cues(&mut self, now: u64, out: &mut Out) {
        for sensor in 0..self.cues.sensors.len() {
            if let Some(pressed) = self.cues.sensors[sensor].resolve(now) {
                let list = self.cues.lists[sensor];
                self.fire_all(list, (sensor as u16, kind(pressed)), Came::Time, now, out);
            }
        }
    }

    fn fire_all(&mut self, list: u16, (sensor, press): (u16, Press), came: Came<'_>, now: u64, out: &mut Out) {
        let plan = Arc::clone(&self.plan);
        for cue in plan.cues_of(list) {
            let planned = &plan.cues[usize::from(cue)];
            // While a held cue stands on, its release is what ends it.
            let ends = planned.hold && press == Press::Either && matches!(came, Came::Release);
            if planned.waits_for(sensor, press) && !ends {
                self.fire(cue, None, came, now, out);
                // What is held goes off as the press ends, also where only then it was known what press it was.
                if planned.hold && !self.cues.sensors[usize::from(sensor)].is_down() {
                    self.close_cue(cue, now, out);
                }
            }
        }
    }
}

fn kind(pressed: Pressed) -> Press {
    match pressed {
        Pressed::Single => Press::Single,
        Pressed::Double => Press::Double,
        Pressed::Long => Press::Long,
    }
}
