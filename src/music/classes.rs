//! Sets of pitch classes.

/// A set of pitch classes, 0 = C … 11 = B. Numbers beyond are folded by octaves. Everything here is for
/// the playing path: no function allocates *(playing)*.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Hash)]
pub struct Classes(u16);

/// The twelve bits that may be set.
const ALL: u16 = 0xFFF;

impl Classes {
    /// The set without members.
    pub const NONE: Classes = Classes(0);

    /// The set of one pitch class.
    #[must_use]
    pub const fn of(class: u8) -> Classes {
        Classes(1 << (class % 12))
    }

    /// The set of several, such as the steps of a chord.
    #[must_use]
    pub const fn all_of(classes: &[u8]) -> Classes {
        let mut set = Classes::NONE;
        let mut at = 0;
        while at < classes.len() {
            set = set.with(classes[at]);
            at += 1;
        }
        set
    }

    /// The pitch classes of a set of keys, bit n of `keys` for key n.
    #[must_use]
    pub fn from_keys(keys: u128) -> Classes {
        let folded = (0..11).fold(0, |folded, octave| folded | (keys >> (12 * octave)) as u16);
        Classes(folded & ALL)
    }

    /// This set with one more member.
    #[must_use]
    pub const fn with(self, class: u8) -> Classes {
        Classes(self.0 | Classes::of(class).0)
    }

    /// This set without a member.
    #[must_use]
    pub const fn without(self, class: u8) -> Classes {
        Classes(self.0 & !Classes::of(class).0)
    }

    /// The members of both sets together.
    #[must_use]
    pub const fn and(self, other: Classes) -> Classes {
        Classes(self.0 | other.0)
    }

    /// Whether the pitch class is a member.
    #[must_use]
    pub const fn contains(self, class: u8) -> bool {
        self.0 & Classes::of(class).0 != 0
    }

    /// Whether all members of the other set are members of this one.
    #[must_use]
    pub const fn contains_all(self, other: Classes) -> bool {
        self.0 & other.0 == other.0
    }

    /// How many members, 0 … 12.
    #[must_use]
    pub const fn len(self) -> usize {
        self.0.count_ones() as usize
    }

    /// Whether there are no members.
    #[must_use]
    pub const fn is_empty(self) -> bool {
        self.0 == 0
    }

    /// The members, ascending from C.
    pub fn iter(self) -> impl Iterator<Item = u8> {
        (0..12).filter(move |class| self.contains(*class))
    }

    /// The set so many semitones higher, or lower for a negative number.
    #[must_use]
    pub const fn moved(self, semitones: i32) -> Classes {
        let up = semitones.rem_euclid(12);
        Classes((self.0 << up | self.0 >> (12 - up)) & ALL)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn members_are_folded_and_ascend() {
        let set = Classes::of(67).with(60).with(4).with(16);
        assert_eq!(set, Classes::all_of(&[0, 4, 7]));
        assert_eq!(set.iter().collect::<Vec<_>>(), [0, 4, 7]);
        assert_eq!((set.len(), set.is_empty()), (3, false));
        assert!(set.contains(12) && !set.contains(11));
        assert_eq!(set.without(4).with(4), set);
        assert_eq!(Classes::default(), Classes::NONE);
        assert!(Classes::NONE.is_empty());
        assert!(set.and(Classes::of(2)).contains_all(set) && !set.contains_all(Classes::of(2)));
    }

    #[test]
    fn moving_goes_round() {
        // C major, a fifth up and a fourth down, is G major.
        let (c, g) = (Classes::all_of(&[0, 4, 7]), Classes::all_of(&[7, 11, 2]));
        assert_eq!(c.moved(7), g);
        assert_eq!(c.moved(-5), g);
        for semitones in -30..=30 {
            let moved = c.moved(semitones);
            assert_eq!(moved.len(), 3);
            assert_eq!(moved.moved(-semitones), c);
            assert!(c.iter().all(|class| moved.contains((i32::from(class) + semitones).rem_euclid(12) as u8)));
        }
    }

    #[test]
    fn keys_give_their_classes() {
        assert_eq!(Classes::from_keys(0), Classes::NONE);
        assert_eq!(Classes::from_keys(u128::MAX).len(), 12);
        for key in 0..128u8 {
            assert_eq!(Classes::from_keys(1 << key), Classes::of(key));
        }
        assert_eq!(Classes::from_keys(1 << 60 | 1 << 72 | 1 << 127), Classes::all_of(&[0, 7]));
    }
}
