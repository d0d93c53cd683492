//! `handspan replay`: a take through a set, offline, into one standard MIDI file for each output.

use std::fs;
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::sync::Arc;

use tempfile::NamedTempFile;

use super::console::{Failure, complain, tell};
use super::{cueing, maps};
use crate::engine::{Plan, Rehearsal};
use crate::map::{Book, file_names};
use crate::midi::file::{self, Take};

/// The longest take in bytes: a whole day's playing.
const LONGEST_TAKE: u64 = 256 << 20;

pub(super) fn run(set: &str, take: &Path, out: &Path, input: Option<&str>) -> Result<(), Failure> {
    let book = maps::load_sound(set)?;
    let input = input_number(&book, input)?;
    let take = read_take(take)?;
    let rehearsal = Rehearsal::new(&Arc::new(Plan::new(&book)), &take, input, 0);
    report(&rehearsal, &take);
    for fired in cueing::fired(&book, &rehearsal) {
        tell(&fired.line(&book, &rehearsal));
    }
    for written in write(&book, (&rehearsal, &take), out, Others::Replaced)? {
        tell(&format!("{}  {} messages", written.path.display(), written.messages));
    }
    Ok(())
}

/// The number of the input that the take is heard as.
pub(super) fn input_number(book: &Book, name: Option<&str>) -> Result<usize, Failure> {
    let inputs = &book.gear.inputs;
    let wanted = |input: &&crate::map::Input| name.map_or(input.play, |name| input.name.value == name);
    let known = || inputs.iter().map(|input| format!("\"{}\"", input.name.value)).collect::<Vec<_>>().join(", ");
    inputs.iter().position(|input| wanted(&input)).ok_or_else(|| {
        Failure::Wrong(match name {
            Some(name) => {
                format!("the gear file has no input \"{name}\"; it has {}. Give one of them to --input.", known())
            }
            None => "the gear file has no input with play = true: give the take's input with --input.".to_owned(),
        })
    })
}

/// Reads a take.
///
/// # Errors
/// The file cannot be read or is no take, in a sentence.
pub(super) fn read_take(path: &Path) -> Result<Take, Failure> {
    let name = path.display();
    let bytes = maps::read_bounded(path, LONGEST_TAKE).map_err(|error| {
        Failure::Wrong(format!("the take {name} cannot be read ({error}): check its name, or give another file."))
    })?;
    file::read(&bytes).map_err(|error| Failure::Wrong(format!("the take {name} cannot be used: {error}.")))
}

/// Says what the take asked for in vain.
pub(super) fn report(rehearsal: &Rehearsal, take: &Take) {
    for (tick, why) in &rehearsal.unknown_markers {
        let seconds = take.micros(*tick) as f64 / 1e6;
        complain(&format!("marker at {seconds:.2} s (tick {tick}) changes nothing: {why}"));
    }
    if rehearsal.counts.out_of_range > 0 {
        let count = rehearsal.counts.out_of_range;
        complain(&format!("{count} notes lay outside the MIDI range 0 to 127 and were not sent; `check` says which."));
    }
}

/// What becomes of files of the same name that hold something else.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Others {
    Replaced,
    LeftAlone,
}

/// A file that was replayed.
pub(super) struct WrittenFile {
    pub path: PathBuf,
    pub messages: usize,
    /// Another one is there, which was left alone.
    pub left_alone: bool,
}

/// Writes one file for each output, each whole or not at all: they are written under passing names first, and renamed
/// when all are there.
///
/// # Errors
/// The folder or a file cannot be written, in a sentence.
pub(super) fn write(
    book: &Book,
    (rehearsal, take): (&Rehearsal, &Take),
    out: &Path,
    others: Others,
) -> Result<Vec<WrittenFile>, Failure> {
    let folder = out.display();
    let unwritable = |error: &dyn std::fmt::Display| {
        Failure::Wrong(format!(
            "nothing can be written into {folder} ({error}): give --out a folder that you may write to."
        ))
    };
    fs::create_dir_all(out).map_err(|error| unwritable(&error))?;
    let names = file_names(book.gear.outputs.iter().map(|output| output.name.value.as_str()));
    let mut ready = Vec::new();
    for (number, (output, name)) in book.gear.outputs.iter().zip(names).enumerate() {
        let lines = rehearsal.lines_of(number);
        let bytes = file::write(take.division, &take.tempo, &lines, take.end_tick)
            .map_err(|error| Failure::Failed(format!("{}: {error}", output.name.value)))?;
        let passing = passing(out, &bytes).map_err(|error| unwritable(&error))?;
        let path = out.join(format!("{name}.mid"));
        if path.is_dir() {
            return Err(unwritable(&format!("{} is a folder", path.display())));
        }
        let left_alone = others == Others::LeftAlone && is_another(&path, &bytes);
        ready.push((passing, WrittenFile { path, messages: lines.len(), left_alone }));
    }
    let mut all = Vec::new();
    for (passing, written) in ready {
        if !written.left_alone {
            open_to_all(passing.path());
            passing.persist(&written.path).map_err(|error| unwritable(&error))?;
        }
        all.push(written);
    }
    Ok(all)
}

/// Whether something else than a file with these bytes has this path. What a link leads to is never looked at.
pub(super) fn is_another(path: &Path, bytes: &[u8]) -> bool {
    let Ok(there) = fs::symlink_metadata(path) else { return false };
    let is_same = there.is_file() && there.len() == bytes.len() as u64 && fs::read(path).is_ok_and(|old| old == bytes);
    !is_same
}

/// A file with these bytes, safe on the disk, that is put into its place later or goes by itself.
pub(super) fn passing(folder: &Path, bytes: &[u8]) -> io::Result<NamedTempFile> {
    let mut passing = NamedTempFile::new_in(folder)?;
    passing.write_all(bytes)?;
    passing.as_file().sync_all()?;
    Ok(passing)
}

/// A passing file is its owner's alone; a replayed one is like any other new file.
pub(super) fn open_to_all(path: &Path) {
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        let _ = fs::set_permissions(path, fs::Permissions::from_mode(0o644));
    }
    #[cfg(not(unix))]
    let _ = path;
}
