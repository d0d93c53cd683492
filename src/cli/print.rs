//! `handspan print`: the set on paper.

use std::fs;
use std::path::{Path, PathBuf};

use super::console::{Failure, complain, tell};
use super::maps;
use super::progress::{Progress, while_doing};
use super::replay::{open_to_all, passing};
use crate::paper::{FontError, Fonts, Paper, PaperOptions};
use crate::wording::paper as words;

pub(super) const HELP: &str = "A front page for who plays the set, then a sheet for each song and each pause, A4 \
    upright. Files of the same name are replaced.\n\nExamples:\n  \
    handspan print midwinter.toml                      midwinter.pdf and midwinter.html, in this folder\n  \
    handspan print maps/midwinter.toml --out paper     paper/midwinter.pdf and paper/midwinter.html\n  \
    handspan print midwinter.toml --degrees            the chords as degrees too, for a band that thinks in them";

pub(super) fn run(set: &str, out: Option<&Path>, options: PaperOptions) -> Result<(), Failure> {
    let book = maps::load_sound(set)?;
    let path = Path::new(set);
    let name = path.file_name().unwrap_or(path.as_os_str()).to_string_lossy();
    // A set that is called otherwise is not to be replaced by what is printed of it.
    let stem = name.strip_suffix(".toml").unwrap_or(&name).to_owned();
    let paper = Paper::of(&book, &name, options);
    let target = Target { out: out.unwrap_or(Path::new("")), stem };
    while_doing(words::LOOKING_FOR_FONTS, |progress| write_both(&paper, &target, Fonts::of_system(), progress))
}

/// Where the files go, and what they are called.
struct Target<'a> {
    out: &'a Path,
    stem: String,
}

impl Target<'_> {
    fn path(&self, ending: &str) -> PathBuf {
        self.out.join(format!("{}.{ending}", self.stem))
    }
}

/// Writes both files, the HTML alone where there are no fonts for the PDF.
///
/// # Errors
/// A file cannot be written, or there is no PDF, in a sentence.
fn write_both(
    paper: &Paper,
    target: &Target<'_>,
    fonts: Result<Fonts, FontError>,
    progress: &Progress,
) -> Result<(), Failure> {
    // No folder is the current one.
    fs::create_dir_all(target.out).map_err(|error| unwritable(target.out, &error))?;
    let html = target.path("html");
    write(&html, paper.html().as_bytes())?;
    tell(&words::written(&html.display().to_string(), None));
    let told = |sheets| progress.is(words::drawn(sheets, paper.sheets()));
    let pdf = fonts.and_then(|fonts| paper.pdf(&fonts, &told));
    let pdf = pdf.map_err(|why| Failure::Failed(words::no_pdf(&why.to_string())))?;
    let path = target.path("pdf");
    write(&path, &pdf.bytes)?;
    tell(&words::written(&path.display().to_string(), Some(pdf.pages)));
    if !pdf.missing.is_empty() {
        complain(&words::missing(&pdf.missing));
    }
    Ok(())
}

fn unwritable(path: &Path, error: &dyn std::fmt::Display) -> Failure {
    let path = path.display();
    Failure::Wrong(format!("{path} cannot be written ({error}): give --out a folder that you may write to."))
}

/// Writes a file whole or not at all.
///
/// # Errors
/// It cannot be written, in a sentence.
fn write(path: &Path, bytes: &[u8]) -> Result<(), Failure> {
    let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let written = passing(folder, bytes).and_then(|passing| {
        open_to_all(passing.path());
        passing.persist(path).map_err(|error| error.error)
    });
    written.map(|_| ()).map_err(|error| unwritable(path, &error))
}

#[cfg(test)]
mod tests {
    use super::super::demo;
    use super::*;
    use crate::map;

    #[test]
    fn without_fonts_the_html_is_written_and_it_is_said() {
        let mut file = |path: &str| {
            let found = demo::FILES.iter().find(|(name, _)| *name == path).map(|(_, bytes)| bytes.to_vec());
            found.ok_or_else(|| std::io::ErrorKind::NotFound.into())
        };
        let book = map::load(demo::SET, &mut file).book.expect("the demo loads");
        let folder = tempfile::tempdir().expect("a folder");
        let target = Target { out: folder.path(), stem: "evening".to_owned() };
        let paper = Paper::of(&book, "evening.toml", PaperOptions::default());
        let done = while_doing("", |progress| write_both(&paper, &target, Err(FontError::NoFont), progress));
        let Err(Failure::Failed(said)) = done else { panic!("{done:?}") };
        assert_eq!(said, words::no_pdf(words::NO_FONT));
        let names: Vec<String> = fs::read_dir(folder.path())
            .expect("the folder")
            .map(|entry| entry.expect("an entry").file_name().into_string().expect("a name"))
            .collect();
        assert_eq!(names, ["evening.html"], "and nothing half-written");
    }
}
