//! `handspan print`: the set and its songs on paper.

use std::fs;
use std::io::Write;
use std::path::Path;

use tempfile::NamedTempFile;

use super::render::open_to_all;
use super::{Failure, maps, tell};
use crate::stand::sheet::{Fonts, Sheet};

pub(super) const HELP: &str = "Each song, and the set, become one HTML file, and SVG and PNG pages (A4).\n\nExamples:\n  \
    handspan print maps/midwinter.toml --out paper\n  handspan print midwinter.toml --out paper-for-the-substitute";

pub(super) fn run(set: &str, out: &Path) -> Result<(), Failure> {
    let book = maps::load_sound(set)?;
    fs::create_dir_all(out).map_err(|error| unwritable(out, &error))?;
    let songs = (0..book.set.entries.len()).filter_map(|place| Sheet::of_song(&book, place));
    let fonts = Fonts::of_system();
    let mut unpictured = fonts.as_ref().err().map(|why| format!("{why}"));
    for sheet in songs.chain([Sheet::of_set(&book)]) {
        let stem = &sheet.stem;
        write(out, &format!("{stem}.html"), sheet.html().as_bytes())?;
        let pages = sheet.svg();
        let mut kinds = vec!["html", "svg"];
        for (number, svg) in pages.iter().enumerate() {
            let name = if number == 0 { stem.clone() } else { format!("{stem}-{}", number + 1) };
            write(out, &format!("{name}.svg"), svg.as_bytes())?;
            match fonts.as_ref().map_err(Clone::clone).and_then(|fonts| fonts.png(svg)) {
                Ok(png) => write(out, &format!("{name}.png"), &png)?,
                Err(why) => unpictured = Some(why.to_string()),
            }
        }
        if unpictured.is_none() {
            kinds.push("png");
        }
        let of_pages = if pages.len() == 1 { "1 page".to_owned() } else { format!("{} pages", pages.len()) };
        tell(&format!("{}  {} ({of_pages})", out.join(stem).display(), kinds.join(", ")));
    }
    match unpictured {
        Some(why) => Err(Failure::Undone(format!(
            "There are no PNG pages, or not all: {why}. The HTML and SVG files are written and whole."
        ))),
        None => Ok(()),
    }
}

fn unwritable(folder: &Path, error: &dyn std::fmt::Display) -> Failure {
    let folder = folder.display();
    Failure::Wrong(format!(
        "nothing can be written into {folder} ({error}): give --out a folder that you may write to."
    ))
}

/// Writes a file whole or not at all.
///
/// # Errors
/// It cannot be written, in a sentence.
fn write(folder: &Path, name: &str, bytes: &[u8]) -> Result<(), Failure> {
    let written = NamedTempFile::new_in(folder).and_then(|mut passing| {
        passing.write_all(bytes)?;
        passing.as_file().sync_all()?;
        open_to_all(passing.path());
        passing.persist(folder.join(name)).map_err(|error| error.error)
    });
    written.map(|_| ()).map_err(|error| unwritable(folder, &format!("{name}: {error}")))
}
