//! Making it quiet: panic (rule R16), a lost input and the end (R17).

use super::Engine;
use super::handful::{Gathering, Handful};
use super::out::{Notice, Out};
use super::place::{CENTRE, PEDALS, UNKNOWN};
use super::tempo::Followed;

impl Engine {
    /// Rule R16. Only what is needed is said, so that a listener's queue of 200 events holds it.
    pub(super) fn panic(&mut self, now: u64, out: &mut Out) {
        self.pending.forget_all();
        self.stop_waiting_for_presses();
        for place in 0..self.places.len() as u16 {
            if self.places[usize::from(place)].played {
                self.silence_place(place, true, out);
            }
        }
        for key in 0..self.ledger.keys() as u32 {
            self.ledger.forget(key);
        }
        self.rings.clear();
        self.drone = None;
        self.handfuls.iter_mut().for_each(Handful::forget);
        self.gatherings.fill(Gathering::default());
        self.close_cues(now, out, |_, _| true);
        out.notice(Notice::Panic);
    }

    /// `known`: whether what the place was told is all that it ever heard of us.
    fn silence_place(&mut self, place: u16, known: bool, out: &mut Out) {
        self.end_all_notes(place, out);
        for number in PEDALS {
            // The sustaining one even where it should be up: in a panic what should be is not enough.
            if !known || number == 64 || ![0, UNKNOWN].contains(&self.places[usize::from(place)].control(number)) {
                self.say_control(place, number, 0, out);
            }
        }
        self.say_bend(place, CENTRE, out);
        if known {
            self.return_expression(place, out);
        } else {
            self.say_pressure(place, 0, out);
            self.say_expression(place, out);
        }
        self.say_control(place, 123, 0, out);
        self.say_control(place, 120, 0, out);
    }

    /// As in a panic, at every place of one output, whether or not it got a note from us: an earlier run may have left
    /// some there, and pedals down and pressure. What sounds elsewhere and what waits stays.
    pub(super) fn silence_output(&mut self, output: usize, out: &mut Out) {
        for place in 0..self.places.len() as u16 {
            if usize::from(self.place(place).output) == output {
                self.silence_place(place, false, out);
            }
        }
    }

    /// Rule R17: an input's keys come up, lowest first, its pedals lift, bend and pressure rest.
    pub(super) fn lose_input(&mut self, input: usize, now: u64, out: &mut Out) {
        if input >= self.plan.inputs.len() {
            return;
        }
        self.lift_keys(input, None, now, out);
        self.lift_feet(input, out);
        self.forget_presses(input, now, out);
        if self.clock == Some(input) {
            self.clock = None;
            if self.followed.hear(0xFC, now) == Some(false) {
                out.notice(Notice::Tracks(false));
            }
            self.followed = Followed::default();
        }
    }

    /// Ends all that sounds and lifts every pedal, trusting nothing else: for an engine that failed in a step.
    pub fn end_everything(&mut self, out: &mut Out) {
        for place in 0..self.places.len() as u16 {
            self.end_all_notes(place, out);
            self.lift_pedals(place, out);
            self.rest_bend(place, out);
            self.return_expression(place, out);
        }
        self.drone = None;
    }

    /// Rule R17: all inputs so, then the rest at once, without leave-sends.
    pub(super) fn stop(&mut self, now: u64, out: &mut Out) {
        for input in 0..self.plan.inputs.len() {
            self.lose_input(input, now, out);
        }
        self.pending.forget_all();
        self.handfuls.iter_mut().for_each(Handful::forget);
        self.end_everything(out);
    }
}
