//! Chords that come one key at a time: broken chords, and a bass with two keys above it (rule R11).

use super::keys::KeySet;
use super::{Follower, Harmony, Terms, Verdict};
use crate::engine::ids::Micros;
use crate::music::{Classes, follow, scale};

/// Keys within this time are one step of a line.
const TOGETHER: Micros = Micros::from_millis(60);
/// After so long a rest a line is over.
const REST: Micros = Micros::from_millis(1500);
/// A bass is of the chord of two keys that follows it within this time.
const AFTER_BASS: Micros = Micros::from_millis(1200);
/// The chord lies at least so far above the bass, in semitones.
const ABOVE_BASS: i32 = 5;
/// Two tones of a broken chord lie at least so far apart; nearer ones are a step of a tune.
const SKIP: i32 = 3;
/// So many steps are looked back on.
const LENGTH: usize = 8;

const TRIADS: [Classes; 3] = [Classes::all_of(&[0, 4, 7]), Classes::all_of(&[0, 3, 7]), Classes::all_of(&[0, 3, 6])];

/// Whether all of these are notes of one triad.
fn is_in_triad(classes: Classes) -> bool {
    (0..12).any(|root| TRIADS.iter().any(|triad| triad.moved(root).contains_all(classes)))
}

/// What was struck lately, step by step.
#[derive(Debug, Clone, Copy)]
pub(super) struct Line {
    steps: [(KeySet, Micros); LENGTH],
    len: usize,
    /// Whether broken chords are being played.
    breaks: bool,
}

impl Default for Line {
    fn default() -> Line {
        Line { steps: [(KeySet::NONE, Micros::ZERO); LENGTH], len: 0, breaks: false }
    }
}

impl Line {
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

    /// Another chord was struck: no line goes on.
    pub fn clear(&mut self) {
        *self = Line::default();
    }

    /// Whether broken chords are being played.
    pub fn goes_on(&self) -> bool {
        self.breaks
    }

    fn steps(&self) -> &[(KeySet, Micros)] {
        &self.steps[..self.len]
    }

    /// Only the last step is left of it.
    fn keep_last(&mut self) {
        if self.len > 1 {
            self.steps[0] = self.steps[self.len - 1];
            self.len = 1;
        }
    }

    /// A bass and two keys above it that are a triad with it.
    fn over_bass(&self, now: Micros) -> Option<KeySet> {
        let [.., (bass, at), (pair, _)] = self.steps() else { return None };
        let is_one = bass.count() == 1 && pair.count() == 2 && pair.lowest() - bass.lowest() >= ABOVE_BASS;
        let chord = bass.with(*pair);
        let is_triad = chord.classes().len() == 3 && is_in_triad(chord.classes());
        (is_one && is_triad && now - *at < AFTER_BASS).then_some(chord)
    }

    /// The single keys at its end, in order; returns how many.
    fn singles(&self, keys: &mut [u8; LENGTH]) -> usize {
        let count = self.steps().iter().rev().take_while(|(keys, _)| keys.count() == 1).count();
        for (key, (step, _)) in keys.iter_mut().zip(&self.steps()[self.len - count..]) {
            *key = step.lowest() as u8;
        }
        count
    }

    /// Finds out whether broken chords are being played: they begin with four tones of one triad by skips, and are over
    /// after two steps of a second in a row, or three among the last six.
    fn find_breaks(&mut self, singles: &[u8]) {
        let apart = |pair: &[u8]| i32::from(pair[0].abs_diff(pair[1]));
        let is_step = |pair: &[u8]| matches!(apart(pair), 1 | 2);
        if self.breaks {
            let steps = singles.windows(2).rev().take(6).filter(|pair| is_step(pair)).count();
            let in_a_row = singles.windows(2).rev().take(2).filter(|pair| is_step(pair)).count();
            self.breaks = steps < 3 && in_a_row < 2;
        } else if let [.., a, b, c, d] = singles {
            let last = [*a, *b, *c, *d];
            let classes = Classes::all_of(&last);
            let skips = last.windows(2).all(|pair| apart(pair) >= SKIP);
            self.breaks = skips && classes.len() == 3 && is_in_triad(classes);
        }
    }
}

impl Follower {
    /// Too few keys are down for a chord: they may be one that comes key by key.
    pub(super) fn decide_line(&mut self, now: Micros, terms: &Terms<'_>) -> Option<Harmony> {
        self.verdict = Verdict::Nothing;
        if terms.min_keys > 3 {
            return None;
        }
        if let Some(chord) = self.line.over_bass(now) {
            return Some(self.play_line(Harmony::of_keys(chord.0), chord));
        }
        let mut singles = [0; LENGTH];
        let count = self.line.singles(&mut singles);
        if count == 0 {
            self.line.breaks = false;
        }
        if count < 2 {
            return None;
        }
        self.line.find_breaks(&singles[..count]);
        if !self.line.breaks {
            return None;
        }
        let keys = self.since_change(&singles[..count], terms)?;
        let harmony = self.of_broken(keys, terms)?;
        self.line.keep_last();
        Some(self.play_line(harmony, keys))
    }

    fn play_line(&mut self, harmony: Harmony, keys: KeySet) -> Harmony {
        self.decided = keys;
        self.verdict = Verdict::Decided { by_itself: false };
        self.harmony = Some(harmony);
        harmony
    }

    /// The tones since the chord changed: from the first that is foreign to what sounds, or the one before if the line
    /// rises from it by a skip; without those at its beginning that are not of one triad with the last.
    fn since_change(&self, singles: &[u8], terms: &Terms<'_>) -> Option<KeySet> {
        let present = self.harmony.map_or(Classes::NONE, |harmony| completed(&harmony, terms));
        let foreign = singles.iter().position(|key| !present.contains(*key))?;
        let rises = |before: &usize| i32::from(singles[foreign]) >= i32::from(singles[*before]) + SKIP;
        let first = foreign.checked_sub(1).filter(rises).unwrap_or(foreign);
        let keys = |from: usize| singles[from..].iter().fold(KeySet::NONE, |keys, key| keys.with(KeySet::of(*key)));
        (first..singles.len()).map(keys).find(|keys| is_in_triad(keys.classes()))
    }

    /// The chord of two or three tones: of two, the expected one, else the triad of the key on their root.
    fn of_broken(&self, keys: KeySet, terms: &Terms<'_>) -> Option<Harmony> {
        let classes = keys.classes();
        if classes.len() < 2 {
            return None;
        }
        if classes.len() > 2 {
            return Some(Harmony::of_keys(keys.0));
        }
        let root = follow::root(keys.0)?;
        let triad = triad_on(root, terms)?;
        triad.contains_all(classes).then_some(Harmony { keys: keys.0, classes: triad, root })
    }
}

/// The triad of the fingers' key on a root.
fn triad_on(root: u8, terms: &Terms<'_>) -> Option<Classes> {
    let above = (12 + root % 12 - terms.tonic) % 12;
    Some(scale::triad(terms.is_minor, above)?.moved(i32::from(terms.tonic)))
}

/// The notes of a chord; of a bare fifth, with the third of the key.
fn completed(harmony: &Harmony, terms: &Terms<'_>) -> Classes {
    if harmony.classes.len() != 2 {
        return harmony.classes;
    }
    triad_on(harmony.root, terms).filter(|triad| triad.contains_all(harmony.classes)).unwrap_or(harmony.classes)
}
