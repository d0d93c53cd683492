//! Reading maps from the file system, and saying what is wrong with them.

use std::fs;
use std::io::{self, Read};
use std::path::Path;

use super::console::{Failure, colour, complain, complain_drawn};
use crate::map::{self, Beside, Book, Diagnostic, FaultKind, Level, Loaded, Source};

/// The longest map in bytes: a hundred times what a long evening needs.
const LONGEST: u64 = 4 << 20;

/// So many findings are shown.
const MOST_SHOWN: usize = 100;

/// Reads a file of a set.
pub(super) fn read(path: &str) -> io::Result<Vec<u8>> {
    let path = Path::new(path);
    read_bounded(path, LONGEST).map_err(|error| match error.kind() {
        io::ErrorKind::NotFound => io::Error::new(io::ErrorKind::NotFound, Beside(maps_beside(path))),
        _ => error,
    })
}

/// The text of a map that is worked on by itself.
///
/// # Errors
/// It cannot be read, or is no text.
pub(super) fn read_text(path: &str) -> Result<String, Failure> {
    let bytes = read(path).map_err(|error| Failure::Wrong(format!("{path} cannot be read ({error}).")))?;
    String::from_utf8(bytes).map_err(|_| Failure::Wrong(format!("{path} is not UTF-8 text.")))
}

/// The maps in the folder in which a file was looked for.
fn maps_beside(path: &Path) -> Vec<String> {
    /// More than an evening has.
    const MOST: usize = 1_000;
    let folder = path.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let files = fs::read_dir(folder).into_iter().flatten().flatten();
    let names = files.filter_map(|file| file.file_name().into_string().ok());
    names.filter(|name| name.ends_with(".toml")).take(MOST).collect()
}

/// Reads a file of at most so many bytes. A pipe or a device is none: it might never come to an end.
pub(super) fn read_bounded(path: &Path, longest: u64) -> io::Result<Vec<u8>> {
    let kind = fs::metadata(path)?.file_type();
    // Where a folder can be opened, or not, is the system's own affair.
    if kind.is_dir() {
        return Err(io::ErrorKind::IsADirectory.into());
    }
    if !kind.is_file() {
        return Err(io::Error::other("it is a pipe or a device"));
    }
    let mut bytes = Vec::new();
    // One that grows meanwhile has no end either.
    fs::File::open(path)?.take(longest + 1).read_to_end(&mut bytes)?;
    if bytes.len() as u64 > longest {
        return Err(io::Error::other(format!("it has more than {} MiB", longest >> 20)));
    }
    Ok(bytes)
}

/// Reads a set with its gear and songs; the findings are not yet told.
pub(super) fn load(set: &str) -> Loaded {
    map::load(set, &mut read)
}

/// Reads a set that must be without errors; all of them are told, of all files.
///
/// # Errors
/// The maps have errors, which have been told.
pub(super) fn load_sound(set: &str) -> Result<Book, Failure> {
    let loaded = load(set);
    say(&loaded.diagnostics, &loaded.sources);
    let errors = loaded.errors();
    loaded.book.ok_or_else(|| {
        let them = if errors == 1 { "one error" } else { &format!("{errors} errors") };
        let words = format!("{set} has {them}: nothing was started. Put right what is marked and try again.");
        refused(&loaded.diagnostics, words)
    })
}

/// A file is looked for from here first: a set names its songs from its own folder.
pub(super) fn from_here(word: &mut String) {
    let absolute = std::path::absolute(&word).ok().filter(|path| path.is_file());
    if let Some(path) = absolute.as_deref().and_then(Path::to_str) {
        *word = path.to_owned();
    }
}

/// Says what was found; of very much only the first.
pub(super) fn say(found: &[Diagnostic], sources: &[Source]) {
    for diagnostic in found.iter().take(MOST_SHOWN) {
        complain_drawn(&format!("{}\n", diagnostic.render(sources, colour())));
    }
    if found.len() > MOST_SHOWN {
        complain(&format!("And {} more.\n", found.len() - MOST_SHOWN));
    }
    let errors = found.iter().filter(|diagnostic| diagnostic.level == Level::Error);
    if let Some(word) = errors.filter_map(|error| word_of(error, sources)).next() {
        complain(&format!("What may stand there: `handspan explain {word}`.\n"));
    }
}

/// The field that begins the marked line, where it is one.
fn word_of<'s>(error: &Diagnostic, sources: &'s [Source]) -> Option<&'s str> {
    let spot = error.spot?;
    let text = sources.get(spot.file)?.text.as_str();
    let begin = text.get(..spot.start)?.rfind('\n').map_or(0, |end| end + 1);
    let line = text.get(begin..)?.lines().next()?;
    let word = line.split(['=', ']']).next()?.trim_matches(['[', ' ', '\t', '"']);
    (!map::meanings(word).is_empty()).then_some(word)
}

/// Why maps with errors are not taken, the same for every command: a file that cannot be read as what it should be ends
/// with exit code 2, as a wrong command line does; what is wrong in files that can be read, with 1.
pub(super) fn refused(found: &[Diagnostic], words: String) -> Failure {
    let unreadable = |fault: &Diagnostic| fault.level == Level::Error && fault.kind == FaultKind::Unreadable;
    if found.iter().any(unreadable) { Failure::Wrong(words) } else { Failure::Failed(words) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[cfg(unix)]
    #[test]
    fn what_has_no_end_is_not_read() {
        assert_eq!(read("/dev/zero").unwrap_err().to_string(), "it is a pipe or a device");
        assert_eq!(read("maps/midwinter.toml").unwrap(), fs::read("maps/midwinter.toml").unwrap());
    }

    #[test]
    fn a_folder_is_no_map() {
        assert_eq!(read("maps").unwrap_err().kind(), io::ErrorKind::IsADirectory);
    }

    #[test]
    fn what_is_far_too_long_is_not_read() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("song.toml");
        fs::write(&path, vec![b'#'; LONGEST as usize]).unwrap();
        assert_eq!(read_bounded(&path, LONGEST).unwrap().len() as u64, LONGEST);
        fs::write(&path, vec![b'#'; LONGEST as usize + 1]).unwrap();
        assert_eq!(read_bounded(&path, LONGEST).unwrap_err().to_string(), "it has more than 4 MiB");
    }
}
