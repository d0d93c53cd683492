//! Fades (rule R15): controller 11 goes down while notes that end for good still sound, and comes back before the next
//! note or set-up of their place.

use std::sync::Arc;

use super::Engine;
use super::out::{Notice, Out};
use super::place::{PEDALS, UNKNOWN, rest};
use super::rings::{Ring, Why};

/// The controller that fades: expression.
const EXPRESSION: u8 = 11;
/// A fade says a new value so often, in microseconds.
const EVERY: u64 = 20_000;

/// How a place fades.
#[derive(Debug, Clone, Copy)]
pub(super) struct Fade {
    begun: u64,
    /// How long it takes; never 0.
    time: u64,
    /// The value that it began from.
    from: u8,
    /// When it says its next value.
    next: u64,
}

impl Fade {
    /// When it wants to be called.
    fn due(&self) -> u64 {
        self.next.min(self.begun + self.time)
    }

    fn value_at(&self, now: u64) -> u8 {
        let left = 1.0 - now.saturating_sub(self.begun) as f64 / self.time as f64;
        (f64::from(self.from) * left.max(0.0)).round() as u8
    }
}

impl Engine {
    /// When a fade wants to be called.
    pub(super) fn next_fade(&self) -> Option<u64> {
        if self.fading == 0 {
            return None;
        }
        self.places.iter().filter_map(|place| place.fade.as_ref().map(Fade::due)).min()
    }

    /// Ends rings of a place over `time`, where nothing else sounds there; else at once.
    pub(super) fn fade_rings(&mut self, place: u16, time: u64, now: u64, out: &mut Out, which: impl Fn(&Ring) -> bool) {
        let going = |ring: &Ring| ring.place == place && which(ring) && ring.why != Why::Fades;
        if !self.rings(going) {
            return;
        }
        if time == 0 || self.sounds_besides(place, |ring| ring.why == Why::Fades || going(ring)) {
            self.end_rings(64, out, going);
            return;
        }
        for ring in self.rings.iter_mut().filter(|ring| going(ring)) {
            ring.why = Why::Fades;
        }
        let state = &mut self.places[usize::from(place)];
        if state.fade.is_none() {
            let from = if state.control(EXPRESSION) == UNKNOWN { 127 } else { state.control(EXPRESSION) };
            state.fade = Some(Fade { begun: now, time, from, next: now + EVERY });
            state.resume.get_or_insert(from);
            self.fading += 1;
        }
    }

    /// Whether a note sounds at a place that has other owners than the rings of a kind.
    fn sounds_besides(&self, place: u16, kind: impl Fn(&Ring) -> bool) -> bool {
        (0..128).any(|note| {
            let of_kind = self.rings.iter().filter(|ring| (ring.place, ring.note) == (place, note) && kind(ring));
            self.ledger.owners(place, note) > of_kind.count() as u32
        })
    }

    /// Says what fades have to say at this time.
    pub(super) fn run_fades(&mut self, now: u64, out: &mut Out) {
        for place in 0..self.places.len() as u16 {
            if self.fading == 0 {
                return;
            }
            let Some(fade) = self.places[usize::from(place)].fade.filter(|fade| fade.due() <= now) else { continue };
            let value = fade.value_at(now);
            if value != self.places[usize::from(place)].control(EXPRESSION) {
                self.say_control(place, EXPRESSION, value, out);
            }
            if now >= fade.begun + fade.time {
                self.finish_fade(place, out);
            } else {
                self.places[usize::from(place)].fade = Some(Fade { next: fade.next + EVERY, ..fade });
            }
        }
    }

    /// What fades at a place ends now. A pedal that is down there would hold it, so it goes up and down again.
    fn finish_fade(&mut self, place: u16, out: &mut Out) {
        self.stop_fading(place);
        self.end_rings(64, out, |ring| ring.place == place && ring.why == Why::Fades);
        for pedal in PEDALS {
            let value = self.places[usize::from(place)].control(pedal);
            if ![0, UNKNOWN].contains(&value) {
                self.say_control(place, pedal, 0, out);
                self.say_control(place, pedal, value, out);
            }
        }
    }

    /// A place fades no more.
    pub(super) fn stop_fading(&mut self, place: u16) {
        let was = self.places[usize::from(place)].fade.take();
        self.fading -= usize::from(was.is_some());
    }

    /// Just before a note or set-up at a place: a fade there ends first, and its level comes back.
    pub(super) fn wake_place(&mut self, place: u16, out: &mut Out) {
        let state = &self.places[usize::from(place)];
        if state.fade.is_none() && state.resume.is_none() {
            return;
        }
        if state.fade.is_some() {
            self.finish_fade(place, out);
        }
        self.return_expression(place, out);
    }

    /// The level that a fade took away comes back.
    pub(super) fn return_expression(&mut self, place: u16, out: &mut Out) {
        let state = &mut self.places[usize::from(place)];
        let value = state.resume.take().filter(|value| *value != state.control(EXPRESSION));
        if let Some(value) = value {
            self.say_control(place, EXPRESSION, value, out);
        }
    }

    /// The level as it is without a fade, whatever the place was told: another run's fade may have left it lower.
    pub(super) fn say_expression(&mut self, place: u16, out: &mut Out) {
        let state = &mut self.places[usize::from(place)];
        let told = Some(state.control(EXPRESSION)).filter(|value| *value != UNKNOWN);
        let value = state.resume.take().or(told).unwrap_or(rest(EXPRESSION));
        self.say_control(place, EXPRESSION, value, out);
    }

    /// A controller's value for a place; while that fades, or is silent after it, expression is remembered only.
    pub(super) fn control_place(&mut self, place: u16, number: u8, value: u8, out: &mut Out) {
        let state = &mut self.places[usize::from(place)];
        match &mut state.resume {
            Some(resume) if number == EXPRESSION => *resume = value,
            _ => self.say_control(place, number, value, out),
        }
    }

    /// Everything that rings without a finger fades over `time`, or ends where something else sounds.
    pub(super) fn fade_all(&mut self, time: u64, now: u64, out: &mut Out) {
        let plan = Arc::clone(&self.plan);
        for place in 0..self.places.len() as u16 {
            self.fade_rings(place, time, now, out, |ring| ring.is_without_finger(&plan));
        }
        out.notice(Notice::Fade);
    }
}
