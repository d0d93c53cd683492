//! Which key suits which voice: where a melody lies tonight, and what a singer reaches.

use super::{Keys, Order};
use crate::map::{Entry, KeyRange, Singer, Song};
use crate::music::Key;

/// How a key suits a voice.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
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
    /// How long each note is sung, in the chart's key; where that is known.
    times: Option<Box<[u64; 128]>>,
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
        Some(Melody { chart: song.key.value, range, lifts: lifts(entry, song), times: None })
    }

    /// A melody that was played in the chart's key: how long each note sounds, by its number. `None` where none does.
    #[must_use]
    pub fn played(entry: &Entry, song: &Song, times: [u64; 128]) -> Option<Melody> {
        let sounds = |time: &u64| *time > 0;
        let (low, high) = (times.iter().position(sounds)?, times.iter().rposition(sounds)?);
        let range = (i32::try_from(low).ok()?, i32::try_from(high).ok()?);
        Some(Melody { chart: song.key.value, range, lifts: lifts(entry, song), times: Some(Box::new(times)) })
    }

    /// Its lowest and highest note in the chart's key.
    #[must_use]
    pub fn range(&self) -> (i32, i32) {
        self.range
    }

    /// Its lowest and highest note over all of tonight's sections, if the song begins in `key`.
    #[must_use]
    pub fn tonight(&self, key: Key) -> (i32, i32) {
        let lowest = self.lifts.iter().map(|lift| self.heard(key, *lift).0).min();
        let highest = self.lifts.iter().map(|lift| self.heard(key, *lift).1).max();
        lowest.zip(highest).unwrap_or_else(|| self.heard(key, 0))
    }

    /// The share of its time that lies beyond a range if the song begins in `key`, over all of tonight's sections;
    /// `None` where it is not known how long its notes are.
    #[must_use]
    pub fn share_beyond(&self, key: Key, range: KeyRange) -> Option<f64> {
        let times = self.times.as_ref()?;
        let (lowest, highest) = numbers(range);
        let (mut beyond, mut all) = (0, 0);
        for lift in &self.lifts {
            let way = self.chart.nearest_way(key) + lift;
            for (note, time) in (0..).zip(times.iter()) {
                let note: i32 = note;
                all += time;
                beyond += if (lowest..=highest).contains(&(note + way)) { 0 } else { *time };
            }
        }
        Some(beyond as f64 / all as f64)
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

/// What section keys add at each step of tonight's order.
fn lifts(entry: &Entry, song: &Song) -> Vec<i32> {
    Order::of(entry, song).steps.iter().map(|step| step.lift).collect()
}

/// How far the lowest and the highest note that are heard lie below a range and above it; 0 for one inside.
pub(super) fn beyond((low, high): (i32, i32), range: KeyRange) -> (i32, i32) {
    let (lowest, highest) = numbers(range);
    ((lowest - low).max(0), (high - highest).max(0))
}

/// Where a melody fits no key of a singer's range as it is written, but would an octave higher or lower: by how many
/// semitones it is probably sung higher, 12 or −12.
#[must_use]
pub fn octave_slip((low, high): (i32, i32), range: KeyRange) -> Option<i32> {
    let (lowest, highest) = numbers(range);
    [12, -12].into_iter().find(|octave| {
        let fits = |way: i32| lowest <= low + octave + way && high + octave + way <= highest;
        // The nearest keys only: what is further away is another slip.
        (-3..=3).any(fits)
    })
}
