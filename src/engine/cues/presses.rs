//! Keys and controllers that have cues (rule R19): when a press counts, and what it turns out to have been.

use crate::engine::ids::Micros;
use crate::map::Press;

/// A controller that has fired does not fire again within this time: switches bounce, pedals wear, feet tremble.
const GUARD: Micros = Micros::from_millis(200);
/// Where a second press is waited for, only what bounces is kept out; and where a press may become another, a contact
/// that is let go for a shorter time has bounced.
const BOUNCE: Micros = Micros::from_millis(60);
/// Two presses within this time are a double one.
const DOUBLE: Micros = Micros::from_millis(400);
/// A press that lasts so long is a long one.
const LONG: Micros = Micros::from_millis(700);
/// A controller fires upward through this value,
const ON: u8 = 64;
/// and is armed again at this one.
const ARMED: u8 = 40;

/// Which presses are awaited, besides single ones.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(in crate::engine) struct Awaited {
    pub double: bool,
    pub long: bool,
}

impl Awaited {
    /// So soon after a press that counted no other one counts.
    pub fn guard(self) -> Micros {
        if self.double { BOUNCE } else { GUARD }
    }

    /// Whether it depends on its end or on another one what a press was.
    fn is_any(self) -> bool {
        self.double || self.long
    }
}

/// What a press turned out to be.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::engine) enum Pressed {
    Single,
    Double,
    Long,
}

impl From<Pressed> for Press {
    fn from(pressed: Pressed) -> Press {
        match pressed {
            Pressed::Single => Press::Single,
            Pressed::Double => Press::Double,
            Pressed::Long => Press::Long,
        }
    }
}

/// How a controller's value crossed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::engine) enum Crossing {
    Down,
    Up,
}

/// A key or controller that has cues.
#[derive(Debug, Clone, Copy, Default)]
pub(in crate::engine) struct PressDetector {
    down: bool,
    /// Whether the press that holds it down counted.
    counted: bool,
    /// What else that press may become.
    awaited: Awaited,
    /// When it counts that a controller came up, if that was no bounce.
    lift: Option<Micros>,
    /// When it crossed last and that counted.
    last: Option<Micros>,
    waiting: Option<Waiting>,
}

/// A press that may still become a double or a long one.
#[derive(Debug, Clone, Copy)]
struct Waiting {
    at: Micros,
    lifted: bool,
}

impl PressDetector {
    /// Whether it is down, whatever that meant.
    pub fn is_down(&self) -> bool {
        self.down
    }

    /// Whether its press goes on: it is down, or may have bounced.
    pub fn is_held(&self) -> bool {
        self.down || self.lift.is_some()
    }

    /// A controller says a value; without a `guard` no press counts. What crosses is a worn pedal's or a bouncing
    /// switch's if it comes within it: then it does not count. `Up` is told with whether its press counted.
    pub fn turn(&mut self, value: u8, reversed: bool, guard: Option<Micros>, now: Micros) -> Option<(Crossing, bool)> {
        let value = if reversed { 127 - value.min(127) } else { value };
        if !self.down && value >= ON {
            self.down = true;
            if self.lift.take().is_some() {
                return None;
            }
            let counts = guard.is_some_and(|guard| self.last.is_none_or(|last| now - last >= guard));
            return Some((Crossing::Down, self.go_down(counts, now)));
        }
        if !self.down || value > ARMED {
            return None;
        }
        if self.counted && self.awaited.is_any() {
            self.down = false;
            self.lift = Some(now + BOUNCE);
            return None;
        }
        Some((Crossing::Up, self.go_up()))
    }

    /// It goes down; whether that counts.
    pub fn go_down(&mut self, counts: bool, now: Micros) -> bool {
        self.down = true;
        self.counted = counts;
        if counts {
            self.last = Some(now);
        }
        counts
    }

    /// It comes up; whether its press counted.
    pub fn go_up(&mut self) -> bool {
        (self.down, self.lift) = (false, None);
        std::mem::take(&mut self.counted)
    }

    /// Whether a press now is the second one of a double press.
    pub fn doubles(&self, now: Micros) -> bool {
        self.waiting.is_some_and(|waiting| self.awaited.double && now - waiting.at < DOUBLE)
    }

    /// A press that counts; what it is, if that is known already.
    pub fn press(&mut self, awaited: Awaited, now: Micros) -> Option<Pressed> {
        let doubles = self.doubles(now);
        self.awaited = awaited;
        if doubles {
            self.waiting = None;
            return Some(Pressed::Double);
        }
        if !awaited.is_any() {
            return Some(Pressed::Single);
        }
        self.waiting = Some(Waiting { at: now, lifted: false });
        None
    }

    /// The press ends; what it was, if that is known now.
    pub fn lift(&mut self, now: Micros) -> Option<Pressed> {
        let waiting = self.waiting.as_mut()?;
        waiting.lifted = true;
        let double_may_follow = self.awaited.double && now - waiting.at < DOUBLE;
        if double_may_follow {
            return None;
        }
        self.waiting = None;
        Some(Pressed::Single)
    }

    /// When it will be known what the press was, or that it ended.
    pub fn due(&self) -> Option<Micros> {
        let known = self.waiting.map(|waiting| waiting.due(self.awaited));
        [known, self.lift].into_iter().flatten().min()
    }

    /// What the press was, if it is known by now.
    pub fn resolve(&mut self, now: Micros) -> Option<Pressed> {
        let awaited = self.awaited;
        let waiting = self.waiting.take_if(|waiting| waiting.due(awaited) <= now)?;
        let is_long = awaited.long && !waiting.lifted;
        Some(if is_long { Pressed::Long } else { Pressed::Single })
    }

    /// It was no bounce that it came up, if that is known by now; whether its press counted.
    pub fn settle(&mut self, now: Micros) -> Option<bool> {
        self.lift.filter(|lift| *lift <= now).map(|_| self.go_up())
    }

    /// Presses are forgotten: the input is lost.
    pub fn forget(&mut self) {
        *self = PressDetector { last: self.last, ..PressDetector::default() };
    }

    /// What is still to come of the press is forgotten: what it might become, and its end, if it is up.
    pub fn stop_waiting(&mut self) {
        self.waiting = None;
        if self.lift.take().is_some() {
            self.counted = false;
        }
    }

    /// What the press might become is forgotten, not that it is down; whether there was something.
    pub fn give_up(&mut self) -> bool {
        self.waiting.take().is_some()
    }
}

impl Waiting {
    fn due(&self, awaited: Awaited) -> Micros {
        let long_may_follow = awaited.long && !self.lifted;
        self.at + if long_may_follow { LONG } else { DOUBLE }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const BOTH: Awaited = Awaited { double: true, long: true };
    const LONG_ONLY: Awaited = Awaited { double: false, long: true };
    const DOUBLE_ONLY: Awaited = Awaited { double: true, long: false };

    /// Presses and lifts in milliseconds (a lift negative), and what was known when.
    fn told(awaited: Awaited, deeds: &[i64]) -> Vec<(u64, Pressed)> {
        let mut detector = PressDetector::default();
        let mut told = Vec::new();
        for deed in deeds.iter().copied().chain([10_000]) {
            let now = Micros::from_millis(deed.unsigned_abs());
            while let Some(due) = detector.due().filter(|due| *due <= now) {
                told.extend(detector.resolve(due).map(|pressed| (due.0 / 1000, pressed)));
            }
            match deed {
                10_000 => {}
                0.. => told.extend(detector.press(awaited, now).map(|pressed| (now.0 / 1000, pressed))),
                _ => told.extend(detector.lift(now).map(|pressed| (now.0 / 1000, pressed))),
            }
        }
        told
    }

    #[test]
    fn a_single_press_is_known_as_soon_as_nothing_else_can_follow() {
        assert_eq!(told(Awaited::default(), &[100, -150]), [(100, Pressed::Single)]);
        assert_eq!(told(LONG_ONLY, &[100, -150]), [(150, Pressed::Single)]);
        assert_eq!(told(DOUBLE_ONLY, &[100, -150]), [(500, Pressed::Single)]);
        assert_eq!(told(DOUBLE_ONLY, &[100, -900]), [(500, Pressed::Single)]);
        assert_eq!(told(BOTH, &[100, -150]), [(500, Pressed::Single)]);
        assert_eq!(told(BOTH, &[100, -600]), [(600, Pressed::Single)]);
    }

    #[test]
    fn double_and_long_presses() {
        assert_eq!(told(DOUBLE_ONLY, &[100, -150, 499, -550]), [(499, Pressed::Double)]);
        assert_eq!(told(DOUBLE_ONLY, &[100, -150, 500, -550]), [(500, Pressed::Single), (900, Pressed::Single)]);
        assert_eq!(told(LONG_ONLY, &[100, -800]), [(800, Pressed::Long)]);
        assert_eq!(told(LONG_ONLY, &[100, -799]), [(799, Pressed::Single)]);
        assert_eq!(told(BOTH, &[100, -900]), [(800, Pressed::Long)]);
        assert_eq!(told(BOTH, &[100, -150, 350, -2000]), [(350, Pressed::Double)]);
    }

    #[test]
    fn a_controller_fires_upward_and_is_armed_again_at_40() {
        let mut detector = PressDetector::default();
        let guard = Some(Awaited::default().guard());
        let mut turn = |value, at: u64| detector.turn(value, false, guard, Micros::from_millis(at));
        assert_eq!(turn(63, 0), None);
        assert_eq!(turn(64, 10), Some((Crossing::Down, true)));
        assert_eq!(turn(127, 400), None);
        assert_eq!(turn(41, 410), None);
        assert_eq!(turn(127, 420), None, "it was not armed again");
        assert_eq!(turn(40, 430), Some((Crossing::Up, true)));
        assert_eq!(turn(127, 440), Some((Crossing::Down, true)));
        assert_eq!(turn(0, 450), Some((Crossing::Up, true)));
        assert_eq!(turn(127, 500), Some((Crossing::Down, false)), "it bounced");
        assert_eq!(turn(0, 900), Some((Crossing::Up, false)));
        assert_eq!(turn(127, 910), Some((Crossing::Down, true)));
    }

    #[test]
    fn a_contact_that_bounces_was_not_let_go() {
        let mut detector = PressDetector::default();
        let at = Micros::from_millis;
        let turn = |detector: &mut PressDetector, value, now| detector.turn(value, false, Some(BOUNCE), at(now));
        assert_eq!(turn(&mut detector, 127, 100), Some((Crossing::Down, true)));
        assert_eq!(detector.press(LONG_ONLY, at(100)), None);
        assert_eq!(turn(&mut detector, 0, 300), None);
        assert!(!detector.is_down() && detector.is_held());
        assert_eq!((detector.due(), detector.settle(at(359))), (Some(at(360)), None));
        assert_eq!(turn(&mut detector, 127, 359), None);
        assert_eq!(detector.due(), Some(at(800)), "it was down all the time");
        assert_eq!(turn(&mut detector, 0, 400), None);
        assert_eq!(detector.settle(at(460)), Some(true));
        assert!(!detector.is_held());
        assert_eq!(detector.lift(at(460)), Some(Pressed::Single));
        assert_eq!(detector.due(), None);
    }

    #[test]
    fn a_reversed_one_fires_downward_and_one_that_just_appeared_does_not() {
        let guard = Some(Awaited::default().guard());
        let mut detector = PressDetector::default();
        assert_eq!(detector.turn(127, true, guard, Micros(0)), None);
        assert_eq!(detector.turn(63, true, guard, Micros(1)), Some((Crossing::Down, true)));
        assert_eq!(detector.turn(86, true, guard, Micros(2)), None);
        assert_eq!(detector.turn(87, true, guard, Micros(3)), Some((Crossing::Up, true)));
        let mut detector = PressDetector::default();
        assert_eq!(detector.turn(127, false, None, Micros(0)), Some((Crossing::Down, false)));
        assert!(detector.is_down());
        detector.forget();
        assert!(!detector.is_down());
    }
}
