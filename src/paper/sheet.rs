//! What stands on a sheet: its blocks in order, which `html.rs` and `pages.rs` write each in its way.

use super::drawing::Keyboard;
use super::plot::Plot;

/// What stands on paper about the whole set, a song or a pause.
#[derive(Debug, Clone)]
pub(super) struct Sheet {
    /// Its title.
    pub title: String,
    /// The number by which other machines choose it, beside the title.
    pub number: Option<u8>,
    /// The title of the set.
    pub set: String,
    /// Its position in the set, such as `3 of 13`; of the front page, what it is.
    pub place: String,
    pub blocks: Vec<Block>,
}

/// A part of a sheet.
#[derive(Debug, Clone)]
pub(super) enum Block {
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
pub(super) struct PrintedKeys {
    pub fingers: String,
    pub room: String,
    pub chart: String,
    /// Semitones from the fingers' key to the room's.
    pub shift: i32,
    pub tempo: Option<String>,
    pub meter: Option<String>,
}

/// What is printed beside the usual.
#[derive(Debug, Clone, Copy, Default)]
pub struct PaperOptions {
    /// The chords of each section also as degrees of the key.
    pub degrees: bool,
}

/// A section as it comes tonight.
#[derive(Debug, Clone)]
pub(super) struct PrintedSection {
    pub name: String,
    /// What is said beside the name: its places in the order, the keys where they are new.
    pub aside: Vec<String>,
    pub remark: Option<String>,
    pub bars: Vec<Vec<Chords>>,
    /// The same chords as degrees, in one line.
    pub degrees: String,
}

/// A chord, as it is gripped and as it is heard.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Chords {
    pub fingers: String,
    /// Nothing where it is the same.
    pub room: String,
}

/// A column of a table.
#[derive(Debug, Clone, Copy)]
pub(super) struct Column {
    /// What it is called.
    pub head: &'static str,
    /// Its share of the width.
    pub share: f64,
    /// Whether the first line of each cell is bold.
    pub bold: bool,
    /// Whether something is to be written into it by hand.
    pub to_write: bool,
}

/// A column in usual letters.
pub(super) fn plain(head: &'static str, share: f64) -> Column {
    Column { head, share, bold: false, to_write: false }
}

/// A column that is looked for first.
pub(super) fn bold(head: &'static str, share: f64) -> Column {
    Column { head, share, bold: true, to_write: false }
}

/// A column that is written into by hand.
pub(super) fn to_write(head: &'static str, share: f64) -> Column {
    Column { head, share, bold: false, to_write: true }
}

/// A table with a heading over each column.
#[derive(Debug, Clone)]
pub(super) struct Table {
    pub columns: Vec<Column>,
    /// What stands in each row; each cell a list of lines.
    pub rows: Vec<Vec<Vec<String>>>,
}

/// Semitones with their sign, as they are printed.
pub(super) fn signed(semitones: i32) -> String {
    match semitones {
        0 => "0".to_owned(),
        1.. => format!("+{semitones}"),
        _ => format!("−{}", semitones.unsigned_abs()),
    }
}

/// Quarter notes a minute, with a decimal where there is one.
pub(super) fn tempo(tempo: f64) -> String {
    format!("{}", (tempo * 10.0).round() / 10.0)
}
