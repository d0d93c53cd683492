//! Writes what was changed this evening into the set's file.

use std::fs;
use std::io::{self, Write};
use std::path::{Path, PathBuf};

use tempfile::NamedTempFile;

use super::{Change, Changed, Read, load};
use crate::map::Book;

/// Why the set was not saved. The file is as it was.
#[derive(Debug, thiserror::Error)]
pub enum SaveError {
    /// Nothing to save.
    #[error("nothing was changed since the set was last saved")]
    Nothing,
    /// The files have errors now.
    #[error("the files on disk have errors at present: put them right first, then say save-set again")]
    Faulty,
    /// A change no longer fits the files.
    #[error("not saved, because this does not fit the files on disk: {0}")]
    Unfit(String),
    /// Somebody does not want it changed.
    #[error("{0} is write-protected: nothing was saved")]
    Protected(String),
    /// The file cannot be written.
    #[error("{file} cannot be written ({error}): nothing was saved")]
    Unwritable {
        /// The file.
        file: String,
        /// Why.
        error: io::Error,
    },
}

/// Makes `changes` to the set as it is on disk now and writes it there, whole or not at all. What stood there before is
/// kept beside it, with `.bak` at the end of its name; its path is returned. What stood there before it was saved for the
/// first time stays beside it as `.original`, however often it is saved.
///
/// # Errors
/// A change does not fit what is on disk, or it cannot be written; nothing has changed then.
pub fn save(set: &str, read: Read, changes: &[Change]) -> Result<(PathBuf, Book), SaveError> {
    if changes.is_empty() {
        return Err(SaveError::Nothing);
    }
    let Changed { loaded, dropped, .. } = load(set, read, changes);
    let Some(book) = loaded.book else { return Err(SaveError::Faulty) };
    if !dropped.is_empty() {
        return Err(SaveError::Unfit(dropped.join("; ")));
    }
    let text = book.sources.first().map_or("", |set| set.text.as_str());
    let backup = replace(set, text)?;
    Ok((backup, book))
}

/// Gives a map another text, whole or not at all, with the same care: `.bak` and `.original` beside it. The path of the
/// first is returned.
///
/// # Errors
/// It is write-protected or cannot be written; it is as it was then.
pub fn replace(map: &str, text: &str) -> Result<PathBuf, SaveError> {
    let unwritable = |file: &Path, error| SaveError::Unwritable { file: file.display().to_string(), error };
    // Where the map's name is a link, the file that it leads to is the map.
    let file = fs::canonicalize(map).map_err(|error| unwritable(Path::new(map), error))?;
    let beside = |ending| {
        let mut name = file.clone().into_os_string();
        name.push(ending);
        PathBuf::from(name)
    };
    // A new file takes the place of the old one, which its protection alone would not hinder.
    let there = fs::metadata(&file).map_err(|error| unwritable(&file, error))?;
    if there.permissions().readonly() {
        return Err(SaveError::Protected(file.display().to_string()));
    }
    let (backup, original) = (beside(".bak"), beside(".original"));
    let old = fs::read(&file).map_err(|error| unwritable(&file, error))?;
    if fs::symlink_metadata(&original).is_err() {
        write(&original, &file, &old).map_err(|error| unwritable(&original, error))?;
    }
    write(&backup, &file, &old).map_err(|error| unwritable(&backup, error))?;
    write(&file, &file, text.as_bytes()).map_err(|error| unwritable(&file, error))?;
    Ok(backup)
}

/// Writes a file whole or not at all, with the rights that `like` has.
fn write(file: &Path, like: &Path, text: &[u8]) -> io::Result<()> {
    let mut passing = NamedTempFile::new_in(file.parent().unwrap_or(Path::new(".")))?;
    passing.write_all(text)?;
    passing.as_file().set_permissions(fs::metadata(like)?.permissions())?;
    passing.as_file().sync_all()?;
    passing.persist(file).map(|_| ()).map_err(|error| error.error)
}
