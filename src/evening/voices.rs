//! Which key suits which voice: where a melody lies tonight, and what a singer reaches.

use super::{Keys, Order};
use crate::map::{Entry, KeyRange, Singer, Song};
use crate::music::Key;

/// How a key suits a voice.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Suits {
    /// It lies within the comfortable range, but for half of tonight's sections at most: for a last chorus higher up a
    /// voice has its range.
    Well,
    /// It lies within the range.
    Just,
    /// It leaves the range.
    Not,
}

/// A song's melody as it comes tonight.
#[derive(Debug, Clone)]
pub struct Melody {
    chart: Key,
    range: (i32, i32),
    /// What section keys add to tonight's key, for each step of the order.
    lifts: Vec<i32>,
}

/// A range as numbers.
#[must_use]
pub fn numbers(range: KeyRange) -> (i32, i32) {
    (i32::from(u8::from(range.0)), i32::from(u8::from(range.1)))
}

impl Melody {
    /// The melody of a song of the set; `None` where its map does not say what it spans.
    #[must_use]
    pub fn of(entry: &Entry, song: &Song) -> Option<Melody> {
        let range = numbers(song.melody_range.as_ref()?.value);
        let lifts = Order::of(entry, song).steps.iter().map(|step| step.lift).collect();
        Some(Melody { chart: song.key.value, range, lifts })
    }

    /// Its lowest and highest note where a section key adds `lift`, if the song begins in `key`. It moves from the
    /// chart's key the nearest way.
    #[must_use]
    pub fn heard(&self, key: Key, lift: i32) -> (i32, i32) {
        let way = self.chart.nearest_way(key) + lift;
        (self.range.0 + way, self.range.1 + way)
    }

    /// In how many of tonight's sections it leaves a range.
    fn outside(&self, key: Key, range: KeyRange) -> usize {
        let (lowest, highest) = numbers(range);
        let leaves = |(low, high): (i32, i32)| low < lowest || high > highest;
        self.lifts.iter().filter(|lift| leaves(self.heard(key, **lift))).count()
    }

    /// How well a key suits a singer.
    #[must_use]
    pub fn suits(&self, key: Key, singer: &Singer) -> Suits {
        let comfortable = singer.comfortable.unwrap_or(singer.range);
        match self.outside(key, singer.range) {
            0 if 2 * self.outside(key, comfortable) <= self.lifts.len() => Suits::Well,
            0 => Suits::Just,
            _ => Suits::Not,
        }
    }

    /// The nearest key to tonight's that suits all of these singers so, or better.
    #[must_use]
    pub fn nearest(&self, keys: &Keys, singers: &[&Singer], wanted: Suits) -> Option<Key> {
        let others = (1..=6).flat_map(|way| [-way, way]).map(|way| keys.tonight.transposed(way));
        let fits = |suits: Suits| suits == Suits::Well || wanted == Suits::Just && suits == Suits::Just;
        others.into_iter().find(|key| singers.iter().all(|singer| fits(self.suits(*key, singer))))
    }
}
