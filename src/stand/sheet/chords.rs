//! The sections of a song as they come tonight, with their chords at both keys (rule R5).

use std::collections::BTreeMap;

use super::{Chords, Part};
use crate::engine::Keys;
use crate::map::{Entry, Song};
use crate::music::{Chord, Key};

/// A section under what a section key adds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
struct Coming {
    section: usize,
    lift: i32,
}

/// The names of tonight's sections in order; nothing for a song without sections.
pub(super) fn order(entry: &Entry, song: &Song) -> Vec<String> {
    match entry.order.as_ref().or(song.order.as_ref()) {
        Some(order) => order.iter().map(|name| name.value.clone()).collect(),
        None => song.sections.iter().map(|section| section.name.value.clone()).collect(),
    }
}

/// Each section once, in the order in which they come first; more than once where it is heard in several keys. Those
/// that tonight's order lacks stand at the end.
pub(super) fn parts(entry: &Entry, song: &Song, keys: &Keys) -> Vec<Part> {
    let order = order(entry, song);
    let mut lift = 0;
    let mut first: Vec<Coming> = Vec::new();
    let mut places: BTreeMap<Coming, Vec<usize>> = BTreeMap::new();
    for (place, name) in order.iter().enumerate() {
        let Some(section) = song.sections.iter().position(|section| section.name.value == *name) else { continue };
        lift = song.lift_of(section).unwrap_or(lift);
        let coming = Coming { section, lift };
        if !first.contains(&coming) {
            first.push(coming);
        }
        places.entry(coming).or_default().push(place + 1);
    }
    for section in 0..song.sections.len() {
        if !first.iter().any(|coming| coming.section == section) {
            first.push(Coming { section, lift: song.lift_of(section).unwrap_or(0) });
        }
    }
    first.iter().filter_map(|coming| part(song, keys, *coming, places.get(coming), order.len())).collect()
}

fn part(song: &Song, keys: &Keys, coming: Coming, places: Option<&Vec<usize>>, of: usize) -> Option<Part> {
    let section = song.sections.get(coming.section)?;
    let moved = Moved::new(keys, coming.lift);
    let mut aside = vec![match places {
        None => "not in tonight's order".to_owned(),
        Some(places) => {
            let places: Vec<String> = places.iter().map(usize::to_string).collect();
            let word = if places.len() == 1 { "place" } else { "places" };
            format!("{word} {} of {of}", places.join(", "))
        }
    }];
    if coming.lift != 0 {
        aside.push(match keys.sounding {
            true => format!("fingers and room in {}", moved.room),
            false => format!("room in {}", moved.room),
        });
    }
    let bars = song.chords_of(coming.section).unwrap_or_default();
    let bars = bars.iter().map(|bar| bar.iter().map(|chord| moved.chord(*chord)).collect()).collect();
    Some(Part { name: section.name.value.clone(), aside, remark: section.remark.clone(), bars })
}

/// How a chart's chords move to the fingers and to the room.
struct Moved {
    chart: Key,
    fingers: Key,
    room: Key,
    to_room: i32,
}

impl Moved {
    fn new(keys: &Keys, lift: i32) -> Moved {
        let room = keys.tonight.transposed(lift);
        let fingers = if keys.sounding { room } else { keys.play_in };
        Moved { chart: keys.chart, fingers, room, to_room: keys.chart.nearest_way(keys.tonight) + lift }
    }

    fn chord(&self, chord: Chord) -> Chords {
        let to_fingers = self.chart.nearest_way(self.fingers);
        let fingers = chord.moved(to_fingers, self.fingers).to_string();
        let room = chord.moved(self.to_room, self.room).to_string();
        Chords { room: if room == fingers { String::new() } else { room }, fingers }
    }
}
