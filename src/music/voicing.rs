//! Voicings: chords as notes, led from one to the next with as little movement as can be (rules R11, R13).

use super::Classes;

/// Up to twelve notes, ascending, each pitch class at most once.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Hash)]
pub struct Voicing {
    notes: [u8; 12],
    len: u8,
}

impl Voicing {
    /// Its notes, ascending *(playing)*.
    #[must_use]
    pub fn as_slice(&self) -> &[u8] {
        self.notes.get(..usize::from(self.len)).unwrap_or_default()
    }

    /// These classes in close position from the lowest note upward, the whole within an octave; `None` where
    /// `lowest` is none of them or the highest would be above `highest` *(playing)*.
    fn close(classes: Classes, lowest: u8, highest: u8) -> Option<Voicing> {
        if !classes.contains(lowest) {
            return None;
        }
        let mut voicing = Voicing::default();
        for note in (lowest..=lowest.saturating_add(11)).filter(|note| classes.contains(*note)) {
            *voicing.notes.get_mut(usize::from(voicing.len))? = note;
            voicing.len += 1;
        }
        (voicing.as_slice().last()? <= &highest).then_some(voicing)
    }
}

/// How far the notes move between two chords, in semitones all together (rule R11): both in order, each note
/// of the larger goes with one of the smaller, no note of either is left out and no two cross, the cheapest
/// way. It is the same there and back. Notes are ascending; from or to nothing it is 0. Of more than 128
/// notes, the first 128 count *(playing)*.
///
/// The sum of semitones is the "taxicab" measure of Tymoczko, "The Geometry of Musical Chords", Science 313
/// (2006) 72–74, where a note may also be doubled.
#[must_use]
pub fn movement(a: &[u8], b: &[u8]) -> u32 {
    let (larger, smaller) = if a.len() >= b.len() { (a, b) } else { (b, a) };
    let smaller = &smaller[..smaller.len().min(128)];
    // After each note of the larger: the least for it and those before, if it goes with this one of the smaller.
    let mut least = [u32::MAX; 128];
    for (number, from) in larger.iter().take(128).enumerate() {
        let mut diagonal = if number == 0 { 0 } else { u32::MAX };
        for (cell, to) in least.iter_mut().zip(smaller) {
            let before = (*cell).min(diagonal);
            diagonal = *cell;
            *cell = before.saturating_add(u32::from(from.abs_diff(*to)));
        }
    }
    smaller.len().checked_sub(1).map_or(0, |last| least[last])
}

/// The close position of these pitch classes, each once, inside the inclusive range, that moves least from
/// the notes before (`from`, ascending); of equal ones the lower (rule R11). With nothing before, no position
/// moves, so it is the lowest one. With a `bass`, only positions that have that pitch class lowest, where one
/// of them lies in the range, else any *(playing)*.
///
/// A range of twelve notes or more has a place for every set. In a narrower one there may be none: the
/// voicing is empty, as it is where there are no classes.
#[must_use]
pub fn lead(from: &[u8], classes: Classes, (low, high): (u8, u8), bass: Option<u8>) -> Voicing {
    let best = |bass: Option<u8>| {
        (low..=high)
            .filter(|lowest| bass.is_none_or(|bass| lowest % 12 == bass % 12))
            .filter_map(|lowest| Voicing::close(classes, lowest, high))
            // The first of equal ones, and they come upward.
            .min_by_key(|voicing| movement(from, voicing.as_slice()))
    };
    bass.and_then(|bass| best(Some(bass))).or_else(|| best(None)).unwrap_or_default()
}

/// These pitch classes in close position upward from their root, the root as near a key as can be, of two the
/// lower (rule R13). Where that would leave MIDI's notes, 0–127, the nearest octave that does not. Empty where
/// the root is none of the classes *(playing)*.
#[must_use]
pub fn root_position(classes: Classes, root: u8, near: u8) -> Voicing {
    (0..=127)
        .filter(|lowest| lowest % 12 == root % 12)
        .filter_map(|lowest| Voicing::close(classes, lowest, 127))
        .min_by_key(|voicing| voicing.as_slice().first().map(|lowest| lowest.abs_diff(near)))
        .unwrap_or_default()
}

#[cfg(test)]
mod tests;
