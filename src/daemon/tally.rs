//! What was left out so far, and how the tracks run: kept by the owner, read by whoever wants to know.

use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

use crate::engine::{Counts, Position};

/// Counters that the owner keeps up to date with a few plain stores, and that others read without asking it. They are
/// not read at one instant: one may be a message ahead of another.
#[derive(Debug, Clone, Default)]
pub struct Tally(Arc<[AtomicU64; 11]>);

/// Tempi are kept in thousandths of a quarter note a minute.
const THOUSANDTHS: f64 = 1000.0;

impl Tally {
    /// The owner's counts; neither waits nor allocates.
    pub(super) fn set(&self, counts: &Counts, not_taken: u64, shed: u64, dropped: u64, unheard: u64) {
        let values = [not_taken, shed, dropped, counts.out_of_range, counts.not_understood, unheard];
        for (counter, value) in self.0.iter().zip(values) {
            counter.store(value, Ordering::Relaxed);
        }
    }

    /// Where the tracks player stands, and the tempo that we give; neither waits nor allocates.
    pub(super) fn set_tempo(&self, position: Option<Position>, tempo: Option<f64>) {
        let thousandths = |tempo: Option<f64>| (tempo.unwrap_or(0.0) * THOUSANDTHS).round() as u64;
        let values = match position {
            None => [0, 0, 0, 0],
            Some(at) => [1 + u64::from(at.running), at.bar, at.beat, thousandths(at.tempo)],
        };
        for (counter, value) in self.0[6..].iter().zip(values.into_iter().chain([thousandths(tempo)])) {
            counter.store(value, Ordering::Relaxed);
        }
    }

    fn get_tempo(&self, number: usize) -> Option<f64> {
        Some(self.get(number)).filter(|tempo| *tempo > 0).map(|tempo| tempo as f64 / THOUSANDTHS)
    }

    /// Where the tracks player stands; `None` where no clock comes in.
    #[must_use]
    pub fn position(&self) -> Option<Position> {
        let running = match self.get(6) {
            0 => return None,
            state => state == 2,
        };
        Some(Position { running, bar: self.get(7), beat: self.get(8), tempo: self.get_tempo(9) })
    }

    /// The tempo of the clock that we give, in quarter notes a minute.
    #[must_use]
    pub fn tempo(&self) -> Option<f64> {
        self.get_tempo(10)
    }

    fn get(&self, number: usize) -> u64 {
        self.0.get(number).map_or(0, |counter| counter.load(Ordering::Relaxed))
    }

    /// Messages that an output did not take.
    #[must_use]
    pub fn not_taken(&self) -> u64 {
        self.get(0)
    }

    /// Messages that were left out because they came faster than they were read.
    #[must_use]
    pub fn shed(&self) -> u64 {
        self.get(1)
    }

    /// Messages that were thrown away because they were malformed, too long or too late.
    #[must_use]
    pub fn dropped(&self) -> u64 {
        self.get(2)
    }

    /// Notes outside the MIDI range.
    #[must_use]
    pub fn out_of_range(&self) -> u64 {
        self.get(3)
    }

    /// Messages of no known form.
    #[must_use]
    pub fn not_understood(&self) -> u64 {
        self.get(4)
    }

    /// Reports that nobody fetched in time.
    #[must_use]
    pub fn unheard(&self) -> u64 {
        self.get(5)
    }
}
