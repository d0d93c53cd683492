//! The front page: what a substitute plugs in, how the set is started and steered, and the songs with their keys.

use super::rows;
use super::sheet::{Block, Sheet, Table, bold, plain, signed, to_write};
use crate::evening::{Keys, number_of, title};
use crate::map::{Book, Cue, Does, Entry};
use crate::midi::Note;
use crate::music::{Key, note};
use crate::wording::paper::{self, STEERING, Steering};

impl Sheet {
    /// The front page of a set, whose file is called so.
    pub(super) fn front(book: &Book, file: &str) -> Sheet {
        let mut blocks: Vec<Block> =
            book.set.remark.iter().map(|remark| Block::Fact("remark", remark.clone())).collect();
        blocks.push(Block::Heading("Plug in and connect".to_owned()));
        blocks.push(Block::Table(rows::of_inputs(book)));
        blocks.push(Block::Table(rows::of_outputs(book)));
        blocks.push(Block::Heading(format!("Start: {}", paper::start(file))));
        blocks.push(Block::Note(paper::starting(file)));
        blocks.push(Block::Heading("Steer".to_owned()));
        blocks.push(Block::Table(steering(book)));
        blocks.push(Block::Heading("The songs".to_owned()));
        blocks.push(Block::Table(songs(book)));
        if !book.set.singers.is_empty() {
            blocks.push(Block::Table(singers(book)));
        }
        blocks.push(Block::Note(paper::EARS.to_owned()));
        let of = book.set.entries.len();
        let place = if of == 1 { "one entry".to_owned() } else { format!("{of} entries") };
        let set = "For who plays it".to_owned();
        Sheet { title: book.set.title.clone(), number: None, set, place, blocks }
    }
}

/// What can be done to the set: by pedals, keys and pads, in the terminal and on the page. Then the gear's other cues.
fn steering(book: &Book) -> Table {
    let word = |cue: &Cue| match &cue.does {
        Does::Act(action) => Some(action.word()),
        Does::Send { .. } => None,
    };
    let belongs = |cue: &Cue, row: &Steering| word(cue).is_some_and(|word| row.words.contains(&word));
    let by_hand = STEERING.iter().map(|row| {
        let cues = book.gear.cues.iter().filter(|cue| belongs(cue, row)).map(|cue| rows::comes(book, cue));
        vec![vec![row.what.to_owned()], cues.collect(), vec![row.keys.to_owned()], vec![row.page.to_owned()]]
    });
    let others = book.gear.cues.iter().filter(|cue| !STEERING.iter().any(|row| belongs(cue, row)));
    let others =
        others.map(|cue| vec![vec![rows::done_in_short(cue)], vec![rows::comes(book, cue)], Vec::new(), Vec::new()]);
    let columns = vec![
        bold("to do", 0.38),
        plain("by pedal, key, pad or message", 0.36),
        plain("terminal", 0.08),
        plain("on the page", 0.18),
    ];
    Table { columns, rows: by_hand.chain(others).collect() }
}

/// Songs and pauses in order.
fn songs(book: &Book) -> Table {
    let rows = book.set.entries.iter().enumerate().map(|(place, entry)| row(book, place, entry));
    let columns = vec![
        plain("", 0.05),
        bold("song", 0.33),
        bold("fingers", 0.08),
        plain("shift", 0.06),
        bold("room", 0.07),
        to_write("tonight", 0.09),
        plain("chart", 0.07),
        plain("sings, remark", 0.25),
    ];
    Table { columns, rows: rows.collect() }
}

fn row(book: &Book, place: usize, entry: &Entry) -> Vec<Vec<String>> {
    let said: Vec<String> =
        book.set.singers_of(entry).map(|(_, singer)| singer.called.clone()).chain(entry.remark.clone()).collect();
    let said = if said.is_empty() { Vec::new() } else { vec![said.join("; ")] };
    let number = number_of(book, place).map(|number| number.to_string()).into_iter().collect();
    let title = title(book, entry).to_owned();
    let Some(song) = entry.song.and_then(|song| book.songs.get(song)) else {
        let none = Vec::new;
        return vec![number, vec![format!("{title} (a pause)")], none(), none(), none(), none(), none(), said];
    };
    let keys = Keys::of(book, entry, song);
    let key = |key: Key| vec![key.to_string()];
    let shift = vec![signed(keys.shift)];
    vec![number, vec![title], key(keys.play_in), shift, key(keys.tonight), Vec::new(), key(keys.chart), said]
}

/// Who sings, and how high.
fn singers(book: &Book) -> Table {
    let range = |(low, high): (Note, Note)| format!("{}–{}", note::name(low, 4), note::name(high, 4));
    let rows = book.set.singers.iter().map(|singer| {
        let sung = book
            .set
            .entries
            .iter()
            .filter(|entry| book.set.singers_of(entry).any(|(_, other)| other.name.value == singer.name.value));
        let sung: Vec<&str> = sung.map(|entry| title(book, entry)).collect();
        let comfortable = singer.comfortable.map(range).into_iter().collect();
        vec![vec![singer.called.clone()], vec![sung.join(", ")], vec![range(singer.range)], comfortable]
    });
    let columns = vec![
        bold("who sings", 0.2),
        plain("which song", 0.48),
        plain("can reach", 0.16),
        plain("is comfortable in", 0.16),
    ];
    Table { columns, rows: rows.collect() }
}
