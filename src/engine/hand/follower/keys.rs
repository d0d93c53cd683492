//! Sets of keys.

use crate::music::Classes;

/// A set of keys, one bit each.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(super) struct KeySet(pub u128);

impl KeySet {
    pub const NONE: KeySet = KeySet(0);

    pub fn of(key: u8) -> KeySet {
        KeySet(1 << (key & 127))
    }

    pub fn has(self, key: u8) -> bool {
        self.0 >> (key & 127) & 1 != 0
    }

    pub fn add(&mut self, key: u8) {
        self.0 |= KeySet::of(key).0;
    }

    /// Takes a key out; whether it was in.
    pub fn remove(&mut self, key: u8) -> bool {
        let had = self.has(key);
        self.0 &= !KeySet::of(key).0;
        had
    }

    pub fn is_empty(self) -> bool {
        self.0 == 0
    }

    pub fn count(self) -> u32 {
        self.0.count_ones()
    }

    /// The keys of both sets.
    pub fn with(self, other: KeySet) -> KeySet {
        KeySet(self.0 | other.0)
    }

    /// The keys that are in both sets.
    pub fn and(self, other: KeySet) -> KeySet {
        KeySet(self.0 & other.0)
    }

    pub fn without(self, other: KeySet) -> KeySet {
        KeySet(self.0 & !other.0)
    }

    pub fn has_all(self, other: KeySet) -> bool {
        other.without(self).is_empty()
    }

    /// The lowest key, 128 where there is none.
    pub fn lowest(self) -> i32 {
        self.0.trailing_zeros() as i32
    }

    /// The highest key, −1 where there is none.
    pub fn highest(self) -> i32 {
        127 - self.0.leading_zeros() as i32
    }

    /// Semitones from the lowest to the highest.
    pub fn span(self) -> i32 {
        self.highest() - self.lowest()
    }

    /// Those below a key.
    pub fn below(self, key: i32) -> KeySet {
        match key {
            ..=0 => KeySet::NONE,
            1..=127 => KeySet(self.0 & ((1 << key) - 1)),
            _ => self,
        }
    }

    pub fn classes(self) -> Classes {
        Classes::from_keys(self.0)
    }

    /// Upward.
    pub fn iter(self) -> impl Iterator<Item = u8> {
        let next = |keys: &KeySet| Some(KeySet(keys.0 & keys.0.wrapping_sub(1))).filter(|keys| !keys.is_empty());
        std::iter::successors(Some(self).filter(|keys| !keys.is_empty()), next).map(|keys| keys.lowest() as u8)
    }

    /// Neighbouring keys of the set, upward.
    pub fn pairs(self) -> impl Iterator<Item = (u8, u8)> {
        self.iter().zip(self.iter().skip(1))
    }

    /// Two keys a fifth or a fourth apart, whatever octaves lie between: a chord without its third.
    pub fn is_fifth(self) -> bool {
        self.count() == 2 && matches!(self.span() % 12, 5 | 7)
    }
}
