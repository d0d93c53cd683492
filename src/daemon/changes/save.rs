//! Writes what was changed this evening into the files: the set, and maps of songs that were adjusted.

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

/// A file that was written.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Saved {
    /// Its path as the set names it.
    pub file: String,
    /// Where what was there before is kept.
    pub backup: PathBuf,
}

/// Makes `changes` to the files as they are on disk now and writes those that differ, each whole or not at all: the set,
/// and maps of songs in which something was adjusted. What stood there before is kept beside each, with `.bak` at the
/// end of its name; what was written and what was kept is returned. What stood there before it was saved for the first
/// time stays beside it as `.original`, however often it is saved.
///
/// # Errors
/// A change does not fit what is on disk, or something cannot be written; a file that is named has not changed then.
pub fn save(set: &str, read: Read, changes: &[Change]) -> Result<(Vec<Saved>, Book), SaveError> {
    if changes.is_empty() {
        return Err(SaveError::Nothing);
    }
    let Changed { loaded, dropped, .. } = load(set, read, changes);
    let Some(book) = loaded.book else { return Err(SaveError::Faulty) };
    if !dropped.is_empty() {
        return Err(SaveError::Unfit(dropped.join("; ")));
    }
    let is_changed = |path: &str| {
        changes.iter().any(|change| match change {
            Change::Adjust(adjusted) => adjusted.map == path,
            _ => path == set,
        })
    };
    let sources: Vec<_> = book.sources.iter().filter(|source| is_changed(&source.path)).collect();
    // Nothing is written before all can be.
    let files: Vec<PathBuf> = sources.iter().map(|source| writable(&source.path)).collect::<Result<_, _>>()?;
    let backups: Vec<PathBuf> = files.iter().map(|file| back_up(file)).collect::<Result<_, _>>()?;
    for (file, source) in files.iter().zip(&sources) {
        write(file, file, source.text.as_bytes()).map_err(|error| unwritable(file, error))?;
    }
    let names = sources.iter().map(|source| source.path.clone());
    let saved = names.zip(backups).map(|(file, backup)| Saved { file, backup }).collect();
    Ok((saved, book))
}

/// Gives a map another text, whole or not at all, with the same care: `.bak` and `.original` beside it. The path of the
/// first is returned.
///
/// # Errors
/// It is write-protected or cannot be written; it is as it was then.
pub fn replace(map: &str, text: &str) -> Result<PathBuf, SaveError> {
    let file = writable(map)?;
    let backup = back_up(&file)?;
    write(&file, &file, text.as_bytes()).map_err(|error| unwritable(&file, error))?;
    Ok(backup)
}

fn unwritable(file: &Path, error: io::Error) -> SaveError {
    SaveError::Unwritable { file: file.display().to_string(), error }
}

/// The file that may be written for this one: where its name is a link, the one that it leads to.
fn writable(file: &str) -> Result<PathBuf, SaveError> {
    let file = fs::canonicalize(file).map_err(|error| unwritable(Path::new(file), error))?;
    // A new file takes the place of the old one, which its protection alone would not hinder.
    let there = fs::metadata(&file).map_err(|error| unwritable(&file, error))?;
    if there.permissions().readonly() {
        return Err(SaveError::Protected(file.display().to_string()));
    }
    Ok(file)
}

/// Keeps what stands in a file beside it; returns where.
fn back_up(file: &Path) -> Result<PathBuf, SaveError> {
    let beside = |ending| {
        let mut name = file.to_owned().into_os_string();
        name.push(ending);
        PathBuf::from(name)
    };
    let (backup, original) = (beside(".bak"), beside(".original"));
    let old = fs::read(file).map_err(|error| unwritable(file, error))?;
    if fs::symlink_metadata(&original).is_err() {
        write(&original, file, &old).map_err(|error| unwritable(&original, error))?;
    }
    write(&backup, file, &old).map_err(|error| unwritable(&backup, error))?;
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
