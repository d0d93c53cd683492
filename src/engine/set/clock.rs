//! Tempo: tapped, followed from a clock that comes in, and given as a clock that goes out.
//!
//! A MIDI clock has 24 ticks a quarter note (MIDI 1.0 Detailed Specification 4.2.1, p. 30); a song position counts
//! sixteenths, six ticks each (p. 27).

use crate::engine::current::Current;
use crate::engine::ids::Micros;
use crate::engine::out::Notice;
use crate::engine::plan::Plan;
use crate::engine::step::Step;
use crate::midi::Message;

/// Ticks of a quarter note.
const TICKS: u64 = 24;
/// Ticks of a sixteenth.
const SIXTEENTH: u64 = 6;
/// A minute, in nanoseconds.
const MINUTE: u64 = 60_000_000_000;
/// A tap so long after the last begins again: less than 30 beats a minute is no tempo.
const PAUSE: Micros = Micros::from_millis(2_000);
/// So many taps make a tempo, and so many are remembered.
const FEWEST: usize = 4;
const MOST: usize = 8;
/// An interval so far from the middle one is an outlier: a fifth.
const OUTLIER: u64 = 5;

/// Where the tracks player stands.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Position {
    /// Whether it runs.
    pub running: bool,
    /// Bar, from 1.
    pub bar: u64,
    /// Beat in the bar, from 1.
    pub beat: u64,
    /// Quarter notes a minute, once two ticks came.
    pub tempo: Option<f64>,
}

/// The clock that comes in.
#[derive(Debug, Clone, Copy, Default)]
struct Followed {
    running: bool,
    /// Ticks since the song's beginning.
    ticks: u64,
    /// Whether the last of them came while it ran: that tick is the moment itself, the position one before it.
    ticked: bool,
    last: Option<Micros>,
    /// A quarter note's worth of ticks, smoothed, in nanoseconds for one tick; 0: unknown.
    interval: u64,
}

impl Followed {
    /// Takes a clock message; whether it began or ended to run.
    pub fn take(&mut self, status: u8, now: Micros) -> Option<bool> {
        match status {
            0xF8 => {
                self.tick(now);
                None
            }
            0xFA | 0xFB => {
                if status == 0xFA {
                    self.go_to(0);
                }
                (!std::mem::replace(&mut self.running, true)).then_some(true)
            }
            0xFC => std::mem::replace(&mut self.running, false).then_some(false),
            _ => None,
        }
    }

    /// It goes to another place.
    fn go_to(&mut self, ticks: u64) {
        self.ticks = ticks;
        self.ticked = false;
    }

    fn tick(&mut self, now: Micros) {
        if self.running {
            self.ticks += 1;
            self.ticked = true;
        }
        let passed = self.last.replace(now).map(|last| (now - last).0);
        match passed.filter(|passed| (1..PAUSE.0 / TICKS).contains(passed)).map(|passed| passed * 1000) {
            Some(passed) if self.interval > 0 => self.interval = (self.interval * (TICKS - 1) + passed) / TICKS,
            Some(passed) => self.interval = passed,
            None => self.interval = 0,
        }
    }
}

/// Taps of the tempo.
#[derive(Debug, Clone, Copy, Default)]
struct Taps {
    times: [Micros; MOST],
    count: usize,
}

impl Taps {
    /// One more tap; the time of a quarter note, once there are enough. An interval that is far from
    /// the middle one does not count.
    pub fn tap(&mut self, now: Micros) -> Option<Micros> {
        let last = self.count.checked_sub(1).map(|last| self.times[last]);
        if last.is_some_and(|last| now - last > PAUSE) {
            self.count = 0;
        }
        if self.count == MOST {
            self.times.rotate_left(1);
            self.count -= 1;
        }
        self.times[self.count] = now;
        self.count += 1;
        if self.count < FEWEST {
            return None;
        }
        let mut intervals = [0; MOST - 1];
        let count = self.count - 1;
        for (interval, pair) in intervals.iter_mut().zip(self.times[..self.count].windows(2)) {
            *interval = (pair[1] - pair[0]).0;
        }
        let intervals = &mut intervals[..count];
        intervals.sort_unstable();
        let middle = intervals[count / 2];
        let near = intervals.iter().filter(|interval| interval.abs_diff(middle) <= middle / OUTLIER);
        let (sum, number) = near.fold((0, 0), |(sum, number), interval| (sum + interval, number + 1));
        u64::checked_div(sum, number).filter(|beat| *beat > 0).map(Micros)
    }
}

/// The clock that goes out.
#[derive(Debug, Clone, Copy, Default)]
struct Given {
    /// From tick to tick, in nanoseconds; 0: no clock.
    interval: u64,
    /// When the next is due, in nanoseconds.
    next: u64,
}

impl Given {
    /// When the next tick is due.
    pub fn due(&self) -> Option<Micros> {
        (self.interval > 0).then(|| Micros(self.next.div_ceil(1000)))
    }

    /// Somebody wants it from now on.
    pub fn begin_again(&mut self, now: Micros) {
        self.next = now.0 * 1000 + self.interval;
    }

    /// Another tempo: the next tick comes so long after the last as it says now. Ticks never stumble.
    fn set(&mut self, interval: u64, now: Micros) {
        let last = self.next.saturating_sub(self.interval);
        let goes_on = self.interval > 0;
        let soon = (now.0 + 1) * 1000;
        self.next = if goes_on { (last + interval).max(soon) } else { now.0 * 1000 + interval };
        self.interval = interval;
    }
}

/// Nanoseconds of a clock's tick at so many quarter notes a minute.
pub(in crate::engine) fn tick_at(tempo: f64) -> u64 {
    (MINUTE as f64 / (tempo.max(1.0) * TICKS as f64)).round() as u64
}

/// Clocks: the one that comes in, the tempo that is tapped, and the one that goes out.
#[derive(Debug, Clone, Copy, Default)]
pub(in crate::engine) struct Clock {
    /// The input whose clock is passed on (rule R18).
    input: Option<usize>,
    followed: Followed,
    taps: Taps,
    given: Given,
}

impl Clock {
    /// Rule R18: the clock of the first input that sends one.
    pub fn receive(&mut self, input: usize, message: Message<'_>, step: &mut Step<'_>) {
        if *self.input.get_or_insert(input) != input {
            return;
        }
        let mut bytes = [0; 3];
        let length = message.encode(&mut bytes);
        if let Message::SongPosition(position) = message {
            self.followed.go_to(u64::from(u16::from(position)) * SIXTEENTH);
        } else if let Some(runs) = self.followed.take(bytes[0], step.now) {
            step.notice(Notice::Tracks(runs));
        }
        let plan = step.plan;
        step.send_to_all(plan.outputs_that(|output| output.clock), &bytes[..length]);
    }

    /// An input is lost (rule R17).
    pub fn lose(&mut self, input: usize, step: &mut Step<'_>) {
        if self.input == Some(input) {
            self.input = None;
            if self.followed.take(0xFC, step.now) == Some(false) {
                step.notice(Notice::Tracks(false));
            }
            self.followed = Followed::default();
        }
    }

    /// Where the tracks player stands, in bars of the song's meter; `None` where no clock comes in.
    pub fn position(&self, current: &Current, plan: &Plan) -> Option<Position> {
        self.input?;
        let (beats, unit) = current.playing(plan).map_or((4, 4), |playing| playing.song.meter);
        let ticks = self.followed.ticks - u64::from(self.followed.ticked);
        let beat = ticks * u64::from(unit) / (4 * TICKS);
        let beats = u64::from(beats.max(1));
        let tempo = (self.followed.interval > 0).then(|| MINUTE as f64 / (self.followed.interval * TICKS) as f64);
        Some(Position { running: self.followed.running, bar: beat / beats + 1, beat: beat % beats + 1, tempo })
    }

    /// The song's tempo or the tapped one, in quarter notes a minute: that of the clock that we give.
    pub fn tempo(&self) -> Option<f64> {
        (self.given.interval > 0).then(|| MINUTE as f64 / (self.given.interval * TICKS) as f64)
    }

    /// The set stands where another tempo holds, until somebody taps one; where none does, all stays. `tick` is that of
    /// its clock, in nanoseconds.
    pub fn change(&mut self, before: Option<u64>, tick: Option<u64>, now: Micros) {
        if let Some(tick) = tick.filter(|_| tick != before) {
            self.taps = Taps::default();
            self.given.set(tick, now);
        }
    }

    /// A song is entered: its tempo holds, until somebody taps another. `tick` is its clock's, in nanoseconds.
    pub fn enter_song(&mut self, tick: Option<u64>, now: Micros) {
        self.taps = Taps::default();
        match tick {
            Some(tick) => self.given.set(tick, now),
            None => self.given = Given::default(),
        }
    }

    /// Somebody taps the tempo.
    pub fn tap(&mut self, step: &mut Step<'_>) {
        if let Some(beat) = self.taps.tap(step.now) {
            self.given.set(beat.0 * 1000 / TICKS, step.now);
            step.notice(Notice::Tempo);
        }
    }

    /// An output wants our clock from now on, and none did before.
    pub fn begin_to_give(&mut self, now: Micros) {
        self.given.begin_again(now);
    }

    /// When the next tick is due, where an output wants it.
    pub fn next_tick(&self, plan: &Plan) -> Option<Micros> {
        if plan.gives_tempo { self.given.due() } else { None }
    }

    /// The tick that is due now.
    pub fn tick(&mut self, step: &mut Step<'_>) {
        let plan = step.plan;
        if self.next_tick(plan).is_some_and(|due| due <= step.now) {
            step.send_to_all(plan.outputs_that(|output| output.tempo), &[0xF8]);
            self.given.next += self.given.interval;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn four_taps_make_a_tempo_and_an_outlier_does_not_count() {
        let mut taps = Taps::default();
        assert_eq!([0, 500, 1000].map(|at| taps.tap(Micros(at * 1000))), [None; 3]);
        assert_eq!(taps.tap(Micros(1_500_000)), Some(Micros(500_000)));
        // One beat was left out, and one tap came twice.
        assert_eq!(taps.tap(Micros(2_500_000)), Some(Micros(500_000)));
        assert_eq!(taps.tap(Micros(2_600_000)), Some(Micros(500_000)));
        assert_eq!(taps.tap(Micros(3_100_000)), Some(Micros(500_000)));
        // After a pause it begins again.
        assert_eq!(taps.tap(Micros(9_000_000)), None);
    }

    #[test]
    fn a_tick_at_120_is_a_fiftieth_of_a_second_and_a_bit() {
        // 60 s / (120 · 24) (computed)
        assert_eq!(tick_at(120.0), 20_833_333);
    }

    #[test]
    fn position_and_tempo_follow_a_clock() {
        let mut followed = Followed::default();
        assert_eq!(followed.take(0xFA, Micros(0)), Some(true));
        for tick in 0..=48 {
            followed.take(0xF8, Micros(1000 + tick * 20_833));
        }
        assert_eq!((followed.ticks, followed.interval), (49, 20_833_000));
        assert_eq!(followed.take(0xFC, Micros(2_000_000)), Some(false));
        followed.take(0xF8, Micros(2_010_000));
        assert_eq!(followed.ticks, 49);
        assert_eq!(followed.take(0xFB, Micros(2_020_000)), Some(true));
        followed.take(0xF8, Micros(2_030_000));
        assert_eq!(followed.ticks, 50);
    }

    #[test]
    fn a_song_position_of_4_and_three_ticks_are_27() {
        // The example of the MIDI 1.0 Detailed Specification 4.2.1, p. 28.
        let mut followed = Followed::default();
        followed.go_to(4 * SIXTEENTH);
        followed.take(0xFB, Micros(0));
        (1..=3).for_each(|tick| assert_eq!(followed.take(0xF8, Micros(tick * 20_000)), None));
        assert_eq!(followed.ticks, 27);
    }

    #[test]
    fn the_next_tick_comes_as_the_new_tempo_says() {
        let mut given = Given::default();
        given.set(20_000_000, Micros(1000));
        assert_eq!(given.due(), Some(Micros(21_000)));
        given.set(10_000_000, Micros(5000));
        assert_eq!(given.due(), Some(Micros(11_000)));
        given.set(2_000_000, Micros(9000));
        assert_eq!(given.due(), Some(Micros(9_001)));
    }
}
