//! Chords that come one key at a time: broken chords, and a bass with two keys above it (rule R11).

use super::keys::KeySet;
use super::recent::{LENGTH, SKIP, is_in_triad};
use super::{Follower, Harmony, Terms, Verdict};
use crate::engine::ids::Micros;
use crate::music::{Classes, follow, scale};

impl Follower {
    /// Too few keys are down for a chord: they may be one that comes key by key.
    pub(super) fn decide_recent(&mut self, now: Micros, terms: &Terms<'_>) -> Option<Harmony> {
        self.verdict = Verdict::Nothing;
        if terms.min_keys > 3 {
            return None;
        }
        if let Some(chord) = self.recent.over_bass(now) {
            return Some(self.settle(Harmony::of_keys(chord.0), false));
        }
        let mut singles = [0; LENGTH];
        let count = self.recent.singles(&mut singles);
        if count == 0 {
            self.recent.stop_breaking();
        }
        if count < 2 {
            return None;
        }
        self.recent.find_breaks(&singles[..count]);
        if !self.recent.are_broken() {
            return None;
        }
        let keys = self.since_change(&singles[..count], terms)?;
        let harmony = self.of_broken(keys, terms)?;
        self.recent.keep_last();
        Some(self.settle(harmony, false))
    }

    /// The tones since the chord changed: from the first that is foreign to what sounds, or the one before if they rise
    /// from it by a skip; without those at its beginning that are not of one triad with the last.
    fn since_change(&self, singles: &[u8], terms: &Terms<'_>) -> Option<KeySet> {
        let present = self.harmony.map_or(Classes::NONE, |harmony| completed(&harmony, terms));
        let foreign = singles.iter().position(|key| !present.contains(*key))?;
        let rises = |before: &usize| i32::from(singles[foreign]) >= i32::from(singles[*before]) + SKIP;
        let first = foreign.checked_sub(1).filter(rises).unwrap_or(foreign);
        let keys = |from: usize| singles[from..].iter().fold(KeySet::NONE, |keys, key| keys.with(KeySet::of(*key)));
        (first..singles.len()).map(keys).find(|keys| is_in_triad(keys.classes()))
    }

    /// The chord of two or three tones: of two, the triad of the key on their root, if it has both.
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
