//! The song that the keys play: its sections with their chords, for the fingers and for the room.

use serde::Serialize;

use crate::daemon::Show;
use crate::daemon::state::{fingers, playing, sounding};
use crate::engine::{Keys, Snapshot, Standing};
use crate::map::Song;
use crate::music::{Chord, Key};
use crate::stand::drawing::{Keyboard, Now};
use crate::stand::words::zones;

/// Bars, each with its chords.
type Bars = Vec<Vec<String>>;

/// The song.
#[derive(Debug, Default, PartialEq, Serialize)]
pub(in crate::stand) struct SongFrame {
    place: Option<usize>,
    title: Option<String>,
    tempo: Option<f64>,
    meter: Option<(u8, u8)>,
    /// Whether it has a drone.
    drone: bool,
    sections: Vec<SectionFrame>,
    /// Tonight's order, as indices into `sections`.
    order: Vec<usize>,
    zones: Vec<ZoneFrame>,
    keyboards: Vec<KeyboardFrame>,
}

#[derive(Debug, PartialEq, Serialize)]
struct SectionFrame {
    name: String,
    remark: Option<String>,
    fingers: Bars,
    room: Bars,
}

#[derive(Debug, PartialEq, Serialize)]
struct ZoneFrame {
    name: String,
    /// What the desk calls its sound, or the sound's name.
    goes: String,
    /// Number of the output, from 0.
    output: Option<usize>,
    /// From 1.
    channel: Option<u8>,
}

#[derive(Debug, PartialEq, Serialize)]
pub(in crate::stand) struct KeyboardFrame {
    pub input: String,
    pub svg: String,
}

/// The key that the fingers play in, and the one that the room hears, where the set stands.
pub(super) fn keys_of(keys: &Keys, standing: &Standing) -> (Key, Key) {
    let room = sounding(keys, standing);
    (fingers(keys, room, standing), room)
}

impl SongFrame {
    /// The song where the set stands; before the first song, none.
    pub fn of(show: &Show, snapshot: &Snapshot) -> SongFrame {
        let standing = &snapshot.standing;
        let on = &|zone| snapshot.zone_is_on(zone);
        let (Some(here), Some((entry, song))) = (standing.song, playing(show, standing)) else {
            return SongFrame::default();
        };
        let keys = Keys::of(&show.book, entry, song);
        let places = 0..show.plan.order_length(here);
        let order: Vec<usize> = match song.sections.len() {
            0 => Vec::new(),
            _ => places.filter_map(|place| show.plan.section_at(here, place)).collect(),
        };
        let sections = (0..song.sections.len()).map(|section| {
            let room = room_of(song, &keys, &order, section, standing);
            one(song, section, keys.chart, fingers(&keys, room, standing), room)
        });
        SongFrame {
            place: Some(here + 1),
            title: Some(show.plan.title(here).to_owned()),
            tempo: song.tempo,
            meter: song.meter,
            drone: song.drone.is_some(),
            sections: sections.collect(),
            zones: zone_frames(show, song),
            keyboards: keyboards(show, song, &keys, Now { section: standing.section, on }),
            order,
        }
    }
}

/// The key in which the room hears a section: the one where the set stands as it is, another one as it comes next in
/// tonight's order, else as it came last.
fn room_of(song: &Song, keys: &Keys, order: &[usize], section: usize, standing: &Standing) -> Key {
    if section == standing.section {
        return sounding(keys, standing);
    }
    let mut lift = 0;
    let lifts: Vec<(usize, i32)> = order
        .iter()
        .map(|section| {
            lift = song.lift_of(*section).unwrap_or(lift);
            (*section, lift)
        })
        .collect();
    let next = lifts.iter().skip(standing.place).chain(lifts.iter().rev()).find(|(known, _)| *known == section);
    let aside = || song.lift_of(section).or_else(|| lifts.get(standing.place).map(|(_, lift)| *lift));
    let lift = next.map(|(_, lift)| *lift).or_else(aside).unwrap_or(0);
    let tonic = (i32::from(keys.tonight.tonic()) + lift + standing.added).rem_euclid(12) as u8;
    sounding(keys, &Standing { tonic, ..*standing })
}

fn one(song: &Song, section: usize, chart: Key, fingers: Key, room: Key) -> SectionFrame {
    let bars = song.chords_of(section).unwrap_or_default();
    let here = song.sections.get(section);
    SectionFrame {
        name: here.map_or_else(String::new, |section| section.name.value.clone()),
        remark: here.and_then(|section| section.remark.clone()),
        fingers: moved(bars, chart, fingers),
        room: moved(bars, chart, room),
    }
}

/// Chords of the chart in another key.
fn moved(bars: &[Vec<Chord>], chart: Key, to: Key) -> Bars {
    let way = chart.nearest_way(to);
    bars.iter().map(|bar| bar.iter().map(|chord| chord.moved(way, to).to_string()).collect()).collect()
}

fn zone_frames(show: &Show, song: &Song) -> Vec<ZoneFrame> {
    let gear = &show.book.gear;
    let zones = song.zones.iter().map(|zone| {
        let sound = gear.sound(&zone.sound.value);
        ZoneFrame {
            name: zone.name.clone(),
            goes: sound.and_then(|sound| sound.label.clone()).unwrap_or_else(|| zone.sound.value.clone()),
            output: sound.and_then(|sound| gear.output_of(sound)),
            channel: sound.map(|sound| sound.channel.number()),
        }
    });
    zones.collect()
}

/// The drawings of the keyboards that tell something about the song, as they are now.
fn keyboards(show: &Show, song: &Song, keys: &Keys, now: Now<'_>) -> Vec<KeyboardFrame> {
    let drawn = zones::worth_drawing(&show.book, song).map(|input| KeyboardFrame {
        input: input.name.value.clone(),
        svg: Keyboard::of(&show.book, song, keys, input, Some(now)).svg(),
    });
    drawn.collect()
}
