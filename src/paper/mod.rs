//! The set on paper: what a substitute needs to play it. A front page for the whole, then a sheet for each song and each
//! pause, as one file of HTML and one of PDF.
//!
//! A [`Sheet`] is a list of blocks, which `html.rs` and `pages.rs` write each in its way; `sizes.rs` says how large
//! letters are in both. All is black on white.

mod chords;
pub mod drawing;
mod face;
mod flow;
mod fonts;
mod front;
mod html;
mod pages;
mod pause;
mod pdf;
mod plot;
mod rows;
pub(crate) mod shape;
mod sizes;
mod song;
mod text_width;
mod typeset;

pub use fonts::{FontError, Fonts};
pub use pdf::{MissingLetter, Pdf};

use drawing::Keyboard;
use plot::Plot;

use crate::evening::number_of;
use crate::map::Book;

/// The set on paper.
#[derive(Debug, Clone)]
pub struct Paper {
    /// The title of the set.
    title: String,
    /// The front page, then the songs and pauses in order.
    sheets: Vec<Sheet>,
}

impl Paper {
    /// A set, whose file is called so.
    #[must_use]
    pub fn of(book: &Book, file: &str) -> Paper {
        let entries = (0..book.set.entries.len()).filter_map(|place| Sheet::of_entry(book, place));
        let sheets = std::iter::once(Sheet::front(book, file)).chain(entries).collect();
        Paper { title: book.set.title.clone(), sheets }
    }

    /// How many sheets there are, the front page among them.
    #[must_use]
    pub fn sheets(&self) -> usize {
        self.sheets.len()
    }
}

/// What stands on paper about the whole set, a song or a pause.
#[derive(Debug, Clone)]
struct Sheet {
    /// Its title.
    title: String,
    /// The number by which other machines choose it, beside the title.
    number: Option<u8>,
    /// The title of the set.
    set: String,
    /// Its position in the set, such as `3 of 13`; of the front page, what it is.
    place: String,
    blocks: Vec<Block>,
}

impl Sheet {
    /// The sheet of a song or a pause, by its place from 0.
    fn of_entry(book: &Book, place: usize) -> Option<Sheet> {
        let entry = book.set.entries.get(place)?;
        let blocks = match entry.song.and_then(|song| book.songs.get(song)) {
            Some(song) => song::blocks(book, (place, entry), song),
            None => pause::blocks(book, (place, entry)),
        };
        Some(Sheet {
            title: crate::evening::title(book, entry).to_owned(),
            number: number_of(book, place),
            set: book.set.title.clone(),
            place: format!("{} of {}", place + 1, book.set.entries.len()),
            blocks,
        })
    }
}

/// A part of a sheet.
#[derive(Debug, Clone)]
enum Block {
    /// The keys, tempo and meter of the song.
    Keys(PrintedKeys),
    /// A word and what it is about: `order`, `remark`.
    Fact(&'static str, String),
    /// A heading over what follows.
    Heading(String),
    /// What is to be known of what follows.
    Note(String),
    /// A section with its chords.
    Section(PrintedSection),
    /// A keyboard.
    Keyboard(Keyboard),
    /// A table.
    Table(Table),
    /// Touches.
    Plots(Vec<Plot>),
}

/// The three keys and what goes with them.
#[derive(Debug, Clone)]
struct PrintedKeys {
    fingers: String,
    room: String,
    chart: String,
    /// Semitones from the fingers' key to the room's.
    shift: i32,
    tempo: Option<String>,
    meter: Option<String>,
}

/// A section as it comes tonight.
#[derive(Debug, Clone)]
struct PrintedSection {
    name: String,
    /// What is said beside the name: its places in the order, the keys where they are new.
    aside: Vec<String>,
    remark: Option<String>,
    bars: Vec<Vec<Chords>>,
}

/// A chord, as it is gripped and as it is heard.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Chords {
    fingers: String,
    /// Nothing where it is the same.
    room: String,
}

/// A column of a table.
#[derive(Debug, Clone, Copy)]
struct Column {
    /// What it is called.
    head: &'static str,
    /// Its share of the width.
    share: f64,
    /// Whether the first line of each cell is bold.
    bold: bool,
    /// Whether something is to be written into it by hand.
    to_write: bool,
}

/// A column in usual letters.
fn plain(head: &'static str, share: f64) -> Column {
    Column { head, share, bold: false, to_write: false }
}

/// A column that is looked for first.
fn bold(head: &'static str, share: f64) -> Column {
    Column { head, share, bold: true, to_write: false }
}

/// A column that is written into by hand.
fn to_write(head: &'static str, share: f64) -> Column {
    Column { head, share, bold: false, to_write: true }
}

/// A table with a heading over each column.
#[derive(Debug, Clone)]
struct Table {
    columns: Vec<Column>,
    /// What stands in each row; each cell a list of lines.
    rows: Vec<Vec<Vec<String>>>,
}

/// Semitones with their sign, as they are printed.
fn signed(semitones: i32) -> String {
    match semitones {
        0 => "0".to_owned(),
        1.. => format!("+{semitones}"),
        _ => format!("−{}", semitones.unsigned_abs()),
    }
}

/// Quarter notes a minute, with a decimal where there is one.
fn tempo(tempo: f64) -> String {
    format!("{}", (tempo * 10.0).round() / 10.0)
}
