//! What the section's chords say, where they are written (rule R11).

use super::keys::KeySet;
use super::{Follower, Harmony, Terms};
use crate::engine::plan::PlanChord;
use crate::music::Classes;

impl Terms<'_> {
    /// The notes of one of the section's chords, counted from C.
    fn classes(&self, chord: &PlanChord) -> Classes {
        chord.classes.moved(i32::from(self.tonic))
    }

    fn root(&self, chord: &PlanChord) -> u8 {
        (chord.root + self.tonic) % 12
    }
}

/// One of the section's chords.
#[derive(Debug, Clone, Copy)]
pub(super) struct Written {
    /// Its number among them.
    at: usize,
    pub classes: Classes,
    root: u8,
}

impl Written {
    /// Whether all of these keys are notes of it.
    pub fn has(self, keys: KeySet) -> bool {
        self.classes.contains_all(keys.classes())
    }

    /// This chord, of which these keys are notes. Its root is one of them, or the nearest below.
    pub fn of_keys(self, keys: KeySet) -> Harmony {
        let has_root = |key: &u8| key % 12 == self.root;
        let below = || {
            let lowest = keys.lowest();
            let root = lowest - (lowest - i32::from(self.root)).rem_euclid(12);
            if root < 0 { root + 12 } else { root }
        };
        let root = keys.iter().find(has_root).unwrap_or_else(|| below() as u8);
        Harmony { keys: keys.0, classes: self.classes, root }
    }
}

impl Follower {
    /// Whether exactly these notes are one of the section's chords.
    pub(super) fn is_expected(&self, classes: Classes, terms: &Terms<'_>) -> bool {
        terms.chords.iter().any(|chord| terms.classes(chord) == classes)
    }

    /// A chord as the section has it: with the root that is written, and without a single wrong key beside its notes. Of
    /// several that it may be the one that is due first, counted from the one that was met last.
    pub(super) fn as_expected(&mut self, harmony: Harmony, terms: &Terms<'_>) -> Harmony {
        let count = terms.chords.len();
        let classes = harmony.classes;
        let due = |fits: &dyn Fn(Classes) -> bool| {
            (0..count)
                .map(|number| (self.met.unwrap_or(0) + number) % count)
                .find(|at| fits(terms.classes(&terms.chords[*at])))
        };
        let is_one_more =
            |chord: Classes| chord.len() > 2 && classes.len() == chord.len() + 1 && classes.contains_all(chord);
        let is_part = |chord: Classes| chord.contains_all(classes);
        let found = due(&|chord| chord == classes).or_else(|| due(&is_part)).or_else(|| due(&is_one_more));
        let Some(at) = found else { return harmony };
        self.met = Some(at);
        let chord = terms.chords[at];
        let (written, root) = (terms.classes(&chord), terms.root(&chord));
        let lowest = (0..128u8).find(|key| harmony.keys >> key & 1 != 0 && key % 12 == root);
        let classes = if written.contains_all(classes) { classes } else { written };
        Harmony { classes, root: lowest.unwrap_or(harmony.root), ..harmony }
    }

    /// The chord that is due: the first after the one that was met last that has other notes than that, and than what
    /// sounds.
    pub(super) fn due_chord(&self, terms: &Terms<'_>) -> Option<Written> {
        let count = terms.chords.len();
        let last = self.met.and_then(|met| terms.chords.get(met)).map(|chord| terms.classes(chord));
        let sounds = self.harmony.map(|harmony| harmony.classes);
        let first = self.met.map_or(0, |met| met + 1);
        (0..count).map(|number| (first + number) % count).find_map(|at| {
            let (classes, root) = (terms.classes(&terms.chords[at]), terms.root(&terms.chords[at]));
            (Some(classes) != last && Some(classes) != sounds).then_some(Written { at, classes, root })
        })
    }

    /// A chord that was due is met.
    pub(super) fn meet(&mut self, chord: Written) {
        self.met = Some(chord.at);
    }
}
