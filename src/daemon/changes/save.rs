//! Writes what was changed this evening into the files: the set, and maps of songs that were adjusted.

use std::fs;
use std::io::{self, Write};
use std::path::{Path, PathBuf};

use tempfile::NamedTempFile;

use super::{Change, Changed, Read, load};
use crate::map::{Book, beside_the_set};
use crate::wording;

/// Why the set was not saved. The files are as they were, but for those that [`SaveError::Partly`] names.
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
    /// One of several files could not be put in its place after others were.
    #[error("{file} cannot be written ({error}): nothing was saved but {}", written.join(" and "))]
    Partly {
        /// The file.
        file: String,
        /// Why.
        error: io::Error,
        /// The files that were written before.
        written: Vec<String>,
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

impl Saved {
    /// What was saved, in a sentence.
    #[must_use]
    pub fn words(saved: &[Saved]) -> String {
        let backups: Vec<String> = saved.iter().map(|saved| saved.backup.display().to_string()).collect();
        let files: Vec<&str> = saved.iter().map(|saved| saved.file.as_str()).collect();
        wording::changes::saved(&files, &backups)
    }
}

/// Makes `changes` to the files as they are on disk now and writes those that differ, each whole or not at all: the set,
/// and maps of songs in which something was adjusted. What stood there before is kept beside each, with `.bak` at the
/// end of its name; what was written and what was kept is returned. What stood there before it was saved for the first
/// time stays beside it as `.original`, however often it is saved.
///
/// # Errors
/// A change does not fit what is on disk, or something cannot be written. No file has changed then; if the fault came
/// only as the files were put in their places, it names those that were before. The set is never among them, so saving
/// again does no change twice.
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
            Change::Adjust(adjusted) => adjusted.map == beside_the_set(path, &book.sources),
            _ => path == set,
        })
    };
    let sources: Vec<_> = book.sources.iter().filter(|source| is_changed(&source.path)).collect();
    // Nothing is written before all can be.
    let files: Vec<PathBuf> = sources.iter().map(|source| writable(&source.path)).collect::<Result<_, _>>()?;
    let backups: Vec<PathBuf> = files.iter().map(|file| back_up(file)).collect::<Result<_, _>>()?;
    let texts = files.iter().zip(&sources).map(|(file, source)| (file.as_path(), source.text.as_str()));
    write_together(&texts.collect::<Vec<_>>())?;
    let names = sources.iter().map(|source| source.path.clone());
    let saved = names.zip(backups).map(|(file, backup)| Saved { file, backup }).collect();
    Ok((saved, book))
}

/// Gives a map another text, whole or not at all, with the same care: `.bak` and `.original` beside it. What was
/// written and kept is returned.
///
/// # Errors
/// It is write-protected or cannot be written; it is as it was then.
pub fn replace(map: &str, text: &str) -> Result<Saved, SaveError> {
    let file = writable(map)?;
    let backup = back_up(&file)?;
    write(&file, &file, text.as_bytes()).map_err(|error| unwritable(&file, error))?;
    Ok(Saved { file: map.to_owned(), backup })
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

/// Gives files other texts, the set first among them: all are written beside their places before the first is put there.
/// The set is put there last, because an adjustment of a song can be made twice, but not a move, or a song added.
fn write_together(texts: &[(&Path, &str)]) -> Result<(), SaveError> {
    let write =
        |&(file, text): &(_, &str)| write_beside(file, file, text.as_bytes()).map_err(|error| unwritable(file, error));
    let passing: Vec<NamedTempFile> = texts.iter().map(write).collect::<Result<_, _>>()?;
    let mut written = Vec::new();
    for (passing, (file, _)) in passing.into_iter().zip(texts).rev() {
        let name = file.display().to_string();
        match passing.persist(file).map_err(|error| error.error) {
            Ok(_) => written.push(name),
            Err(error) if written.is_empty() => return Err(unwritable(file, error)),
            Err(error) => return Err(SaveError::Partly { file: name, error, written }),
        }
    }
    Ok(())
}

/// Writes a file whole or not at all, with the rights that `like` has.
fn write(file: &Path, like: &Path, text: &[u8]) -> io::Result<()> {
    write_beside(file, like, text)?.persist(file).map(|_| ()).map_err(|error| error.error)
}

/// Writes beside a file what is to take its place, with the rights that `like` has.
fn write_beside(file: &Path, like: &Path, text: &[u8]) -> io::Result<NamedTempFile> {
    let mut passing = NamedTempFile::new_in(file.parent().unwrap_or(Path::new(".")))?;
    passing.write_all(text)?;
    passing.as_file().set_permissions(fs::metadata(like)?.permissions())?;
    passing.as_file().sync_all()?;
    Ok(passing)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn files() -> (tempfile::TempDir, PathBuf, PathBuf) {
        let folder = tempfile::tempdir().unwrap();
        let (set, map) = (folder.path().join("set.toml"), folder.path().join("a.toml"));
        [&set, &map].iter().for_each(|file| fs::write(file, "as it was").unwrap());
        (folder, set, map)
    }

    #[test]
    fn files_are_written_together_or_none_is() {
        let (folder, set, map) = files();
        write_together(&[(&set, "new set"), (&map, "new map")]).unwrap();
        assert_eq!([&set, &map].map(|file| fs::read_to_string(file).unwrap()), ["new set", "new map"]);
        // Nothing can be written beside either of two files: the one in a folder that is gone is the first or the second.
        let gone = folder.path().join("gone").join("b.toml");
        for texts in [[(&*set, "newer"), (&*gone, "newer")], [(&*gone, "newer"), (&*set, "newer")]] {
            let said = write_together(&texts).unwrap_err().to_string();
            assert!(said.contains("b.toml cannot be written") && said.ends_with("nothing was saved"), "{said}");
            assert_eq!(fs::read_to_string(&set).unwrap(), "new set");
        }
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 2, "no passing files stay");
    }

    #[test]
    fn what_was_written_before_a_fault_is_named_and_the_set_comes_last() {
        let (folder, set, map) = files();
        // A folder in the place of the set lets its text be written beside it, but not take its place.
        fs::remove_file(&set).unwrap();
        fs::create_dir_all(set.join("full")).unwrap();
        let said = write_together(&[(&set, "new set"), (&map, "new map")]).unwrap_err().to_string();
        assert!(said.contains("set.toml cannot be written") && said.contains(": nothing was saved but "), "{said}");
        assert!(said.ends_with("a.toml"), "{said}");
        assert_eq!(fs::read_to_string(&map).unwrap(), "new map", "an adjustment can be made twice, a move cannot");
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 2, "no passing files stay");
    }
}
