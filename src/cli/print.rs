//! `handspan print`: the set and its songs on paper.

use std::fs;
use std::io::Write;
use std::path::Path;

use tempfile::NamedTempFile;

use super::console::{Failure, tell};
use super::maps;
use super::replay::open_to_all;
use crate::map::Book;
use crate::paper::{Fonts, PictureError, Sheet};

pub(super) const HELP: &str = "Each song, and the set, become one HTML file, and SVG and PNG pages (A4).\n\nExamples:\n  \
    handspan print maps/midwinter.toml --out paper\n  handspan print midwinter.toml --out paper-for-the-substitute";

pub(super) fn run(set: &str, out: &Path) -> Result<(), Failure> {
    write_all(&maps::load_sound(set)?, out, &Fonts::of_system())
}

/// Writes all sheets of a set; those in letters only where there are no fonts for pictures.
///
/// # Errors
/// A file cannot be written, or there are no pictures, in a sentence.
fn write_all(book: &Book, out: &Path, fonts: &Result<Fonts, PictureError>) -> Result<(), Failure> {
    fs::create_dir_all(out).map_err(|error| unwritable(out, &error))?;
    let songs = (0..book.set.entries.len()).filter_map(|place| Sheet::of_song(book, place));
    let mut unpictured = fonts.as_ref().err().map(|why| format!("{why}"));
    for sheet in songs.chain([Sheet::of_set(book)]) {
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
        Some(why) => Err(Failure::Failed(format!(
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

#[cfg(test)]
mod tests {
    use super::super::demo;
    use super::*;
    use crate::map;

    #[test]
    fn without_fonts_the_rest_is_written_and_it_is_said() {
        let mut file = |path: &str| {
            let found = demo::FILES.iter().find(|(name, _)| *name == path).map(|(_, bytes)| bytes.to_vec());
            found.ok_or_else(|| std::io::ErrorKind::NotFound.into())
        };
        let book = map::load(demo::SET, &mut file).book.expect("the demo loads");
        let folder = tempfile::tempdir().expect("a folder");
        let done = write_all(&book, folder.path(), &Err(PictureError::NoFont));
        let Err(Failure::Failed(said)) = done else { panic!("{done:?}") };
        assert!(said.contains("no font") && said.contains("fonts-dejavu-core"), "{said}");
        let names: Vec<String> = fs::read_dir(folder.path())
            .expect("the folder")
            .map(|entry| entry.expect("an entry").file_name().into_string().expect("a name"))
            .collect();
        let count = |ending: &str| names.iter().filter(|name| name.ends_with(ending)).count();
        // Eleven songs and the set, each on at least one page; no picture, and nothing half-written.
        assert_eq!(count(".html"), 12, "{names:?}");
        assert!(count(".svg") >= 12 && count(".html") + count(".svg") == names.len(), "{names:?}");
    }
}
