//! The song that the keys play: its sections with their chords, for the fingers and for the room.

use serde::Serialize;

use crate::daemon::Show;
use crate::engine::Snapshot;
use crate::evening::{Keys, Order, Standing, chords_of, worth_drawing};
use crate::map::Song;
use crate::music::chord::Bar;
use crate::music::{Key, note};
use crate::paper::drawing::{Keyboard, Now};

/// Bars, each with its chords.
type Bars = Vec<Vec<String>>;

/// The song.
#[derive(Debug, Default, PartialEq, Serialize)]
pub(in crate::page) struct SongFrame {
    position: Option<usize>,
    title: Option<String>,
    remark: Option<String>,
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
    /// Level in dB, and octave.
    level: f64,
    octave: i32,
    /// Its lowest and highest key, as pressed.
    keys: [String; 2],
    linger: &'static str,
    /// Whether it is on as the song is entered.
    starts: bool,
    /// Number of the output, from 0.
    output: Option<usize>,
    /// From 1.
    channel: Option<u8>,
}

#[derive(Debug, PartialEq, Serialize)]
pub(in crate::page) struct KeyboardFrame {
    pub input: String,
    pub svg: String,
}

impl SongFrame {
    /// The song where the set stands; before the first song, none.
    pub fn of(show: &Show, snapshot: &Snapshot) -> SongFrame {
        let standing = &snapshot.standing;
        let on = &|zone| snapshot.zone_is_on(zone);
        let (Some(here), Some((entry, song))) = (standing.song, standing.playing(&show.book)) else {
            return SongFrame::default();
        };
        let keys = Keys::of(&show.book, entry, song);
        let order = Order::of(entry, song);
        let sections = (0..song.sections.len()).map(|section| {
            let room = room_of(&keys, &order, section, standing);
            one(song, section, &keys, keys.fingers(room, standing.transposed), room)
        });
        SongFrame {
            position: Some(here + 1),
            title: Some(show.plan.title(here).to_owned()),
            remark: song.remark.clone(),
            tempo: song.tempo,
            meter: song.meter,
            drone: song.drone.is_some(),
            sections: sections.collect(),
            zones: zone_frames(show, song),
            keyboards: keyboards(show, song, &keys, Now { standing, on }),
            order: order.sections().collect(),
        }
    }
}

/// The room's key in a section: the one where the set stands as it is, another one as it comes next in tonight's order,
/// else as it came last.
fn room_of(keys: &Keys, order: &Order<'_>, section: usize, standing: &Standing) -> Key {
    match section == standing.section {
        true => keys.room(standing.tonic),
        false => keys.room_at(order.lift_seen_from(standing.order_step, section), standing.transposed),
    }
}

fn one(song: &Song, section: usize, keys: &Keys, fingers: Key, room: Key) -> SectionFrame {
    let bars = |key: Key| -> Bars {
        let bar = |bar: &Bar| bar.written(|chord| keys.chord_in(key, chord).to_string()).collect();
        chords_of(song, section).iter().map(bar).collect()
    };
    let here = song.sections.get(section);
    SectionFrame {
        name: here.map_or_else(String::new, |section| section.name.value.clone()),
        remark: here.and_then(|section| section.remark.clone()),
        fingers: bars(fingers),
        room: bars(room),
    }
}

fn zone_frames(show: &Show, song: &Song) -> Vec<ZoneFrame> {
    let gear = &show.book.gear;
    let zones = song.zones.iter().map(|zone| {
        let sound = gear.sound(&zone.sound.value);
        ZoneFrame {
            name: zone.name.clone(),
            goes: sound.and_then(|sound| sound.label.clone()).unwrap_or_else(|| zone.sound.value.clone()),
            level: zone.level,
            octave: zone.octave,
            keys: [zone.keys.value.0, zone.keys.value.1].map(|key| note::name(key, 4)),
            linger: zone.linger.word(),
            starts: zone.on,
            output: sound.and_then(|sound| gear.output_of(sound)),
            channel: sound.map(|sound| sound.channel.number()),
        }
    });
    zones.collect()
}

/// The drawings of the keyboards that tell something about the song, as they are now.
fn keyboards(show: &Show, song: &Song, keys: &Keys, now: Now<'_>) -> Vec<KeyboardFrame> {
    let drawn = worth_drawing(&show.book, song).map(|input| KeyboardFrame {
        input: input.name.value.clone(),
        svg: Keyboard::of(&show.book, song, keys, input, Some(now)).svg(),
    });
    drawn.collect()
}
