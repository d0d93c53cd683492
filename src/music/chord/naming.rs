//! The name of what a hand holds.

use super::ChordKind;
use crate::music::Classes;

/// The name of a set of keys, by pitch classes (0 = C … 11 = B).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct NamedChord {
    /// The root.
    pub root: u8,
    /// The kind.
    pub kind: ChordKind,
    /// The lowest key's pitch class; where it is not the root, it stands after a slash.
    pub bass: u8,
}

/// The best name for a set of keys, bit n for key n; the lowest is the bass *(playing)*. In this order:
///
/// 1. a chord of exactly these pitch classes, the bass its root;
/// 2. the same in an inversion;
/// 3. with its perfect fifth left out: root and third of a major or minor chord, or a seventh or ninth chord;
///    the bass its root, then 4. inverted;
/// 5. a richer chord of exactly these five pitch classes or more, with a third, the bass its root: a 7b9, a 13;
/// 6. a triad or seventh chord over a bass that is none of its notes;
/// 7. a richer chord of four pitch classes or fewer, the bass its root: a 7#5.
///
/// Where one of these gives several names, the kind that comes first in [`ChordKind`] wins, so C6 = Am7 is named
/// by its bass, and with another bass Am7; then the root that is nearest above the bass (augmented and
/// diminished chords divide the octave evenly: they are named by their bass). Doubled notes say nothing.
///
/// `None` for what is no chord: no key, one pitch class, a second, a tritone, a cluster.
#[must_use]
pub fn name(keys: u128) -> Option<NamedChord> {
    if keys == 0 {
        return None;
    }
    let bass = (keys.trailing_zeros() % 12) as u8;
    let classes = Classes::from_keys(keys);
    let root_position = |fits: fn(ChordKind, Classes) -> bool| best(classes, bass, Some(bass), fits);
    let any = |fits: fn(ChordKind, Classes) -> bool| best(classes, bass, None, fits);
    root_position(exactly)
        .or_else(|| any(exactly))
        .or_else(|| root_position(without_fifth))
        .or_else(|| any(without_fifth))
        .or_else(|| richer(classes, bass).filter(|named| named.kind.classes().len() > 4))
        .or_else(|| best(classes.without(bass), bass, None, over_foreign_bass))
        .or_else(|| richer(classes, bass))
}

/// The first kind, and of its roots the nearest above the bass, that fits these classes.
fn best(classes: Classes, bass: u8, root: Option<u8>, fits: fn(ChordKind, Classes) -> bool) -> Option<NamedChord> {
    let roots = || (bass..bass + 12).map(|root| root % 12).filter(move |r| root.is_none_or(|root| root == *r));
    ChordKind::common().find_map(|kind| {
        let root = roots().find(|root| classes.contains(*root) && fits(kind, classes.moved(-i32::from(*root))))?;
        Some(NamedChord { root, kind, bass })
    })
}

/// The richer chord of exactly these classes on the bass. One without a third is rather another chord over that bass.
fn richer(classes: Classes, bass: u8) -> Option<NamedChord> {
    let from_bass = classes.moved(-i32::from(bass));
    let has_third = from_bass.contains(3) || from_bass.contains(4);
    let kind = ChordKind::richer().find(|kind| has_third && exactly(*kind, from_bass))?;
    Some(NamedChord { root: bass, kind, bass })
}

/// Whether these classes, counted from the root, are the chord.
fn exactly(kind: ChordKind, from_root: Classes) -> bool {
    kind.classes() == from_root
}

/// Whether they are the chord but for its perfect fifth, which may be left out of it.
fn without_fifth(kind: ChordKind, from_root: Classes) -> bool {
    use ChordKind::*;
    let optional = matches!(
        kind,
        Major | Minor | Seventh | MinorSeventh | MajorSeventh | MinorMajorSeventh | Ninth | MinorNinth | MajorNinth
    );
    optional && kind.classes().without(7) == from_root
}

/// Whether they are a chord that may stand over a bass of another harmony.
fn over_foreign_bass(kind: ChordKind, from_root: Classes) -> bool {
    use ChordKind::*;
    let usual = matches!(
        kind,
        Major
            | Minor
            | Seventh
            | MinorSeventh
            | MajorSeventh
            | Diminished
            | Augmented
            | HalfDiminished
            | DiminishedSeventh
    );
    usual && exactly(kind, from_root)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::music::{Key, Speller};

    fn named(keys: &[u8]) -> Option<String> {
        let set = keys.iter().fold(0, |set, key| set | 1u128 << key);
        name(set).map(|named| Speller::from("C".parse::<Key>().unwrap()).chord(named).to_string())
    }

    fn is(keys: &[u8], text: &str) {
        assert_eq!(named(keys).as_deref(), Some(text), "{keys:?}");
    }

    #[test]
    fn every_kind_on_every_root_is_found_in_root_position() {
        for root in 40..52u8 {
            for kind in ChordKind::common() {
                let keys = kind.classes().iter().fold(0, |set, step| set | 1u128 << (root + step));
                let found = name(keys).unwrap();
                assert_eq!((found.root, found.kind, found.bass), (root % 12, kind, root % 12));
                // Octaves above change nothing.
                assert_eq!(name(keys | keys << 12 | keys << 24), Some(found));
            }
        }
    }

    #[test]
    fn inversions_and_slash_chords() {
        is(&[64, 67, 72], "C/E");
        is(&[67, 72, 76], "C/G");
        is(&[54, 62, 66, 69], "D/F#");
        is(&[59, 65, 67, 74], "G7/B");
        is(&[53, 67, 71, 74], "G7/F");
        // Over a bass that is none of its notes.
        is(&[48, 67, 71, 74], "G/C");
        is(&[43, 62, 65, 69, 72], "Dm7/G");
        // D over C holds the notes of D7.
        is(&[48, 62, 66, 69], "D7/C");
    }

    #[test]
    fn the_bass_decides_between_names_of_the_same_notes() {
        is(&[60, 64, 67, 69], "C6");
        is(&[57, 60, 64, 67], "Am7");
        is(&[64, 67, 69, 72], "Am7/E");
        is(&[60, 63, 67, 69], "Cm6");
        is(&[57, 60, 63, 67], "Am7b5");
        is(&[60, 62, 67], "Csus2");
        is(&[55, 60, 62], "Gsus4");
        is(&[62, 67, 72], "Gsus4/D");
        is(&[60, 63, 66, 69], "Cdim7");
        is(&[63, 66, 69, 72], "D#dim7");
        is(&[60, 64, 68], "Caug");
        is(&[64, 68, 72], "Eaug");
    }

    #[test]
    fn a_fifth_may_be_missing() {
        is(&[60, 64], "C");
        is(&[60, 63], "Cm");
        is(&[64, 72], "C/E");
        is(&[60, 64, 70], "C7");
        is(&[60, 63, 70], "Cm7");
        is(&[60, 64, 71], "Cmaj7");
        is(&[60, 64, 70, 74], "C9");
        is(&[65, 67, 71], "G7/F");
        // Where another chord has exactly these notes, it is that one.
        is(&[60, 64, 69], "Am/C");
    }

    #[test]
    fn richer_chords_are_named_on_their_root() {
        is(&[50, 66, 69, 72, 75], "D7b9");
        is(&[50, 66, 69, 72, 77], "D7#9");
        is(&[48, 64, 67, 69, 74], "C6/9");
        is(&[48, 64, 70, 74, 69, 67], "C13");
        is(&[48, 64, 68, 70], "C7#5");
        // A triad over a bass is easier to read; without a third it is a chord over a bass.
        is(&[48, 64, 68, 71], "E/C");
        is(&[43, 62, 65, 69, 72], "Dm7/G");
    }

    #[test]
    fn power_chords() {
        is(&[60, 67], "C5");
        is(&[55, 60], "C5/G");
        is(&[60, 67, 72], "C5");
    }

    #[test]
    fn what_is_no_chord() {
        for keys in [
            &[][..],
            &[60],
            &[60, 72, 84],
            &[60, 61],
            &[60, 62],
            &[60, 66],
            &[60, 70],
            &[60, 61, 62],
            &[60, 62, 64],
            &[60, 61, 62, 63, 64],
            &[60, 62, 64, 65, 67],
        ] {
            assert_eq!(named(keys), None, "{keys:?}");
        }
        assert_eq!(name(u128::MAX), None);
    }
}
