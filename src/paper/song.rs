//! The sheet of a song.

use super::plot::Plot;
use super::sheet::{Block, PaperOptions, PrintedKeys, Table, bold, plain, tempo};
use super::{chords, rows};
use crate::evening::{self, Order, chord_on, listens, title};
use crate::map::{Book, Entry, Input, Song};
use crate::music::Speller;
use crate::music::chord::ChordKind;
use crate::paper::drawing::Keyboard;
use crate::wording::{listed, paper as words, zones};

/// What stands on the sheet of a song, at its place in the set from 0.
pub(super) fn blocks(book: &Book, (place, entry): (usize, &Entry), song: &Song, options: PaperOptions) -> Vec<Block> {
    let keys = evening::Keys::of(book, entry, song);
    let mut blocks = vec![Block::Keys(PrintedKeys {
        fingers: keys.play_in.to_string(),
        room: keys.tonight.to_string(),
        chart: keys.chart.to_string(),
        shift: keys.shift,
        tempo: song.tempo.map(tempo),
        meter: song.meter.map(|(beats, value)| format!("{beats}/{value}")),
    })];
    blocks.extend(facts(book, entry, song));
    blocks.extend(next(book, place));
    blocks.extend(sections(book, entry, song, &keys, options));
    blocks.extend(hands(book, song, &keys));
    blocks.extend(touches(book, song));
    blocks.extend(others(book, entry, song, &keys));
    blocks
}

/// What comes after this place.
pub(super) fn next(book: &Book, place: usize) -> Option<Block> {
    let entry = book.set.entries.get(place + 1)?;
    let title = title(book, entry);
    let said = match entry.song.and_then(|song| book.songs.get(song)) {
        None => format!("{title} (a pause)"),
        Some(song) => {
            let keys = evening::Keys::of(book, entry, song);
            format!("{title}; room {}, fingers {}", keys.tonight, keys.play_in)
        }
    };
    Some(Block::Fact("then", said))
}

fn facts(book: &Book, entry: &Entry, song: &Song) -> Vec<Block> {
    let mut facts = Vec::new();
    if title(book, entry) != song.title.value {
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

fn sections(book: &Book, entry: &Entry, song: &Song, keys: &evening::Keys, options: PaperOptions) -> Vec<Block> {
    let parts = chords::parts(book, entry, song, keys);
    let mut blocks = Vec::new();
    if parts.iter().flat_map(|part| &part.bars).flatten().any(|chord| !chord.room.is_empty()) {
        let words = format!("large: for the fingers, in {}; small: for the room", keys.play_in);
        blocks.push(Block::Note(words));
    }
    for part in parts {
        let degrees = Some(&part.degrees).filter(|degrees| options.degrees && !degrees.is_empty());
        let line = degrees.map(|degrees| Block::Note(words::degrees(degrees)));
        blocks.push(Block::Section(part));
        blocks.extend(line);
    }
    blocks
}

/// What lies under the hands: keyboards, zones, and what one finger plays.
fn hands(book: &Book, song: &Song, keys: &evening::Keys) -> Vec<Block> {
    let mut blocks = Vec::new();
    // An optional one may be played tonight.
    let played = book.gear.inputs.iter().filter(|input| input.play);
    let drawn: Vec<Keyboard> = played.map(|input| Keyboard::of(book, song, keys, input, None)).collect();
    let fits = drawn.iter().flat_map(|keyboard| &keyboard.fits);
    let (some, not_always) = (fits.clone().next().is_some(), fits.clone().any(|fit| !fit.always));
    blocks.extend(drawn.into_iter().map(Block::Keyboard));
    if some {
        let hollow = if not_always { "; a ring: it fits in some sections only" } else { "" };
        blocks.push(Block::Note(format!("a dot: the key fits where a zone stays in key{hollow}")));
    }
    blocks.push(Block::Table(rows::of_zones(book, song, keys)));
    if song.zones.iter().any(|zone| zone.one_key_chord) {
        let speller = Speller::from(keys.play_in);
        let key = |class: u8| vec![speller.tone(class).to_string()];
        // A key that plays its root and fifth is one of those without a name.
        let chord = |class: u8| {
            let chord = chord_on(song, keys.play_in, class);
            if chord.kind() == ChordKind::Fifth { Vec::new() } else { vec![chord.to_string()] }
        };
        let labelled = |label: &str, cells: &dyn Fn(u8) -> Vec<String>| {
            [vec![label.to_owned()]].into_iter().chain((0..12).map(cells)).collect()
        };
        let rows = vec![labelled("one finger on", &key), labelled("plays", &chord)];
        let columns = [plain("", 0.13)].into_iter().chain([bold("", 0.87 / 12.0); 12]).collect();
        blocks.push(Block::Table(Table { columns, rows }));
    }
    blocks
}

/// The touches: of the inputs that play, then of the zones that change something.
fn touches(book: &Book, song: &Song) -> Vec<Block> {
    let mut plots: Vec<Plot> = Vec::new();
    let listened = |input: &&Input| song.zones.iter().any(|zone| listens(zone, input));
    for input in book.gear.inputs.iter().filter(|input| input.play).filter(listened) {
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
        false => vec![Block::Plots(plots)],
    }
}

/// What else happens: cues, and what entering and leaving do.
fn others(book: &Book, entry: &Entry, song: &Song, keys: &evening::Keys) -> Vec<Block> {
    let mut tables = Vec::new();
    // Those of every song stand on the front page.
    if !song.cues.is_empty() {
        tables.push(rows::of_cues(book, song.cues.iter(), keys.tonight));
    }
    tables.extend(rows::of_deeds(entry, song, keys.tonight));
    tables.into_iter().map(Block::Table).collect()
}
