//! How held notes end (rule R15), and the set-up of a channel (R8), which ends a fade there.

use super::Notes;
use super::unheld::{Unheld, Why};
use crate::engine::channels::{CENTRE, EXPRESSION, PEDALS};
use crate::engine::ids::{ChannelId, Micros};
use crate::engine::out::{Notice, Reason};
use crate::engine::step::Step;
use crate::engine::zone::SetUp;

impl Notes {
    /// Ends held notes of a channel over `time`, where nothing else sounds there; else at once.
    pub fn fade(&mut self, channel: ChannelId, time: Micros, step: &mut Step<'_>, which: impl Fn(&Unheld) -> bool) {
        let going = |unheld: &Unheld| unheld.channel == channel && which(unheld) && unheld.why != Why::Fades;
        if !self.holds(going) {
            return;
        }
        if time == Micros::ZERO || self.sounds_besides(channel, |unheld| unheld.why == Why::Fades || going(unheld)) {
            self.end_unheld(64, step, going);
            return;
        }
        for unheld in self.unheld.iter_mut().filter(|unheld| going(unheld)) {
            unheld.why = Why::Fades;
        }
        self.channels.begin_fade(channel, time, step.now);
    }

    /// Whether a note sounds at a channel that has other owners than the held notes of a kind.
    fn sounds_besides(&self, channel: ChannelId, kind: impl Fn(&Unheld) -> bool) -> bool {
        (0..128).any(|note| {
            let is_here = |unheld: &&Unheld| (unheld.channel, unheld.note) == (channel, note) && kind(unheld);
            self.owners.owners(channel, note) > self.unheld.iter().filter(is_here).count() as u32
        })
    }

    /// Says what fades have to say at this time.
    pub fn run_fades(&mut self, step: &mut Step<'_>) {
        let mut from = ChannelId(0);
        while let Some((channel, fade)) = self.channels.next_faded(from, step.now) {
            let value = fade.value_at(step.now);
            let (differs, is_over) =
                (Some(value) != self.channels.get(channel).control(EXPRESSION), fade.is_over(step.now));
            if differs || is_over {
                step.reason(Reason::Fading);
            }
            if differs {
                self.channels.say_control(channel, EXPRESSION, value, step);
            }
            if is_over {
                self.finish_fade(channel, step);
            } else {
                self.channels.get_mut(channel).fade = Some(fade.onward());
            }
            from = ChannelId(channel.0 + 1);
        }
    }

    /// What fades at a channel ends now. A pedal that is down there would hold it, so it goes up and down again.
    fn finish_fade(&mut self, channel: ChannelId, step: &mut Step<'_>) {
        self.channels.stop_fading(channel);
        self.end_unheld(64, step, |unheld| unheld.channel == channel && unheld.why == Why::Fades);
        for pedal in PEDALS {
            if let Some(value) = self.channels.get(channel).pedal_down(pedal) {
                self.channels.say_control(channel, pedal, 0, step);
                self.channels.say_control(channel, pedal, value, step);
            }
        }
    }

    /// Just before a note or set-up at a channel: a fade there ends first, and its level comes back.
    pub fn end_fade(&mut self, channel: ChannelId, step: &mut Step<'_>) {
        let state = self.channels.get(channel);
        if state.fade.is_none() && state.resume.is_none() {
            return;
        }
        if state.fade.is_some() {
            self.finish_fade(channel, step);
        }
        self.channels.return_expression(channel, step);
    }

    /// All held notes fade over `time`, or end where something else sounds; whether any is held.
    pub fn fade_all(&mut self, time: Micros, step: &mut Step<'_>) -> bool {
        let plan = step.plan;
        if !self.unheld.iter().any(|unheld| unheld.is_without_finger(plan)) {
            return false;
        }
        for channel in self.channels.all() {
            self.fade(channel, time, step, |unheld| unheld.is_without_finger(plan));
        }
        step.notice(Notice::Fade);
        true
    }

    /// Rule R8: what is held in zones that went out of use ends, or begins to fade, before a handful strikes.
    pub fn end_left(&mut self, step: &mut Step<'_>) {
        let plan = step.plan;
        let ends = |unheld: &Unheld| unheld.left && unheld.is_without_finger(plan) && unheld.why != Why::Drone;
        while let Some(first) = self.unheld.iter().find(|unheld| ends(unheld)).copied() {
            let time = plan.zone_of(first.source).map_or(Micros::ZERO, |zone| zone.fade);
            let same = |other: &Unheld| (other.source, other.channel) == (first.source, first.channel) && ends(other);
            self.fade(first.channel, time, step, same);
        }
    }

    /// Ends every note of a channel, whoever owns it.
    pub fn end_all(&mut self, channel: ChannelId, step: &mut Step<'_>) {
        self.unheld.retain(|unheld| unheld.channel != channel);
        self.channels.stop_fading(channel);
        for note in 0..128 {
            if self.owners.end_by_force(channel, note) {
                step.note_off(channel, note, 64);
            }
        }
    }

    /// Ends all that sounds and lifts every pedal.
    pub fn end_everything(&mut self, step: &mut Step<'_>) {
        for channel in self.channels.all() {
            self.end_all(channel, step);
            self.channels.lift_pedals(channel, step);
            self.channels.rest_bend(channel, step);
            self.channels.return_expression(channel, step);
        }
        self.drone = None;
    }

    /// Makes a channel silent, with as few messages as that takes. `known`: whether what it was told is all that it ever
    /// received of us.
    pub fn silence(&mut self, channel: ChannelId, known: bool, step: &mut Step<'_>) {
        self.end_all(channel, step);
        for number in PEDALS {
            // The sustaining one even where it should be up: in a panic what should be is not enough.
            if !known || number == 64 || self.channels.get(channel).pedal_down(number).is_some() {
                self.channels.say_control(channel, number, 0, step);
            }
        }
        self.channels.say_bend(channel, CENTRE, step);
        if known {
            self.channels.return_expression(channel, step);
        } else {
            self.channels.say_pressure(channel, 0, step);
            self.channels.say_expression(channel, step);
        }
        self.channels.say_control(channel, 123, 0, step);
        self.channels.say_control(channel, 120, 0, step);
    }

    /// Says what of a sound's set-up a channel was not last told.
    pub fn set_up(&mut self, channel: ChannelId, sound: SetUp, step: &mut Step<'_>) {
        let state = self.channels.get(channel);
        let bank = sound.bank.filter(|(msb, lsb)| (state.control(0), state.control(32)) != (Some(*msb), Some(*lsb)));
        let program = sound.program.filter(|program| bank.is_some() || !state.has_program(*program));
        let differs = |number: u8, value: Option<u8>| value.is_some() && value != state.control(number);
        if bank.is_some() || program.is_some() || differs(7, sound.volume) || differs(10, sound.pan) {
            self.end_fade(channel, step);
        }
        self.channels.say_program(channel, bank, program, step);
        for (number, value) in [(7, sound.volume), (10, sound.pan)] {
            if let Some(value) = value.filter(|value| Some(*value) != self.channels.get(channel).control(number)) {
                self.channels.say_control(channel, number, value, step);
            }
        }
    }
}
