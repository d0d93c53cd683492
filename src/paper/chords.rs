//! The sections of a song as they come tonight, with their chords at both keys (rule R5).

use std::collections::BTreeMap;

use super::rows::of_curve;
use super::sheet::{Chords, PrintedSection, tempo};
use crate::evening::{Keys, Order, OrderStep, chords_of, curve_of, lift, own_lift, tempo_of};
use crate::map::{Book, Entry, Song};
use crate::music::chord::Bar;
use crate::music::{Key, degree};

/// A section under what a section key adds.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
struct Coming {
    section: usize,
    lift: i32,
}

/// Each section once, in the order in which they come first; more than once where it is heard in several keys. Those
/// that tonight's order lacks stand at the end.
pub(super) fn parts(book: &Book, entry: &Entry, song: &Song, keys: &Keys) -> Vec<PrintedSection> {
    let steps = Order::of(entry, song).steps;
    let mut first: Vec<Coming> = Vec::new();
    let mut ordinals: BTreeMap<Coming, Vec<usize>> = BTreeMap::new();
    for (index, OrderStep { section, lift, .. }) in steps.iter().enumerate() {
        let Some(section) = *section else { continue };
        let coming = Coming { section, lift: *lift };
        if !first.contains(&coming) {
            first.push(coming);
        }
        ordinals.entry(coming).or_default().push(index + 1);
    }
    for section in 0..song.sections.len() {
        if !first.iter().any(|coming| coming.section == section) {
            first.push(Coming { section, lift: lift(own_lift(song, section), 0) });
        }
    }
    first.iter().filter_map(|coming| part((book, song), keys, *coming, ordinals.get(coming), steps.len())).collect()
}

fn part(
    (book, song): (&Book, &Song),
    keys: &Keys,
    coming: Coming,
    ordinals: Option<&Vec<usize>>,
    of: usize,
) -> Option<PrintedSection> {
    let section = song.sections.get(coming.section)?;
    let room = keys.room_at(coming.lift, 0);
    let fingers = keys.fingers(room, 0);
    let mut aside = vec![match ordinals {
        None => "not in tonight's order".to_owned(),
        Some(ordinals) => {
            let ordinals: Vec<String> = ordinals.iter().map(usize::to_string).collect();
            let word = if ordinals.len() == 1 { "step" } else { "steps" };
            format!("{word} {} of {of}", ordinals.join(", "))
        }
    }];
    if coming.lift != 0 {
        aside.push(match keys.sounding {
            true => format!("fingers and room in {room}"),
            false => format!("room in {room}"),
        });
    }
    if tempo_of(song, coming.section) != song.tempo {
        aside.extend(tempo_of(song, coming.section).map(|own| format!("♩ = {}", tempo(own))));
    }
    aside.extend(curve_of(song, coming.section).map(|curve| format!("touch {}", of_curve(book, curve))));
    let both = |(fingers, room): (String, String)| Chords {
        room: if room == fingers { String::new() } else { room },
        fingers,
    };
    let bar = |bar: &Bar| {
        let told = |key: Key| bar.written(move |chord| keys.chord_in(key, chord).to_string());
        told(fingers).zip(told(room)).map(both).collect()
    };
    let chords = chords_of(song, coming.section);
    let degrees = |bar: &Bar| bar.written(|chord| degree(chord, keys.chart)).collect::<Vec<_>>().join(" ");
    Some(PrintedSection {
        name: section.name.value.clone(),
        aside,
        remark: section.remark.clone(),
        bars: chords.iter().map(bar).collect(),
        degrees: chords.iter().map(degrees).collect::<Vec<_>>().join(" | "),
    })
}
