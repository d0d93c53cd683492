//! The sheet of one song.

use super::plot::Plot;
use super::{Block, PrintedKeys, Sheet, Table, chords, plain, rows, stem, tempo};
use crate::evening::{self, Order, chord_on, listens, title, worth_drawing};
use crate::map::{Book, Cue, Entry, Input, Song};
use crate::music::Speller;
use crate::music::chord::ChordKind;
use crate::paper::drawing::Keyboard;
use crate::wording::{listed, zones};

impl Sheet {
    /// The sheet of a song of the set, by its place from 0; `None` for a pause, which stands on the set's sheet.
    #[must_use]
    pub fn of_song(book: &Book, place: usize) -> Option<Sheet> {
        let entry = book.set.entries.get(place)?;
        let song = book.songs.get(entry.song?)?;
        let keys = evening::Keys::of(book, entry, song);
        let of = book.set.entries.len();
        let title = title(book, entry).to_owned();
        let mut blocks = vec![Block::Keys(PrintedKeys {
            fingers: keys.play_in.to_string(),
            room: keys.tonight.to_string(),
            chart: keys.chart.to_string(),
            shift: keys.shift,
            tempo: song.tempo.map(tempo),
            meter: song.meter.map(|(beats, value)| format!("{beats}/{value}")),
        })];
        blocks.extend(facts(book, entry, song, &title));
        blocks.extend(sections(book, entry, song, &keys));
        blocks.extend(hands(book, song, &keys));
        blocks.extend(touches(book, song));
        blocks.extend(others(book, entry, song, &keys));
        let place_words = format!("{} of {of}", place + 1);
        Some(Sheet {
            stem: stem(place + 1, of, &title),
            title,
            set: book.set.title.clone(),
            place: place_words,
            blocks,
        })
    }
}

fn facts(book: &Book, entry: &Entry, song: &Song, title: &str) -> Vec<Block> {
    let mut facts = Vec::new();
    if title != song.title.value {
        facts.push(Block::Fact("the map's title", song.title.value.clone()));
    }
    let singers: Vec<&str> = book.set.singers_of(entry).map(|(_, singer)| singer.called.as_str()).collect();
    if !singers.is_empty() {
        facts.push(Block::Fact("sings", listed(&singers)));
    }
    facts.extend(song.remark.as_ref().map(|remark| Block::Fact("the song", remark.clone())));
    facts.extend(entry.remark.as_ref().map(|remark| Block::Fact("remark", remark.clone())));
    let order = Order::of(entry, song);
    let order: Vec<&str> = order.sections().map(|section| song.sections[section].name.value.as_str()).collect();
    if !order.is_empty() {
        facts.push(Block::Fact("order", order.join(" · ")));
    }
    facts
}

fn sections(book: &Book, entry: &Entry, song: &Song, keys: &evening::Keys) -> Vec<Block> {
    let parts = chords::parts(book, entry, song, keys);
    let mut blocks = Vec::new();
    let mut moved = parts.iter().flat_map(|part| &part.bars).flatten().any(|chord| !chord.room.is_empty());
    if parts.iter().all(|part| part.bars.is_empty()) {
        moved = false;
    }
    if moved {
        let words = format!("large: for the fingers, in {}; small: for the room", keys.play_in);
        blocks.push(Block::Note(words));
    }
    blocks.extend(parts.into_iter().map(Block::Section));
    blocks
}

/// What lies under the hands: keyboards, zones, and what one finger plays.
fn hands(book: &Book, song: &Song, keys: &evening::Keys) -> Vec<Block> {
    let mut blocks = vec![Block::Heading("Under the hands".to_owned())];
    let drawn: Vec<Keyboard> =
        worth_drawing(book, song).map(|input| Keyboard::of(book, song, keys, input, None)).collect();
    let fits = drawn.iter().flat_map(|keyboard| &keyboard.fits);
    let (some, not_always) = (fits.clone().next().is_some(), fits.clone().any(|fit| !fit.always));
    blocks.extend(drawn.into_iter().map(Block::Keyboard));
    if some {
        let hollow = if not_always { "; a ring: it fits in some sections only" } else { "" };
        blocks.push(Block::Note(format!("a dot: the key fits where a zone stays in key{hollow}")));
    }
    blocks.push(Block::Table(rows::of_zones(book, song, keys)));
    if song.zones.iter().any(|zone| zone.one_key_chord) {
        blocks.push(Block::Heading(format!("One finger plays, in {}", keys.play_in)));
        let speller = Speller::from(keys.play_in);
        let key = |class: u8| vec![speller.tone(class).to_string()];
        // A key that plays its root and fifth is one of those without a name.
        let chord = |class: u8| {
            let chord = chord_on(song, keys.play_in, class);
            if chord.kind() == ChordKind::Fifth { Vec::new() } else { vec![chord.to_string()] }
        };
        let rows = vec![(0..12).map(key).collect(), (0..12).map(chord).collect()];
        let columns = vec![plain("", 1.0 / 12.0); 12];
        blocks.push(Block::Table(Table { columns, rows }));
    }
    blocks
}

/// The touches: of the inputs that play, then of the zones that change something.
fn touches(book: &Book, song: &Song) -> Vec<Block> {
    let mut plots: Vec<Plot> = Vec::new();
    let listened = |input: &&Input| song.zones.iter().any(|zone| listens(zone, input));
    for input in worth_drawing(book, song).filter(listened) {
        if let Some(curve) = &input.curve {
            let what = format!("all of it, before the zones; {}", rows::of_curve(book, curve));
            plots.push(Plot::new(&input.name.value, what, Some(curve), 0.0, (1, 127)));
        }
    }
    for zone in &song.zones {
        if zone.curve.is_none() && zone.level == 0.0 && zone.velocity.value == (1, 127) {
            continue;
        }
        let mut what: Vec<String> = zone.curve.as_ref().map(|curve| rows::of_curve(book, curve)).into_iter().collect();
        what.extend(zones::touch(zone));
        plots.push(Plot::new(&zone.name, what.join(", "), zone.curve.as_ref(), zone.level, zone.velocity.value));
    }
    match plots.is_empty() {
        true => Vec::new(),
        false => vec![
            Block::Heading("Touch: how hard a key is struck, how hard the sound is".to_owned()),
            Block::Plots(plots),
        ],
    }
}

/// What else happens: the drone, cues, and what entering and leaving do.
fn others(book: &Book, entry: &Entry, song: &Song, keys: &evening::Keys) -> Vec<Block> {
    let mut blocks = Vec::new();
    if let Some(drone) = &song.drone {
        blocks.push(Block::Heading("Drone".to_owned()));
        blocks.extend(zones::drones(book, drone, keys).into_iter().map(Block::Note));
    }
    let cues = book.cues_in(Some(song));
    if !cues.is_empty() {
        blocks.push(Block::Heading("Cues".to_owned()));
        let own = |cue: &Cue| if song.cues.iter().any(|own| std::ptr::eq(own, cue)) { "the song" } else { "the gear" };
        blocks.push(Block::Table(rows::of_cues(cues.into_iter(), keys.tonight, own)));
    }
    if let Some(deeds) = rows::of_deeds(entry, song, keys.tonight) {
        blocks.push(Block::Heading("On entering and leaving".to_owned()));
        blocks.push(Block::Table(deeds));
    }
    blocks
}
