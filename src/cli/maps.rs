//! Reading maps from the file system, and saying what is wrong with them.

use std::fs;
use std::io;

use super::console::{Failure, colour, complain};
use crate::map::{self, Book, Diagnostic, Kind, Level, Loaded};

/// Reads a file of a set.
pub(super) fn read(path: &str) -> io::Result<Vec<u8>> {
    fs::read(path)
}

/// The same while others wait: a pipe or a device might never come to an end.
pub(super) fn read_at_once(path: &str) -> io::Result<Vec<u8>> {
    let kind = fs::metadata(path)?.file_type();
    if kind.is_file() || kind.is_dir() { fs::read(path) } else { Err(io::Error::other("it is a pipe or a device")) }
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
    for diagnostic in &loaded.diagnostics {
        complain(&format!("{}\n", diagnostic.render(&loaded.sources, colour())));
    }
    let errors = loaded.diagnostics.iter().filter(|diagnostic| diagnostic.level == Level::Error).count();
    loaded.book.ok_or_else(|| {
        let them = if errors == 1 { "one error" } else { &format!("{errors} errors") };
        let words = format!("{set} has {them}: nothing was started. Put right what is marked and try again.");
        refused(&loaded.diagnostics, words)
    })
}

/// Why maps with errors are not taken, the same for every command: a file that cannot be read as what it should be ends
/// with exit code 2, as a wrong command line does; what is wrong in files that can be read, with 1.
pub(super) fn refused(found: &[Diagnostic], words: String) -> Failure {
    let unreadable = |fault: &Diagnostic| fault.level == Level::Error && fault.kind == Kind::Unreadable;
    if found.iter().any(unreadable) { Failure::Wrong(words) } else { Failure::Failed(words) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[cfg(unix)]
    #[test]
    fn what_has_no_end_is_not_read_while_others_wait() {
        assert_eq!(read_at_once("/dev/zero").unwrap_err().to_string(), "it is a pipe or a device");
        assert_eq!(read_at_once("maps/midwinter.toml").unwrap(), fs::read("maps/midwinter.toml").unwrap());
        assert_eq!(read_at_once("maps").unwrap_err().kind(), read("maps").unwrap_err().kind());
    }
}
