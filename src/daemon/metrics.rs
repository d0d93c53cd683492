//! What was left out so far, and how the tracks run: kept by the owner, read by whoever wants to know.

use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

use hdrhistogram::Histogram;

use crate::engine::{Counts, Position};

/// Counters that the owner keeps up to date with a few plain stores, and that others read without asking it. They are
/// not read at one instant: one may be a message ahead of another.
#[derive(Debug, Clone, Default)]
pub struct Metrics(Arc<Counters>);

#[derive(Debug, Default)]
struct Counters {
    refused: AtomicU64,
    dropped_overload: AtomicU64,
    dropped: AtomicU64,
    out_of_range: AtomicU64,
    not_understood: AtomicU64,
    /// Of the tracks player: 0 where no clock comes in, 1 where it stands still, 2 where it runs.
    running: AtomicU64,
    bar: AtomicU64,
    beat: AtomicU64,
    /// Its tempo and ours, in thousandths of a quarter note a minute; 0 for none.
    tempo_followed: AtomicU64,
    tempo_given: AtomicU64,
    late: AtomicU64,
}

/// Tempi are kept in thousandths of a quarter note a minute.
const THOUSANDTHS: f64 = 1000.0;

fn set(counter: &AtomicU64, value: u64) {
    counter.store(value, Ordering::Relaxed);
}

fn get(counter: &AtomicU64) -> u64 {
    counter.load(Ordering::Relaxed)
}

fn set_tempo(counter: &AtomicU64, tempo: Option<f64>) {
    set(counter, (tempo.unwrap_or(0.0) * THOUSANDTHS).round() as u64);
}

fn get_tempo(counter: &AtomicU64) -> Option<f64> {
    Some(get(counter)).filter(|tempo| *tempo > 0).map(|tempo| tempo as f64 / THOUSANDTHS)
}

impl Metrics {
    /// The owner's counts; neither waits nor allocates.
    pub(super) fn set(&self, counts: &Counts, refused: u64, dropped_overload: u64, dropped: u64) {
        set(&self.0.refused, refused);
        set(&self.0.dropped_overload, dropped_overload);
        set(&self.0.dropped, dropped);
        set(&self.0.out_of_range, counts.out_of_range);
        set(&self.0.not_understood, counts.not_understood);
    }

    /// Where the tracks player stands, and the tempo that we give; neither waits nor allocates.
    pub(super) fn set_tempo(&self, position: Option<Position>, tempo: Option<f64>) {
        set(&self.0.running, position.map_or(0, |at| 1 + u64::from(at.running)));
        set(&self.0.bar, position.map_or(0, |at| at.bar));
        set(&self.0.beat, position.map_or(0, |at| at.beat));
        set_tempo(&self.0.tempo_followed, position.and_then(|at| at.tempo));
        set_tempo(&self.0.tempo_given, tempo);
    }

    /// How late 99 of 100 ticks of our clock were given at most, in microseconds.
    pub(super) fn set_late(&self, late: u64) {
        set(&self.0.late, late);
    }

    /// How late 99 of 100 ticks of our clock were given at most, in microseconds, rounded up to a power of two.
    #[must_use]
    pub fn late(&self) -> u64 {
        get(&self.0.late)
    }

    /// Where the tracks player stands; `None` where no clock comes in.
    #[must_use]
    pub fn position(&self) -> Option<Position> {
        let running = get(&self.0.running).checked_sub(1)? == 1;
        let tempo = get_tempo(&self.0.tempo_followed);
        Some(Position { running, bar: get(&self.0.bar), beat: get(&self.0.beat), tempo })
    }

    /// The tempo of the clock that we give, in quarter notes a minute.
    #[must_use]
    pub fn tempo(&self) -> Option<f64> {
        get_tempo(&self.0.tempo_given)
    }

    /// Messages that an output did not take.
    #[must_use]
    pub fn refused(&self) -> u64 {
        get(&self.0.refused)
    }

    /// Messages that were left out because they came faster than they were read.
    #[must_use]
    pub fn dropped_overload(&self) -> u64 {
        get(&self.0.dropped_overload)
    }

    /// Messages that were thrown away because they were malformed, too long or too late.
    #[must_use]
    pub fn dropped(&self) -> u64 {
        get(&self.0.dropped)
    }

    /// Notes outside the MIDI range.
    #[must_use]
    pub fn out_of_range(&self) -> u64 {
        get(&self.0.out_of_range)
    }

    /// Messages of no known form.
    #[must_use]
    pub fn not_understood(&self) -> u64 {
        get(&self.0.not_understood)
    }
}

/// How long something took or how late it was, again and again.
#[derive(Debug, Clone)]
pub(super) struct Lateness {
    histogram: Option<Histogram<u64>>,
    /// When it was calculated last, in microseconds.
    calculated: Option<u64>,
}

/// How often it is calculated, in microseconds: that looks at some thousand numbers, too much for every message.
const CALCULATE_EVERY: u64 = 500_000;

/// What is longer counts as this long, in microseconds.
const LONGEST: u64 = 10_000_000;

impl Default for Lateness {
    fn default() -> Self {
        // These bounds are valid, so there always is one.
        Lateness { histogram: Histogram::new_with_bounds(1, LONGEST, 2).ok(), calculated: None }
    }
}

impl Lateness {
    /// Once more, so many microseconds; at first and then now and again, what 99 of 100 stayed below, with two figures.
    /// Neither waits nor allocates.
    pub(super) fn add(&mut self, micros: u64, now: u64) -> Option<u64> {
        let histogram = self.histogram.as_mut()?;
        histogram.saturating_record(micros);
        if self.calculated.is_some_and(|calculated| now < calculated + CALCULATE_EVERY) {
            return None;
        }
        self.calculated = Some(now);
        Some(histogram.value_at_quantile(0.99))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ninety_nine_of_a_hundred_are_told_with_two_figures() {
        let mut lateness = Lateness::default();
        assert!(lateness.add(300, 7).is_some_and(|of_99| (300..304).contains(&of_99)), "told at first");
        (0..98).for_each(|_| assert_eq!(lateness.add(300, 500_006), None, "not so soon again"));
        assert!(lateness.add(90_000, 500_007).is_some_and(|of_99| (300..304).contains(&of_99)));
        (0..4).for_each(|_| assert_eq!(lateness.add(90_000, 600_000), None));
        assert!(lateness.add(90_000, 1_000_007).is_some_and(|of_99| (90_000..91_000).contains(&of_99)));
        lateness.add(u64::MAX, u64::MAX);
    }
}
