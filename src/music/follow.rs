//! Which of a hand's keys a pad follows: the root, and the fifth above it (rule R11).

use super::Classes;

/// The root of a set of keys, bit n for key n: the lowest key of the pitch class that has most points (rule
/// R11). Of classes with equal points the one whose lowest key is lower. `None` without a key *(playing)*.
#[must_use]
pub fn root(keys: u128) -> Option<u8> {
    if keys == 0 {
        return None;
    }
    let lowest = keys.trailing_zeros() as u8;
    let classes = Classes::from_keys(keys);
    let mut best: Option<(u32, u8)> = None;
    let mut seen = Classes::NONE;
    let mut left = keys;
    while left != 0 {
        let key = left.trailing_zeros() as u8;
        left &= left - 1;
        if seen.contains(key) {
            continue;
        }
        seen = seen.with(key);
        let points = points(classes.moved(-i32::from(key))) + if key == lowest { 3 } else { 0 };
        // Keys come upward, so that of equal points the lower stays.
        if best.is_none_or(|(most, _)| points > most) {
            best = Some((points, key));
        }
    }
    best.map(|(_, key)| key)
}

/// What speaks for a pitch class as the root, of the classes counted from it.
fn points(from_root: Classes) -> u32 {
    let has = |step| from_root.contains(step);
    let fifth = match () {
        () if has(7) => 8,
        () if has(3) && has(6) => 6,
        () => 0,
    };
    let third = if has(3) || has(4) { 4 } else { 0 };
    let seventh = match () {
        () if has(11) => 4,
        () if has(10) => 2,
        () => 0,
    };
    fifth + third + seventh
}

/// Semitones from a root to the fifth that a chord has: 7, else 6, else 8; where it has none, 7
/// (rule R11) *(playing)*.
#[must_use]
pub fn fifth_above(classes: Classes, root: u8) -> u8 {
    let from_root = classes.moved(-i32::from(root));
    [7, 6, 8].into_iter().find(|step| from_root.contains(*step)).unwrap_or(7)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::music::chord::ChordKind;

    fn keys(numbers: &[u8]) -> u128 {
        numbers.iter().fold(0, |set, number| set | 1 << number)
    }

    #[test]
    fn triads_and_sevenths_in_every_inversion_have_their_root() {
        use ChordKind::*;
        for kind in [Major, Minor, Diminished, Seventh, MajorSeventh, Fifth, AddedNinth] {
            for root_key in 48..60u8 {
                let steps: Vec<u8> = kind.classes().iter().collect();
                for lifted in 0..steps.len() {
                    let number = |(at, step): (usize, &u8)| root_key + step + if at < lifted { 12 } else { 0 };
                    let held: Vec<u8> = steps.iter().enumerate().map(number).collect();
                    assert_eq!(root(keys(&held)).map(|key| key % 12), Some(root_key % 12), "{kind:?} {held:?}");
                }
            }
        }
    }

    #[test]
    fn the_bass_decides_where_names_are_equal() {
        // A minor seventh over C is a sixth chord of C (the same notes: npm tonal 6.3.0).
        assert_eq!(root(keys(&[57, 60, 64, 67])), Some(57));
        assert_eq!(root(keys(&[60, 64, 67, 69])), Some(60));
        // Diminished sevenths and augmented triads divide the octave evenly.
        assert_eq!(root(keys(&[60, 63, 66, 69])), Some(60));
        assert_eq!(root(keys(&[64, 68, 72])), Some(64));
        // Over its third a ninth chord is a seventh chord of that third, with a root of another chord above.
        assert_eq!(root(keys(&[48, 52, 55, 58, 62])), Some(48));
        assert_eq!(root(keys(&[52, 55, 58, 60, 62])), Some(52));
        // With a dominant's seventh in the bass it is still the dominant.
        assert_eq!(root(keys(&[53, 67, 71, 74])), Some(67));
    }

    #[test]
    fn the_lowest_key_of_the_class_is_given() {
        assert_eq!(root(keys(&[52, 60, 67, 72])), Some(60));
        assert_eq!(root(keys(&[60])), Some(60));
        assert_eq!(root(0), None);
        assert_eq!(root(u128::MAX), Some(0));
        assert_eq!(root(1 << 127), Some(127));
    }

    #[test]
    fn points_are_the_rules() {
        let points = |steps: &[u8]| points(Classes::all_of(steps));
        assert_eq!(points(&[0]), 0);
        assert_eq!(points(&[0, 7]), 8);
        assert_eq!(points(&[0, 4]), 4);
        assert_eq!(points(&[0, 3, 4]), 4);
        assert_eq!(points(&[0, 6]), 0);
        assert_eq!(points(&[0, 3, 6]), 10);
        assert_eq!(points(&[0, 3, 6, 7]), 12);
        assert_eq!(points(&[0, 10]), 2);
        assert_eq!(points(&[0, 10, 11]), 4);
        assert_eq!(points(&[0, 8]), 0);
    }

    #[test]
    fn fifths() {
        assert_eq!(fifth_above(Classes::all_of(&[60, 64, 67]), 60), 7);
        assert_eq!(fifth_above(Classes::all_of(&[55, 60, 64]), 60), 7);
        assert_eq!(fifth_above(Classes::all_of(&[59, 62, 65]), 59), 6);
        assert_eq!(fifth_above(Classes::all_of(&[60, 64, 68]), 60), 8);
        assert_eq!(fifth_above(Classes::all_of(&[60, 66, 67, 68]), 60), 7);
        assert_eq!(fifth_above(Classes::all_of(&[60, 66, 68]), 60), 6);
        assert_eq!(fifth_above(Classes::all_of(&[60, 64]), 60), 7);
    }
}
