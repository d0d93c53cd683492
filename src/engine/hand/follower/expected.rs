//! What the section's chords say, where they are written (rule R11).

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
            (0..count).map(|number| (self.at_chord + number) % count).find(|at| fits(terms.classes(&terms.chords[*at])))
        };
        let is_one_more =
            |chord: Classes| chord.len() > 2 && classes.len() == chord.len() + 1 && classes.contains_all(chord);
        let is_part = |chord: Classes| chord.contains_all(classes);
        let found = due(&|chord| chord == classes).or_else(|| due(&is_part)).or_else(|| due(&is_one_more));
        let Some(at) = found else { return harmony };
        self.at_chord = at;
        let chord = terms.chords[at];
        let (written, root) = (terms.classes(&chord), terms.root(&chord));
        let lowest = (0..128u8).find(|key| harmony.keys >> key & 1 != 0 && key % 12 == root);
        let classes = if written.contains_all(classes) { classes } else { written };
        Harmony { classes, root: lowest.unwrap_or(harmony.root), ..harmony }
    }
}
