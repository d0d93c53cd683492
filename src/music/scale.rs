//! What fits a key: its notes, its degrees, the triads on them.

use super::chord::ChordKind;
use super::{Classes, Key};

const MAJOR: [u8; 7] = [0, 2, 4, 5, 7, 9, 11];
const NATURAL_MINOR: [u8; 7] = [0, 2, 3, 5, 7, 8, 10];
/// The raised seventh of a minor key, by which it cadences.
const RAISED_SEVENTH: u8 = 11;

impl Key {
    /// The pitch classes that fit the key (rule R12): those of its scale, and in a minor key, beside the
    /// natural minor's, the raised seventh *(playing)*.
    #[must_use]
    pub fn fitting(self) -> Classes {
        let scale = Classes::all_of(&self.scale());
        if self.is_minor() { scale.with(self.tonic() + RAISED_SEVENTH) } else { scale }
    }
}

/// The degree of the scale that a pitch class is, 1 … 7, or `None` for one that does not fit. The raised
/// seventh of a minor key is a seventh *(playing)*.
#[must_use]
pub fn degree(tonic: u8, minor: bool, class: u8) -> Option<u8> {
    let above = (class % 12 + 12 - tonic % 12) % 12;
    let scale = if minor { NATURAL_MINOR } else { MAJOR };
    let found = scale.iter().position(|step| *step == above).map(|at| at as u8 + 1);
    found.or((minor && above == RAISED_SEVENTH).then_some(7))
}

/// The pitch class, counted from the tonic, of a degree 1 … 7 of the major or natural minor scale (rule
/// R14); other degrees are counted on by octaves, 0 is the seventh *(playing)*.
#[must_use]
pub fn step(minor: bool, degree: u8) -> u8 {
    let scale = if minor { NATURAL_MINOR } else { MAJOR };
    scale[(usize::from(degree) + 6) % 7]
}

/// The triad on a degree of the scale (rule R13), counted from the tonic as `above` is; its root is `above`
/// itself. In major I ii iii IV V vi vii°, in minor i ii° III iv V VI VII: the natural minor's, but that the
/// fifth's is major; on the raised seventh stands vii°. `None` where there is no degree *(playing)*.
#[must_use]
pub fn triad(minor: bool, above: u8) -> Option<Classes> {
    let kind = match (minor, above % 12) {
        (false, 0 | 5 | 7) | (true, 3 | 7 | 8 | 10) => ChordKind::Major,
        (false, 2 | 4 | 9) | (true, 0 | 5) => ChordKind::Minor,
        (_, RAISED_SEVENTH) | (true, 2) => ChordKind::Diminished,
        _ => return None,
    };
    Some(kind.classes().moved(i32::from(above)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::music::{Speller, chord};

    fn key(text: &str) -> Key {
        text.parse().unwrap()
    }

    /// The names of the triads on the degrees of a key, as that key spells them.
    fn triads(text: &str) -> Vec<String> {
        let key = key(text);
        let on = |above: u8| {
            let classes = triad(key.is_minor(), above)?.moved(i32::from(key.tonic()));
            let root = key.tonic() + above;
            // In root position from the root upward.
            let keys = classes.iter().fold(0u128, |set, class| set | 1 << (root + (class + 24 - root) % 12));
            Some(Speller::from(key).chord(chord::name(keys)?).to_string())
        };
        (0..12).filter_map(on).collect()
    }

    #[test]
    fn triads_of_the_degrees() {
        // The diatonic triads of any harmony book; the names from npm tonal 6.3.0.
        assert_eq!(triads("C"), ["C", "Dm", "Em", "F", "G", "Am", "Bdim"]);
        assert_eq!(triads("Eb"), ["Eb", "Fm", "Gm", "Ab", "Bb", "Cm", "Ddim"]);
        // R13: the natural minor's, but V is major, and vii° stands on the raised seventh.
        assert_eq!(triads("Am"), ["Am", "Bdim", "C", "Dm", "E", "F", "G", "G#dim"]);
        assert_eq!(triads("Cm"), ["Cm", "Ddim", "Eb", "Fm", "G", "Ab", "Bb", "Bdim"]);
    }

    #[test]
    fn triads_fit_their_key() {
        for text in ["C", "F#", "Am", "Ebm"] {
            let key = key(text);
            for above in 0..12 {
                let fits = key.fitting().contains(key.tonic() + above);
                let triad = triad(key.is_minor(), above);
                assert_eq!(triad.is_some(), fits, "{text} {above}");
                let triad = triad.unwrap_or_default().moved(i32::from(key.tonic()));
                assert!(key.fitting().contains_all(triad), "{text} {above}");
                assert_eq!(degree(key.tonic(), key.is_minor(), key.tonic() + above).is_some(), fits);
            }
        }
    }

    #[test]
    fn scales() {
        // npm tonal 6.3.0: natural minor 0 2 3 5 7 8 10, harmonic minor with 11.
        assert_eq!(key("C").fitting().iter().collect::<Vec<_>>(), [0, 2, 4, 5, 7, 9, 11]);
        assert_eq!(key("Am").fitting().iter().collect::<Vec<_>>(), [0, 2, 4, 5, 7, 8, 9, 11]);
        assert_eq!(key("D").fitting(), key("C").fitting().moved(2));
        assert_eq!(key("Em").fitting(), key("Am").fitting().moved(7));
    }

    #[test]
    fn degrees() {
        assert_eq!((1..=7).map(|degree| step(false, degree)).collect::<Vec<_>>(), MAJOR);
        assert_eq!((1..=7).map(|degree| step(true, degree)).collect::<Vec<_>>(), NATURAL_MINOR);
        for tonic in 0..12 {
            for number in 1..=7 {
                assert_eq!(degree(tonic, false, tonic + step(false, number)), Some(number));
                assert_eq!(degree(tonic, true, tonic + step(true, number)), Some(number));
            }
            assert_eq!(degree(tonic, true, tonic + 11), Some(7));
            assert_eq!(degree(tonic, false, tonic + 10), None);
        }
        assert_eq!((step(false, 0), step(false, 8)), (11, 0));
    }
}
