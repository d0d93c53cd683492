//! A song, or the set, on paper: what a substitute needs to play it, as one page of HTML and as pages of SVG and PNG.
//!
//! A [`Sheet`] is a list of blocks, which `html.rs` and `pages.rs` write each in its way. On paper, A4 upright, the
//! capitals of the fingers' chords are 7 mm high, of what the room hears 3.8 mm, of keys and title 9 mm, of everything
//! else 2.2 mm (small print in the keyboards and plots excepted). All is black on white.

mod chords;
pub mod drawing;
mod flow;
mod html;
mod pages;
mod picture;
mod plot;
mod rows;
mod song;
mod text_width;
mod whole;

pub use picture::{Fonts, PictureError};

use drawing::Keyboard;
use plot::Plot;

/// What stands on paper about a song or the set.
#[derive(Debug, Clone)]
pub struct Sheet {
    /// What its files are called, without page and ending: `01-snow-at-the-weir-gate`, `set`.
    pub stem: String,
    /// Its title.
    pub title: String,
    /// The title of the set.
    set: String,
    /// Its place in the set, such as `3 of 13`; of the set's sheet, what it is.
    place: String,
    blocks: Vec<Block>,
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
}

/// A column in usual letters.
fn plain(head: &'static str, share: f64) -> Column {
    Column { head, share, bold: false }
}

/// A column that is looked for first.
fn bold(head: &'static str, share: f64) -> Column {
    Column { head, share, bold: true }
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

/// A file's name from a place and a title: a to z, digits and hyphens.
fn stem(place: usize, of: usize, title: &str) -> String {
    const LONGEST: usize = 60;
    let digits = of.to_string().len().max(2);
    let mut name = format!("{place:0digits$}-");
    for letter in title.to_lowercase().chars() {
        match letter {
            'a'..='z' | '0'..='9' => name.push(letter),
            '\'' | '’' => {}
            _ if !name.ends_with('-') => name.push('-'),
            _ => {}
        }
        if name.len() >= LONGEST {
            break;
        }
    }
    name.trim_end_matches('-').to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn files_are_called_by_place_and_title() {
        assert_eq!(stem(1, 13, "Snow at the Weir Gate"), "01-snow-at-the-weir-gate");
        assert_eq!(stem(5, 13, "The Miller's Lantern"), "05-the-millers-lantern");
        assert_eq!(stem(7, 120, "Éa <&\"/..\\ 2"), "007-a-2");
        assert_eq!(stem(3, 9, "שלום ❄"), "03");
        assert!(stem(1, 1, &"la".repeat(400)).len() <= 60);
    }
}
