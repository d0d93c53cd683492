//! `handspan pack` and `handspan unpack`: an evening's folder in one ZIP file, for another machine or a substitute.

use std::collections::BTreeMap;
use std::fs;
use std::io::{self, Cursor, ErrorKind, Read, Write};
use std::path::{Component, Path, PathBuf};

use tempfile::TempDir;
use zip::write::SimpleFileOptions;
use zip::{ZipArchive, ZipWriter};

use super::console::{Failure, tell};
use super::maps;
use super::replay::{open_to_all, passing};
use crate::map::{self, MapKind, Source, file_name, path_beside};

pub(super) const PACK_HELP: &str =
    "The file holds the set, its gear, its songs, the schemas that these name, and what \
--with adds; all of it lies in the set's folder. It is checked before it is written, and a file that is there is not \
replaced. A passcode of the stand goes along in the gear file.

Examples:
  handspan pack evening/set.toml evening.zip
  handspan pack evening/set.toml evening.zip --with evening/takes/dress-rehearsal.mid

Exit codes: 0 done, 1 it could not be done or a map has errors, 2 the command line is wrong or a file cannot be read.";
pub(super) const UNPACK_HELP: &str =
    "The folder must be new or empty. The set is checked first; where something is wrong, \
nothing is unpacked.

Examples:
  handspan unpack evening.zip evening
  handspan unpack evening.zip ~/music/midwinter

Exit codes: 0 done, 1 it could not be done or a map has errors, 2 the command line is wrong or a file cannot be read.";

/// The longest file, and the longest of all files together, in bytes: far more than an evening needs.
const LONGEST: u64 = 64 << 20;
const LONGEST_OF_ALL: u64 = 256 << 20;
/// So many files at most.
const MOST: usize = 10_000;

/// An evening's files.
#[derive(Default)]
struct Folder {
    /// By their paths in small letters: some systems take large and small ones for the same.
    files: BTreeMap<String, PackedFile>,
    /// Bytes of all of them.
    length: u64,
}

/// A file of the evening.
struct PackedFile {
    /// Its path within the folder, with `/` between its parts.
    path: String,
    bytes: Vec<u8>,
}

impl Folder {
    /// The file with this path, letter for letter.
    fn file(&self, path: &str) -> Option<&PackedFile> {
        self.files.get(&path.to_lowercase()).filter(|file| file.path == path)
    }

    /// Adds a file that must not be there yet.
    fn add(&mut self, path: String, bytes: Vec<u8>) -> Result<(), String> {
        if let Some(part) = path.split('/').find(|part| file_name(part) != *part) {
            return Err(format!(
                "\"{path}\" cannot lie in a folder on every system: \"{part}\" is no name for a file there"
            ));
        }
        let lower = path.to_lowercase();
        if let Some(PackedFile { path: known, .. }) = self.files.get(&lower) {
            return Err(format!("\"{path}\" and \"{known}\" would be one file on some systems"));
        }
        self.length += bytes.len() as u64;
        if self.length > LONGEST_OF_ALL || self.files.len() >= MOST {
            return Err(format!("more than {MOST} files or {} MiB are no evening", LONGEST_OF_ALL >> 20));
        }
        self.files.insert(lower, PackedFile { path, bytes });
        Ok(())
    }

    /// The sets among its files; they lie in the folder itself.
    fn sets(&self) -> Vec<&str> {
        let is_set = |PackedFile { path, bytes }: &&PackedFile| {
            let text = std::str::from_utf8(bytes).unwrap_or_default();
            path.ends_with(".toml") && !path.contains('/') && MapKind::of(text) == Some(MapKind::Set)
        };
        self.files.values().filter(is_set).map(|file| file.path.as_str()).collect()
    }

    /// Reads a set with its gear and songs from these files alone; all that is wrong is told.
    fn check(&self, set: &str) -> Result<(), Failure> {
        let mut read = |path: &str| {
            let file = within(Path::new(""), path).ok().and_then(|path| self.file(&path));
            file.map(|file| file.bytes.clone()).ok_or_else(|| io::Error::from(ErrorKind::NotFound))
        };
        let loaded = map::load(set, &mut read);
        maps::say(&loaded.diagnostics, &loaded.sources);
        match loaded.book {
            Some(_) => Ok(()),
            None => Err(maps::refused(&loaded.diagnostics, format!("{set} has errors: nothing was written."))),
        }
    }

    fn list(&self) {
        for PackedFile { path, bytes } in self.files.values() {
            tell(&format!("  {path}, {:.1} kB", bytes.len() as f64 / 1000.0));
        }
    }
}

/// Packs a set.
///
/// # Errors
/// A map has errors, a file lies outside the set's folder or cannot be read, or the ZIP file cannot be written.
pub(super) fn pack(set: &str, target: &Path, with: &[String]) -> Result<(), Failure> {
    let loaded = maps::load(set);
    let home = Path::new(set).parent().unwrap_or(Path::new(""));
    let named: Vec<String> = loaded.sources.iter().map(|source| source.path.clone()).collect();
    let schemas = loaded.sources.iter().filter_map(schema_of).filter(|path| Path::new(path).is_file());
    let mut folder = Folder::default();
    for path in named.into_iter().chain(schemas).chain(with.iter().cloned()) {
        let within = within(home, &path)?;
        if folder.file(&within).is_some() {
            continue;
        }
        let bytes = maps::read_bounded(Path::new(&path), LONGEST)
            .map_err(|error| Failure::Wrong(format!("{path} cannot be read ({error}): nothing was packed.")))?;
        folder.add(within, bytes).map_err(|fault| Failure::Failed(format!("{fault}: nothing was packed.")))?;
    }
    folder.check(&within(home, set)?)?;
    write(&folder, target)?;
    tell(&format!("{} holds:", target.display()));
    folder.list();
    tell("Whoever gets it: `handspan unpack` lays it out again, checked. A passcode in the gear file goes along.");
    Ok(())
}

/// The schema that a map's first line names.
fn schema_of(source: &Source) -> Option<String> {
    let named = source.text.lines().next()?.strip_prefix("#:schema ")?.trim();
    (!named.contains("://")).then(|| path_beside(&source.path, named))
}

/// A file's path within the set's folder.
fn within(home: &Path, path: &str) -> Result<String, Failure> {
    let whole = |path: &Path| plain(&std::path::absolute(Path::new(".").join(path)).ok()?);
    let relative = whole(Path::new(path)).and_then(|path| {
        let inside = path.strip_prefix(whole(home)?).ok()?;
        let parts = inside.components().map(|part| part.as_os_str().to_str());
        Some(parts.collect::<Option<Vec<_>>>()?.join("/"))
    });
    relative.filter(|path| !path.is_empty()).ok_or_else(|| {
        Failure::Failed(format!(
            "{path} does not lie in the set's folder: nothing was packed. Put it into that folder and name it there."
        ))
    })
}

/// A path without `.` and `..`; none where it leads above where it begins.
fn plain(path: &Path) -> Option<PathBuf> {
    let mut plain = PathBuf::new();
    for part in path.components() {
        match part {
            Component::CurDir => {}
            Component::ParentDir if matches!(plain.components().next_back(), Some(Component::Normal(_))) => {
                plain.pop();
            }
            Component::ParentDir => return None,
            other => plain.push(other),
        }
    }
    Some(plain)
}

/// The folder in which something will lie.
fn home_of(target: &Path) -> &Path {
    target.parent().filter(|home| !home.as_os_str().is_empty()).unwrap_or(Path::new("."))
}

/// Writes the file whole, or not at all.
fn write(folder: &Folder, target: &Path) -> Result<(), Failure> {
    let unwritable = |error: &dyn std::fmt::Display| {
        Failure::Failed(format!(
            "{} cannot be written ({error}): name a place that you may write to.",
            target.display()
        ))
    };
    let bytes = zipped(folder).map_err(|error| unwritable(&error))?;
    let passing = passing(home_of(target), &bytes).map_err(|error| unwritable(&error))?;
    passing.persist_noclobber(target).map_err(|error| match error.error.kind() {
        ErrorKind::AlreadyExists => Failure::Failed(format!("{} is there already: name a new file.", target.display())),
        _ => unwritable(&error.error),
    })?;
    open_to_all(target);
    Ok(())
}

fn zipped(folder: &Folder) -> zip::result::ZipResult<Vec<u8>> {
    let mut zip = ZipWriter::new(Cursor::new(Vec::new()));
    for PackedFile { path, bytes } in folder.files.values() {
        zip.start_file(path.as_str(), SimpleFileOptions::default().unix_permissions(0o644))?;
        zip.write_all(bytes)?;
    }
    Ok(zip.finish()?.into_inner())
}

/// Unpacks an evening into a new folder.
///
/// # Errors
/// The file is no ZIP file or holds what leads out of the folder, a map has errors, or the folder is in use.
pub(super) fn unpack(file: &Path, target: &Path) -> Result<(), Failure> {
    let name = file.display();
    if !is_free(target) {
        let target = target.display();
        return Err(Failure::Failed(format!("{target} has something in it: name a new folder. Nothing was unpacked.")));
    }
    let folder = unzipped(file).map_err(|fault| Failure::Wrong(format!("{name}: {fault}. Nothing was unpacked.")))?;
    let sets = folder.sets();
    if sets.is_empty() {
        return Err(Failure::Wrong(format!("{name} holds no set: nothing was unpacked.")));
    }
    sets.iter().try_for_each(|set| folder.check(set))?;
    lay_out(&folder, target).map_err(|error| {
        let target = target.display();
        Failure::Failed(format!("{target} cannot be made ({error}): name a place that you may write to."))
    })?;
    tell(&format!("{} holds:", target.display()));
    folder.list();
    sets.iter().for_each(|set| tell(&format!("handspan try {}    plays it on a page", target.join(set).display())));
    Ok(())
}

/// Whether nothing is there, or a folder with nothing in it.
fn is_free(target: &Path) -> bool {
    match fs::symlink_metadata(target) {
        Err(error) => error.kind() == ErrorKind::NotFound,
        Ok(there) => there.is_dir() && fs::read_dir(target).is_ok_and(|mut entries| entries.next().is_none()),
    }
}

/// The files of a ZIP file, none of which leads out of a folder.
fn unzipped(file: &Path) -> Result<Folder, String> {
    let bytes = maps::read_bounded(file, LONGEST_OF_ALL).map_err(|error| format!("it cannot be read ({error})"))?;
    let no_zip = |error: &dyn std::fmt::Display| format!("it is no ZIP file that can be read ({error})");
    let mut zip = ZipArchive::new(Cursor::new(bytes)).map_err(|error| no_zip(&error))?;
    let mut folder = Folder::default();
    if zip.len() > MOST {
        return Err(format!("it holds more than {MOST} files"));
    }
    for number in 0..zip.len() {
        let entry = zip.by_index(number).map_err(|error| no_zip(&error))?;
        let path = entry.name().map_err(|error| no_zip(&error))?.into_owned();
        if entry.is_dir() {
            continue;
        }
        let leads_out = path.contains('\\') || path.split('/').any(|part| matches!(part, "" | "." | ".."));
        if leads_out || entry.is_symlink() {
            return Err(format!("\"{path}\" in it leads out of the folder"));
        }
        let mut bytes = Vec::new();
        // What the file says of its length is not believed.
        entry.take(LONGEST + 1).read_to_end(&mut bytes).map_err(|error| no_zip(&error))?;
        if bytes.len() as u64 > LONGEST {
            return Err(format!("\"{path}\" in it has more than {} MiB", LONGEST >> 20));
        }
        folder.add(path, bytes)?;
    }
    Ok(folder)
}

/// Makes the folder whole, or not at all.
fn lay_out(folder: &Folder, target: &Path) -> io::Result<()> {
    let home = home_of(target);
    fs::create_dir_all(home)?;
    let passing = TempDir::new_in(home)?;
    let inner = passing.path().join("evening");
    for PackedFile { path, bytes } in folder.files.values() {
        let path = inner.join(path);
        path.parent().map_or(Ok(()), fs::create_dir_all)?;
        fs::write(path, bytes)?;
    }
    // An empty folder gives way; one that is not stays, and so does what is in it.
    match fs::remove_dir(target) {
        Err(error) if error.kind() != ErrorKind::NotFound => return Err(error),
        _ => {}
    }
    fs::rename(&inner, target)
}
