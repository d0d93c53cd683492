//! Tempo: tapped, followed from a clock that comes in, and given as a clock that goes out.
//!
//! A MIDI clock has 24 ticks a quarter note (MIDI 1.0 Detailed Specification 4.2.1, p. 30); a song position counts
//! sixteenths, six ticks each (p. 27).

use super::Engine;
use super::out::{Notice, Out};
use crate::midi::Message;

/// Ticks of a quarter note.
const TICKS: u64 = 24;
/// Ticks of a sixteenth.
const SIXTEENTH: u64 = 6;
/// A minute, in nanoseconds.
const MINUTE: u64 = 60_000_000_000;
/// A tap so long after the last begins anew, in microseconds: less than 30 beats a minute is no tempo.
const PAUSE: u64 = 2_000_000;
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
pub(super) struct Followed {
    running: bool,
    /// Ticks since the song's beginning.
    ticks: u64,
    /// Whether the last of them came while it ran: that tick is the moment itself, the position one before it.
    ticked: bool,
    last: Option<u64>,
    /// A quarter note's worth of ticks, smoothed, in nanoseconds for one tick; 0: unknown.
    interval: u64,
}

impl Followed {
    /// Hears a clock message; whether it began or ended to run.
    pub fn hear(&mut self, status: u8, now: u64) -> Option<bool> {
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

    fn tick(&mut self, now: u64) {
        if self.running {
            self.ticks += 1;
            self.ticked = true;
        }
        let passed = self.last.replace(now).map(|last| now.saturating_sub(last));
        match passed.filter(|passed| (1..PAUSE / TICKS).contains(passed)).map(|passed| passed * 1000) {
            Some(passed) if self.interval > 0 => self.interval = (self.interval * (TICKS - 1) + passed) / TICKS,
            Some(passed) => self.interval = passed,
            None => self.interval = 0,
        }
    }
}

/// Taps of the tempo.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Taps {
    times: [u64; MOST],
    count: usize,
}

impl Taps {
    /// One more tap; the time of a quarter note in microseconds, once there are enough. An interval that is far from
    /// the middle one does not count.
    pub fn tap(&mut self, now: u64) -> Option<u64> {
        let last = self.count.checked_sub(1).map(|last| self.times[last]);
        if last.is_some_and(|last| now.saturating_sub(last) > PAUSE) {
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
            *interval = pair[1].saturating_sub(pair[0]);
        }
        let intervals = &mut intervals[..count];
        intervals.sort_unstable();
        let middle = intervals[count / 2];
        let near = intervals.iter().filter(|interval| interval.abs_diff(middle) <= middle / OUTLIER);
        let (sum, number) = near.fold((0, 0), |(sum, number), interval| (sum + interval, number + 1));
        u64::checked_div(sum, number).filter(|beat| *beat > 0)
    }
}

/// The clock that goes out.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Given {
    /// From tick to tick, in nanoseconds; 0: no clock.
    interval: u64,
    /// When the next is due, in nanoseconds.
    next: u64,
}

impl Given {
    /// When the next tick is due, in microseconds.
    pub fn due(&self) -> Option<u64> {
        (self.interval > 0).then(|| self.next.div_ceil(1000))
    }

    /// Somebody wants it from now on.
    pub fn begin_again(&mut self, now: u64) {
        self.next = now * 1000 + self.interval;
    }

    /// Another tempo: the next tick comes so long after the last as it says now. Ticks never stumble.
    fn set(&mut self, interval: u64, now: u64) {
        let last = self.next.saturating_sub(self.interval);
        let goes_on = self.interval > 0;
        let soon = (now + 1) * 1000;
        self.next = if goes_on { (last + interval).max(soon) } else { now * 1000 + interval };
        self.interval = interval;
    }
}

/// Nanoseconds of a clock's tick at so many quarter notes a minute.
pub(super) fn tick_at(tempo: f64) -> u64 {
    (MINUTE as f64 / (tempo.max(1.0) * TICKS as f64)).round() as u64
}

impl Engine {
    /// A clock message of the input that is followed (rule R18).
    pub(super) fn follow_clock(&mut self, message: Message<'_>, status: u8, now: u64, out: &mut Out) {
        if let Message::SongPosition(position) = message {
            self.followed.go_to(u64::from(u16::from(position)) * SIXTEENTH);
        } else if let Some(runs) = self.followed.hear(status, now) {
            out.notice(Notice::Tracks(runs));
        }
    }

    /// Where the tracks player stands, in bars of the song's meter; `None` where no clock comes in.
    #[must_use]
    pub fn position(&self) -> Option<Position> {
        self.clock?;
        let (beats, unit) = self.tonight().map_or((4, 4), |(.., song)| song.meter);
        let ticks = self.followed.ticks - u64::from(self.followed.ticked);
        let beat = ticks * u64::from(unit) / (4 * TICKS);
        let beats = u64::from(beats.max(1));
        let tempo = (self.followed.interval > 0).then(|| MINUTE as f64 / (self.followed.interval * TICKS) as f64);
        Some(Position { running: self.followed.running, bar: beat / beats + 1, beat: beat % beats + 1, tempo })
    }

    /// The song's tempo or the tapped one, in quarter notes a minute: that of the clock that we give.
    #[must_use]
    pub fn tempo(&self) -> Option<f64> {
        (self.given.interval > 0).then(|| MINUTE as f64 / (self.given.interval * TICKS) as f64)
    }

    /// A song is entered: its tempo holds, until somebody taps another.
    pub(super) fn take_song_tempo(&mut self, song: usize, now: u64) {
        self.taps = Taps::default();
        match self.plan.songs[song].tick {
            Some(tick) => self.given.set(tick, now),
            None => self.given = Given::default(),
        }
    }

    /// Somebody taps the tempo.
    pub(super) fn tap(&mut self, now: u64, out: &mut Out) {
        if let Some(beat) = self.taps.tap(now) {
            self.given.set(beat * 1000 / TICKS, now);
            out.notice(Notice::Tempo);
        }
    }

    /// When the next tick is due, where an output wants it.
    pub(super) fn next_tick(&self) -> Option<u64> {
        if self.plan.gives_tempo { self.given.due() } else { None }
    }

    /// The tick that is due now.
    pub(super) fn tick_out(&mut self, now: u64, out: &mut Out) {
        if self.next_tick().is_some_and(|due| due <= now) {
            let plan = std::sync::Arc::clone(&self.plan);
            out.say_to_all(super::numbers(&plan, |output| output.tempo), &[0xF8]);
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
        assert_eq!([0, 500, 1000].map(|at| taps.tap(at * 1000)), [None; 3]);
        assert_eq!(taps.tap(1_500_000), Some(500_000));
        // One beat was left out, and one tap came twice.
        assert_eq!(taps.tap(2_500_000), Some(500_000));
        assert_eq!(taps.tap(2_600_000), Some(500_000));
        assert_eq!(taps.tap(3_100_000), Some(500_000));
        // After a pause it begins anew.
        assert_eq!(taps.tap(9_000_000), None);
    }

    #[test]
    fn a_tick_at_120_is_a_fiftieth_of_a_second_and_a_bit() {
        // 60 s / (120 · 24) (computed)
        assert_eq!(tick_at(120.0), 20_833_333);
    }

    #[test]
    fn position_and_tempo_follow_a_clock() {
        let mut followed = Followed::default();
        assert_eq!(followed.hear(0xFA, 0), Some(true));
        for tick in 0..=48 {
            followed.hear(0xF8, 1000 + tick * 20_833);
        }
        assert_eq!((followed.ticks, followed.interval), (49, 20_833_000));
        assert_eq!(followed.hear(0xFC, 2_000_000), Some(false));
        followed.hear(0xF8, 2_010_000);
        assert_eq!(followed.ticks, 49);
        assert_eq!(followed.hear(0xFB, 2_020_000), Some(true));
        followed.hear(0xF8, 2_030_000);
        assert_eq!(followed.ticks, 50);
    }

    #[test]
    fn a_song_position_of_4_and_three_ticks_are_27() {
        // The example of the MIDI 1.0 Detailed Specification 4.2.1, p. 28.
        let mut followed = Followed::default();
        followed.go_to(4 * SIXTEENTH);
        followed.hear(0xFB, 0);
        (1..=3).for_each(|tick| assert_eq!(followed.hear(0xF8, tick * 20_000), None));
        assert_eq!(followed.ticks, 27);
    }

    #[test]
    fn the_next_tick_comes_as_the_new_tempo_says() {
        let mut given = Given::default();
        given.set(20_000_000, 1000);
        assert_eq!(given.due(), Some(21_000));
        given.set(10_000_000, 5000);
        assert_eq!(given.due(), Some(11_000));
        given.set(2_000_000, 9000);
        assert_eq!(given.due(), Some(9_001));
    }
}
