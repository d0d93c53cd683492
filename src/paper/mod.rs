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
mod sheet;
mod sizes;
mod song;
mod text_width;
mod typeset;

pub use fonts::{FontError, Fonts};
pub use pdf::{MissingLetter, Pdf};

pub use sheet::PaperOptions;
use sheet::Sheet;

use crate::evening::{number_of, title};
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
    pub fn of(book: &Book, file: &str, options: PaperOptions) -> Paper {
        let entries = (0..book.set.entries.len()).filter_map(|place| of_entry(book, place, options));
        let sheets = std::iter::once(Sheet::front(book, file)).chain(entries).collect();
        Paper { title: book.set.title.clone(), sheets }
    }

    /// How many sheets there are, the front page among them.
    #[must_use]
    pub fn sheets(&self) -> usize {
        self.sheets.len()
    }
}

/// The sheet of a song or a pause, by its place from 0.
fn of_entry(book: &Book, place: usize, options: PaperOptions) -> Option<Sheet> {
    let entry = book.set.entries.get(place)?;
    let blocks = match entry.song.and_then(|song| book.songs.get(song)) {
        Some(song) => song::blocks(book, (place, entry), song, options),
        None => pause::blocks(book, (place, entry)),
    };
    Some(Sheet {
        title: title(book, entry).to_owned(),
        number: number_of(book, place),
        set: book.set.title.clone(),
        place: format!("{} of {}", place + 1, book.set.entries.len()),
        blocks,
    })
}
