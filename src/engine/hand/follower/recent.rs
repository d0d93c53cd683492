//! The keys that were struck lately, step by step, which may be a broken chord (rule R11).

use super::keys::KeySet;
use crate::engine::ids::Micros;
use crate::music::Classes;
use crate::music::chord::ChordKind;

/// Keys within this time are one step.
const TOGETHER: Micros = Micros::from_millis(60);
/// After so long a rest the steps before are forgotten.
const REST: Micros = Micros::from_millis(1500);
/// A bass is of the chord of two keys that follows it within this time.
const AFTER_BASS: Micros = Micros::from_millis(1200);
/// The chord lies at least so far above the bass, in semitones.
const ABOVE_BASS: i32 = 5;
/// Two tones of a broken chord lie at least so far apart; nearer ones are a second of a tune.
pub(super) const SKIP: i32 = 3;
/// Tones of a broken chord follow one another sooner than this.
const SLOW: Micros = Micros::from_millis(450);
/// So many steps are looked back on.
pub(super) const LENGTH: usize = 8;

/// The triads that chords are broken into.
const TRIADS: [Classes; 3] = [ChordKind::Major.classes(), ChordKind::Minor.classes(), ChordKind::Diminished.classes()];

/// Whether all of these are notes of one triad.
pub(super) fn is_in_triad(classes: Classes) -> bool {
    (0..12).any(|root| TRIADS.iter().any(|triad| triad.moved(root).contains_all(classes)))
}

/// What was struck lately, step by step.
#[derive(Debug, Clone, Copy)]
pub(super) struct RecentKeys {
    steps: [(KeySet, Micros); LENGTH],
    len: usize,
    /// Whether they are broken chords.
    broken: bool,
}

impl Default for RecentKeys {
    fn default() -> RecentKeys {
        RecentKeys { steps: [(KeySet::NONE, Micros::ZERO); LENGTH], len: 0, broken: false }
    }
}

impl RecentKeys {
    /// A key is struck: with the last step, or as another one.
    pub fn strike(&mut self, key: u8, now: Micros) {
        if self.steps().last().is_some_and(|(_, at)| now - *at > REST) {
            self.clear();
        }
        match self.steps[..self.len].last_mut() {
            Some((keys, at)) if now - *at < TOGETHER => keys.add(key),
            _ => {
                if self.len == LENGTH {
                    self.steps.rotate_left(1);
                    self.len -= 1;
                }
                self.steps[self.len] = (KeySet::of(key), now);
                self.len += 1;
            }
        }
    }

    /// A chord was decided: all of them are forgotten.
    pub fn clear(&mut self) {
        *self = RecentKeys::default();
    }

    /// Whether broken chords are being played.
    pub fn are_broken(&self) -> bool {
        self.broken
    }

    /// A step of several keys ends broken chords.
    pub fn stop_breaking(&mut self) {
        self.broken = false;
    }

    fn steps(&self) -> &[(KeySet, Micros)] {
        &self.steps[..self.len]
    }

    /// Only the last step is left.
    pub fn keep_last(&mut self) {
        if self.len > 1 {
            self.steps[0] = self.steps[self.len - 1];
            self.len = 1;
        }
    }

    /// A bass before a handful, and its two keys above that are a triad with it: the handful, and those of its keys that
    /// count.
    pub fn over_bass(&self, (handful, pair): (KeySet, KeySet), now: Micros) -> Option<KeySet> {
        let (bass, at) = self.steps().iter().rev().find(|(keys, _)| !handful.has_all(*keys))?;
        let is_one = bass.count() == 1 && pair.count() == 2 && pair.lowest() - bass.lowest() >= ABOVE_BASS;
        let chord = bass.with(pair);
        let is_triad = chord.classes().len() == 3 && is_in_triad(chord.classes());
        (is_one && is_triad && now - *at < AFTER_BASS).then_some(chord)
    }

    /// The single keys at its end, in order; returns how many.
    pub fn singles(&self, keys: &mut [u8; LENGTH]) -> usize {
        let count = self.steps().iter().rev().take_while(|(keys, _)| keys.count() == 1).count();
        for (key, (step, _)) in keys.iter_mut().zip(&self.steps()[self.len - count..]) {
            *key = step.lowest() as u8;
        }
        count
    }

    /// Whether so many last steps are as far apart as figures of an accompaniment are: evenly, and not slowly.
    fn is_even(&self, count: usize) -> bool {
        let times = self.steps().iter().rev().take(count).map(|(_, at)| *at);
        let waits = times.clone().zip(times.skip(1)).map(|(later, earlier)| later - earlier);
        let (least, most) = waits.fold((SLOW, Micros::ZERO), |(least, most), wait| (wait.min(least), wait.max(most)));
        most < SLOW && (most.0 - least.0) * 10 <= least.0 * 3
    }

    /// Finds out whether broken chords are being played: they begin with four tones of one triad by skips, evenly, or
    /// three of the chord that is due, and are over after two seconds in a row, or three among the last six moves.
    pub fn find_breaks(&mut self, singles: &[u8], due: Classes) {
        if self.broken {
            let is_second = |pair: &[u8]| matches!(pair[0].abs_diff(pair[1]), 1 | 2);
            let seconds = |last: usize| singles.windows(2).rev().take(last).filter(|pair| is_second(pair)).count();
            self.broken = seconds(6) < 3 && seconds(2) < 2;
        } else {
            let is_due = |classes| due.contains_all(classes);
            self.broken = self.begin_breaks(singles, 4, is_in_triad) || self.begin_breaks(singles, 3, is_due);
        }
    }

    /// Whether broken chords begin with so many last tones.
    fn begin_breaks(&self, singles: &[u8], count: usize, are_of_one: impl Fn(Classes) -> bool) -> bool {
        let Some(first) = singles.len().checked_sub(count) else { return false };
        let last = &singles[first..];
        let classes = Classes::all_of(last);
        let skips = last.windows(2).all(|pair| i32::from(pair[0].abs_diff(pair[1])) >= SKIP);
        skips && classes.len() == 3 && are_of_one(classes) && self.is_even(count)
    }
}
