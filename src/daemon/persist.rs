//! What survives the end of the process: where the set stands, which zones were turned, who was connected. Written
//! after every change, whole or not at all, by a thread of its own.

use std::fs;
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::sync::Arc;

use etcetera::BaseStrategy;
use serde::de::DeserializeOwned;
use serde::{Deserialize, Serialize};
use tempfile::NamedTempFile;

use super::Show;
use super::changes::Change;
use super::state::playing;
use crate::engine::{CueId, Plan, Snapshot, Standing};
use crate::ports::Connection;

/// What is saved of a performance.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct SavedState {
    /// [`Show::fingerprint`] of the maps that were played.
    pub maps: u64,
    /// Whether the performance ended as it should.
    pub ended_well: bool,
    /// Where the set stood.
    pub standing: Standing,
    /// Zones that were turned since the song was entered: name, and whether it was on.
    pub zones: Vec<(String, bool)>,
    /// Cues that stood on: number and name.
    #[serde(default)]
    pub cues: Vec<(CueId, String)>,
    /// Programs that were connected to our ports.
    #[serde(default)]
    pub connections: Vec<Connection>,
    /// What was changed about the set and not saved: a performance that goes on after it ended unexpectedly has it too.
    #[serde(default)]
    pub changes: Vec<Change>,
}

/// How a performance begins.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Beginning {
    /// With the first entry.
    Afresh,
    /// With the first entry, although the last one ended unexpectedly: the maps have changed since.
    Changed(SavedState),
    /// Where it ended unexpectedly.
    GoOn(SavedState),
}

impl Beginning {
    /// How a performance of `show` begins after what was saved.
    #[must_use]
    pub fn after(saved: Option<SavedState>, show: &Show) -> Beginning {
        match saved {
            None => Beginning::Afresh,
            Some(saved) if saved.ended_well => Beginning::Afresh,
            Some(saved) if saved.maps == show.fingerprint() => Beginning::GoOn(saved),
            Some(saved) => Beginning::Changed(saved),
        }
    }

    /// The cues of `plan` that the last performance left on: by their numbers if the maps are the same, else by
    /// their names.
    #[must_use]
    pub fn cues_left(&self, plan: &Plan) -> Vec<CueId> {
        match self {
            Beginning::Afresh => Vec::new(),
            Beginning::GoOn(saved) => saved.cues.iter().map(|(cue, _)| *cue).collect(),
            Beginning::Changed(saved) => saved.cues.iter().filter_map(|(_, name)| plan.cue_named(name)).collect(),
        }
    }

    /// Whether the last performance may have left notes sounding.
    #[must_use]
    pub fn may_have_left_notes(&self) -> bool {
        !matches!(self, Beginning::Afresh)
    }
}

/// The user's folder for what survives.
fn folder() -> Option<PathBuf> {
    let base = etcetera::choose_base_strategy().ok()?;
    Some(base.state_dir().unwrap_or_else(|| base.data_dir()).join("handspan"))
}

/// The file that keeps the devices that the page let in; `None` where the system has no folder for such things.
#[must_use]
pub fn devices() -> Option<PathBuf> {
    Some(folder()?.join("devices").join("known.json"))
}

/// The file in which a set's performance of this name is saved, in the user's folder for such things; `None` where the
/// system has no such folder. The usual name has none, so that it is not part of the file's.
#[must_use]
pub fn file_of(set: &Path, name: Option<&str>) -> Option<PathBuf> {
    let folder = folder()?;
    let set = fs::canonicalize(set).ok()?;
    let path: String =
        set.to_string_lossy().chars().map(|letter| if letter.is_alphanumeric() { letter } else { '-' }).collect();
    // File systems take 255 bytes; the end of a path tells more than its beginning.
    let tail: Vec<char> = path.chars().rev().take(60).collect();
    let name = name.map_or_else(String::new, |name| format!(" {name}"));
    Some(folder.join(format!("{}{name}.json", tail.into_iter().rev().collect::<String>())))
}

/// The longest file of a state that is read, in bytes: thousands of changes fit.
const LONGEST_STATE: u64 = 16 << 20;

/// Reads what was saved; what cannot be read counts as nothing saved.
#[must_use]
pub fn read(file: &Path) -> Option<SavedState> {
    read_kept(file, LONGEST_STATE)
}

/// Reads what [`write`] wrote; what is no file, is longer than so many bytes or cannot be read counts as nothing.
#[must_use]
pub fn read_kept<T: DeserializeOwned>(file: &Path, longest: u64) -> Option<T> {
    fs::metadata(file).ok().filter(|there| there.is_file() && there.len() <= longest)?;
    serde_json::from_slice(&fs::read(file).ok()?).ok()
}

/// Writes a file for the user alone, whole or not at all, with its folder.
///
/// # Errors
/// It cannot be written.
pub fn write(file: &Path, kept: &impl Serialize) -> io::Result<()> {
    let folder = file.parent().unwrap_or(Path::new("."));
    fs::create_dir_all(folder)?;
    // A temporary file has mode 0600 from its first moment on, and keeps it.
    let mut passing = NamedTempFile::new_in(folder)?;
    serde_json::to_writer_pretty(&mut passing, kept)?;
    passing.flush()?;
    passing.as_file().sync_data()?;
    passing.persist(file).map(|_| ()).map_err(|error| error.error)
}

/// Told once if how a performance stands cannot be written.
type Complain = Box<dyn FnOnce(&io::Error) + Send>;

/// Saves how a performance stands, whenever that has changed.
pub struct Persist {
    file: PathBuf,
    /// What the file holds.
    saved: Option<SavedState>,
    /// Programs that were connected when it began, until there is news of them.
    connections: Vec<Connection>,
    fingerprint: Option<(Arc<Show>, u64)>,
    complain: Option<Complain>,
}

impl Persist {
    /// Saves it in `file`; `cannot` is told once if it cannot be written.
    pub fn new(
        file: PathBuf,
        connections: Vec<Connection>,
        cannot: impl FnOnce(&io::Error) + Send + 'static,
    ) -> Persist {
        Persist { file, saved: None, connections, fingerprint: None, complain: Some(Box::new(cannot)) }
    }

    /// Writes how it stands, if that is something new.
    pub(super) fn save(
        &mut self,
        show: &Arc<Show>,
        snapshot: &Snapshot,
        connections: Option<&Vec<Connection>>,
        ended_well: bool,
    ) {
        let maps = match &self.fingerprint {
            Some((known, fingerprint)) if Arc::ptr_eq(known, show) => *fingerprint,
            _ => self.fingerprint.insert((Arc::clone(show), show.fingerprint())).1,
        };
        let saved = SavedState {
            maps,
            ended_well,
            standing: snapshot.standing,
            zones: turned(show, snapshot),
            cues: cues_on(show, snapshot),
            connections: connections.unwrap_or(&self.connections).clone(),
            changes: show.changes.clone(),
        };
        if self.saved.as_ref() == Some(&saved) {
            return;
        }
        if let Err(error) = write(&self.file, &saved)
            && let Some(complain) = self.complain.take()
        {
            complain(&error);
        }
        self.saved = Some(saved);
    }
}

impl std::fmt::Debug for Persist {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Persist").field("file", &self.file).finish_non_exhaustive()
    }
}

/// The zones of the song that the keys play that are not on or off as its map has them.
fn turned(show: &Show, snapshot: &Snapshot) -> Vec<(String, bool)> {
    let zones = playing(show, &snapshot.standing).map_or(&[][..], |(_, song)| &song.zones);
    let mut turned: Vec<(String, bool)> = Vec::new();
    for (number, zone) in zones.iter().enumerate() {
        let on = snapshot.zone_is_on(number);
        if on != zone.on && !turned.iter().any(|(name, _)| *name == zone.name) {
            turned.push((zone.name.clone(), on));
        }
    }
    turned
}

fn cues_on(show: &Show, snapshot: &Snapshot) -> Vec<(CueId, String)> {
    let cues = snapshot.cues_on(&show.plan);
    cues.map(|cue| (cue, show.plan.cue_name(cue).unwrap_or_default().to_owned())).collect()
}
