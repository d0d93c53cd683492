//! The sheet of the set: the songs in order with their keys, and the gear.

use super::{Block, Sheet, Table, bold, plain, rows, signed};
use crate::evening::{Keys, Order, title};
use crate::map::{Book, Cue, Entry};
use crate::music::Key;

impl Sheet {
    /// The sheet of the whole set.
    #[must_use]
    pub fn of_set(book: &Book) -> Sheet {
        let remark = book.set.remark.clone().map(|remark| Block::Fact("remark", remark));
        let mut blocks: Vec<Block> = remark.into_iter().chain([Block::Table(songs(book))]).collect();
        blocks.push(Block::Heading("Inputs".to_owned()));
        blocks.push(Block::Table(rows::of_inputs(book)));
        blocks.push(Block::Heading("Outputs".to_owned()));
        blocks.push(Block::Table(rows::of_outputs(book)));
        if !book.gear.cues.is_empty() {
            blocks.push(Block::Heading("Cues in every song that has none of its own in their place".to_owned()));
            let key = book.songs.first().map(|song| song.key.value);
            let key = key.unwrap_or_else(|| Key::usual(0, false, true));
            blocks.push(Block::Table(rows::of_cues(book.gear.cues.iter(), key, |_: &Cue| "the gear")));
        }
        blocks.push(Block::Heading("Ears".to_owned()));
        blocks.push(Block::Note(
            "A level may jump when sounds change: turn monitors down before the line check and at a new map, and have \
             someone at the desk."
                .to_owned(),
        ));
        let of = book.set.entries.len();
        let place = if of == 1 { "one entry".to_owned() } else { format!("{of} entries") };
        let title = book.set.title.clone();
        Sheet { stem: "set".to_owned(), set: "The set".to_owned(), title, place, blocks }
    }
}

/// Songs and pauses in order.
fn songs(book: &Book) -> Table {
    let rows = book.set.entries.iter().enumerate().map(|(place, entry)| row(book, place, entry));
    let columns = vec![
        plain("", 0.05),
        bold("song", 0.33),
        bold("fingers", 0.09),
        plain("shift", 0.07),
        bold("room", 0.09),
        plain("chart", 0.08),
        plain("tempo", 0.11),
        plain("sings, remark", 0.18),
    ];
    Table { columns, rows: rows.collect() }
}

fn row(book: &Book, place: usize, entry: &Entry) -> Vec<Vec<String>> {
    let title = title(book, entry).to_owned();
    let said: Vec<String> =
        book.set.singers_of(entry).map(|(_, singer)| singer.called.clone()).chain(entry.remark.clone()).collect();
    let number = vec![(place + 1).to_string()];
    let none = Vec::new;
    let Some(song) = entry.song.and_then(|song| book.songs.get(song)) else {
        let mut title = vec![title, "a pause: the keys play what they played before".to_owned()];
        let key = book.songs.first().map_or(Key::usual(0, false, true), |song| song.key.value);
        title.extend(entry.on_entering.iter().map(|deed| rows::of_deed(deed, key)));
        return vec![number, title, none(), none(), none(), none(), none(), said];
    };
    let keys = Keys::of(book, entry, song);
    let sections = match Order::of(entry, song).sections().count() {
        0 => "no sections".to_owned(),
        1 => "1 section".to_owned(),
        many => format!("{many} sections"),
    };
    let mut beats: Vec<String> = song.tempo.map(|tempo| format!("♩ = {}", super::tempo(tempo))).into_iter().collect();
    beats.extend(song.meter.map(|(beats, value)| format!("{beats}/{value}")));
    let key = |key: Key| vec![key.to_string()];
    let shift = vec![signed(keys.shift)];
    vec![number, vec![title, sections], key(keys.play_in), shift, key(keys.tonight), key(keys.chart), beats, said]
}
