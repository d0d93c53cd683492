//! Chords that come one key at a time: broken chords, and a bass with two keys above it (rule R11).

use super::keys::KeySet;
use super::recent::{LENGTH, SKIP, is_in_triad};
use super::{Follower, Harmony, Terms, Verdict};
use crate::engine::ids::Micros;
use crate::music::{Classes, follow, scale};

impl Follower {
    /// Too few keys are down for a chord: they may be one that comes key by key.
    pub(super) fn decide_recent(&mut self, struck: KeySet, now: Micros, terms: &Terms<'_>) -> Option<Harmony> {
        self.verdict = Verdict::Nothing;
        if terms.min_keys > 3 {
            return None;
        }
        if let Some(chord) = self.recent.over_bass((self.struck, struck), now) {
            return Some(self.play_recent(Harmony::of_keys(chord.0), terms));
        }
        let mut singles = [0; LENGTH];
        let count = self.recent.singles(&mut singles);
        if count == 0 {
            self.recent.stop_breaking();
        }
        if count < 2 {
            return None;
        }
        let singles = &singles[..count];
        let due = self.due_chord(terms);
        self.recent.find_breaks(singles, due.map_or(Classes::NONE, |due| due.classes));
        if !self.recent.are_broken() {
            return None;
        }
        let (first, foreign) = self.change(singles, terms)?;
        let keys = |from: usize| singles[from..].iter().fold(KeySet::NONE, |keys, key| keys.with(KeySet::of(*key)));
        let of_due = due.zip((first..=foreign).map(keys).find(|keys| due.is_some_and(|due| due.has(*keys))));
        let harmony = match of_due {
            Some((due, keys)) => {
                self.meet(due);
                self.settle(due.of_keys(keys), false)
            }
            None => {
                let keys = (first..count).map(keys).find(|keys| is_in_triad(keys.classes()))?;
                let harmony = self.of_broken(keys, terms)?;
                self.play_recent(harmony, terms)
            }
        };
        self.recent.keep_last();
        Some(harmony)
    }

    /// Decides from keys that came one after the other.
    fn play_recent(&mut self, harmony: Harmony, terms: &Terms<'_>) -> Harmony {
        let harmony = self.as_expected(harmony, terms);
        self.settle(harmony, false)
    }

    /// Where the chord changed: at the first tone that is foreign to what sounds, and from which one on they may be the
    /// new chord's: the one before if they rise from it by a skip, else that one.
    fn change(&self, singles: &[u8], terms: &Terms<'_>) -> Option<(usize, usize)> {
        let present = self.harmony.map_or(Classes::NONE, |harmony| completed(&harmony, terms));
        let foreign = singles.iter().position(|key| !present.contains(*key))?;
        let rises = |before: &usize| i32::from(singles[foreign]) >= i32::from(singles[*before]) + SKIP;
        Some((foreign.checked_sub(1).filter(rises).unwrap_or(foreign), foreign))
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
