//! What the director of `director` hears: keys, controllers and messages, and which of them are a cue's (rule R19).

use handspan::engine::Event;
use handspan::map::{ClockCommand, Press, Trigger};
use handspan::midi::decode;

use crate::director::{BOUNCE, DEAF, DOUBLE, Directed, Director, GUARD, Number, Sensor, input_of};
use crate::model::Pressed;

impl Director<'_> {
    /// An input says something.
    pub fn hear(&mut self, input: usize, bytes: &[u8], now: u64, stage: &mut impl Directed) {
        self.until(now, stage);
        let channel = bytes[0] & 15;
        let mut passes = true;
        match (bytes[0] & 0xF0, bytes) {
            (0x90, [_, key, 1..=127]) => passes = self.strike((input, channel, *key), now, stage),
            (0x80 | 0x90, [_, key, _]) => passes = !self.lift((input, channel, *key), now, stage),
            (0xA0, [_, key, _]) => passes = !self.keys.contains(&(input, channel, *key)),
            (0xB0, [_, number, value]) => {
                // So the gear file has it.
                let number = if (input, *number) == (1, 30) { 31 } else { *number };
                passes = self.turn((input, channel, number), *value, now, stage);
            }
            _ if now - self.appeared[input] < DEAF => {}
            (_, bytes) => self.receive(input, bytes, now, stage),
        }
        if passes {
            stage.step(Event::Message { input, message: decode(bytes).expect("a message") }, now);
        }
    }

    /// A key goes down; whether it is a zone's.
    fn strike(&mut self, key: Pressed, now: u64, stage: &mut impl Directed) -> bool {
        let force = self.force(stage);
        let is_key = |trigger: Trigger| {
            matches!(trigger, Trigger::Key { key: own, channel, .. }
                if own == key.2 && channel.is_none_or(|channel| channel.index() == key.1))
        };
        let struck = self.touched(&force, key.0, is_key);
        self.lift(key, now, stage);
        if struck.is_empty() {
            return true;
        }
        self.keys.insert(key);
        let off = [0x80 | key.1, key.2, 64];
        stage.step(Event::Message { input: key.0, message: decode(&off).expect("an off") }, now);
        let counts = now - self.appeared[key.0] >= DEAF;
        for index in struck {
            self.press(index, &force, counts, now, stage);
        }
        false
    }

    /// The sensors of cues in use that a message touches, in order.
    fn touched(&self, force: &[Number], input: usize, is_it: impl Fn(Trigger) -> bool) -> Vec<usize> {
        let in_force = |sensor: &Sensor| force.iter().any(|cue| self.sensor_of(*cue).as_ref() == Some(sensor));
        let here = |sensor: &Sensor| sensor.0 == input && is_it(sensor.1) && in_force(sensor);
        (0..self.sensors.len()).filter(|index| here(&self.sensors[*index].0)).collect()
    }

    /// A key comes up; whether it was a cue's.
    fn lift(&mut self, key: Pressed, now: u64, stage: &mut impl Directed) -> bool {
        let (was, song) = (self.keys.remove(&key), self.song(stage));
        for index in 0..self.sensors.len() {
            let (sensor, state) = &self.sensors[index];
            let is_it = matches!(sensor, (input, Trigger::Key { key: own, channel, .. })
                if (*input, *own) == (key.0, key.2) && channel.is_none_or(|channel| channel.index() == key.1));
            if was && is_it && state.down {
                self.release(index, song, now, stage);
            }
        }
        was
    }

    /// A controller says a value; whether a zone hears that.
    fn turn(&mut self, control: (usize, u8, u8), value: u8, now: u64, stage: &mut impl Directed) -> bool {
        let (input, channel, number) = control;
        let (force, song) = (self.force(stage), self.song(stage));
        let is_it = |trigger: Trigger| {
            matches!(trigger, Trigger::Control { number: own, channel: only, .. }
                if u8::from(own) == number && only.is_none_or(|only| only.index() == channel))
        };
        let touched = self.touched(&force, input, is_it);
        let mut is_cue = false;
        for index in 0..self.sensors.len() {
            let (sensor, state) = &self.sensors[index];
            let in_force = touched.contains(&index);
            if !(in_force || state.down && sensor.0 == input && is_it(sensor.1)) {
                continue;
            }
            is_cue = true;
            let reversed = matches!(sensor.1, Trigger::Control { reversed: true, .. });
            let value = if reversed { 127 - value } else { value };
            let may_bounce =
                state.counted && [Press::Double, Press::Long].iter().any(|press| self.awaits(index, *press));
            if !state.down && value >= 64 && state.lift.is_some() {
                let state = &mut self.sensors[index].1;
                (state.down, state.lift) = (true, None);
            } else if !state.down && value >= 64 {
                let doubles = |cue: &Number| {
                    self.sensor_of(*cue).as_ref() == Some(sensor) && self.presses(*cue) == Some(Press::Double)
                };
                let guard = if force.iter().any(doubles) { BOUNCE } else { GUARD };
                let bounces = state.last.is_some_and(|last| now - last < guard);
                let counts = in_force && !bounces && now - self.appeared[input] >= DEAF;
                self.press(index, &force, counts, now, stage);
            } else if state.down && value <= 40 && may_bounce {
                let state = &mut self.sensors[index].1;
                (state.down, state.lift) = (false, Some(now + BOUNCE));
            } else if state.down && value <= 40 {
                self.release(index, song, now, stage);
            }
        }
        let known = self.pedals.entry(control).or_insert(0);
        let passes = !is_cue || (64..=69).contains(&number) && value < *known;
        if passes {
            *known = value;
        }
        // RP-015, and a channel mode message is no cue.
        if number == 121 {
            self.pedals.retain(|pedal, _| (pedal.0, pedal.1) != (input, channel) || pedal.2 > 67);
        }
        passes
    }

    fn press(&mut self, index: usize, force: &[Number], counts: bool, now: u64, stage: &mut impl Directed) {
        let state = &mut self.sensors[index].1;
        (state.down, state.counted) = (true, counts);
        if !counts {
            return;
        }
        state.last = Some(now);
        // A press that still waits is known to be single, unless both it and this one may be a double one's.
        let may_double = self.awaits(index, Press::Double);
        let state = &mut self.sensors[index].1;
        let may_double = may_double && state.waits.is_some_and(|(at, _)| now < at + DOUBLE);
        let before = std::mem::replace(&mut state.force, force.to_vec());
        let doubles = self.awaits(index, Press::Double);
        let state = &mut self.sensors[index].1;
        if state.waits.is_some() && !(doubles && may_double) {
            state.waits = None;
            let now_in_force = std::mem::replace(&mut state.force, before);
            self.fire_all(index, Press::Single, None, now, stage);
            self.sensors[index].1.force = now_in_force;
        }
        self.fire_all(index, Press::Either, None, now, stage);
        let waits = self.sensors[index].1.waits.take();
        if waits.is_some() {
            self.fire_all(index, Press::Double, None, now, stage);
        } else if doubles || self.awaits(index, Press::Long) {
            self.sensors[index].1.waits = Some((now, false));
        } else {
            self.fire_all(index, Press::Single, None, now, stage);
        }
    }

    /// A press ends; the song is the one that was entered by then.
    pub fn release(&mut self, index: usize, song: Option<usize>, now: u64, stage: &mut impl Directed) {
        let (sensor, state) = &mut self.sensors[index];
        let (sensor, force) = (*sensor, state.force.clone());
        (state.down, state.lift) = (false, None);
        let counted = std::mem::take(&mut state.counted);
        for cue in force.iter().copied() {
            let holds = self.cues[cue].1.while_down && self.sensor_of(cue) == Some(sensor);
            if holds && self.standing.remove(&cue) {
                self.say_off(cue, now);
            }
        }
        if !counted {
            return;
        }
        let loaded = |cue: &Number| self.cues[*cue].0.is_none() || self.cues[*cue].0 == song;
        let loaded = force.iter().copied().filter(loaded).collect();
        self.sensors[index].1.force = loaded;
        self.fire_all(index, Press::Either, None, now, stage);
        self.sensors[index].1.force = force;
        let doubles = self.awaits(index, Press::Double);
        let state = &mut self.sensors[index].1;
        if let Some((at, lifted)) = &mut state.waits {
            *lifted = true;
            if !doubles || now >= *at + DOUBLE {
                state.waits = None;
                self.fire_all(index, Press::Single, None, now, stage);
            }
        }
    }

    /// A message that is neither a key nor a controller; it belongs to no cue alone.
    fn receive(&mut self, input: usize, bytes: &[u8], now: u64, stage: &mut impl Directed) {
        for number in self.force(stage) {
            let cue = self.cues[number].1;
            if input_of(self.book, cue) != input {
                continue;
            }
            let received = match (cue.when.trigger, bytes) {
                (Trigger::Program { program, channel }, [status @ 0xC0..=0xCF, said])
                    if program.is_none_or(|program| u8::from(program) == *said)
                        && channel.is_none_or(|channel| channel.index() == status & 15) =>
                {
                    Some(said + 1)
                }
                (Trigger::SongSelect(song), [0xF3, said]) if song.is_none_or(|song| u8::from(song) == *said) => {
                    Some(said + 1)
                }
                (Trigger::Clock(ClockCommand::Start), [0xFA])
                | (Trigger::Clock(ClockCommand::Continue), [0xFB])
                | (Trigger::Clock(ClockCommand::Stop), [0xFC]) => None,
                // RP-013: stop is 1, play 2, and deferred play 3 counts as play.
                (Trigger::Transport(transport), [0xF0, 0x7F, _, 6, command, 0xF7])
                    if transport.bytes()[4] == if *command == 3 { 2 } else { *command } =>
                {
                    None
                }
                _ => continue,
            };
            self.fire(number, received, now, stage);
        }
    }
}
