//! What survives the end of the process: where the set stands, which zones were turned, who was connected. Written
//! after every change, whole or not at all, by a thread of its own.

use std::fs;
use std::io::{self, Write};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::thread::{self, JoinHandle};

use crossbeam_channel::Receiver;
use etcetera::BaseStrategy;
use serde::{Deserialize, Serialize};
use tempfile::NamedTempFile;

use super::changes::Change;
use super::{Report, Show};
use crate::engine::{Notice, Plan, Standing};
use crate::ports::Connection;

/// What is kept of a performance.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Kept {
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
    pub cues: Vec<(u16, String)>,
    /// Programs that were connected to our ports.
    #[serde(default)]
    pub connections: Vec<Connection>,
    /// What was changed about the set and not saved: a performance that goes on after it was broken off has it too.
    #[serde(default)]
    pub changes: Vec<Change>,
}

/// How a performance begins.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Beginning {
    /// With the first entry.
    Afresh,
    /// With the first entry, although the last one was broken off: the maps have changed since.
    Changed(Kept),
    /// Where it was broken off.
    GoOn(Kept),
}

impl Beginning {
    /// How a performance of `show` begins after what was kept.
    #[must_use]
    pub fn after(kept: Option<Kept>, show: &Show) -> Beginning {
        match kept {
            None => Beginning::Afresh,
            Some(kept) if kept.ended_well => Beginning::Afresh,
            Some(kept) if kept.maps == show.fingerprint() => Beginning::GoOn(kept),
            Some(kept) => Beginning::Changed(kept),
        }
    }

    /// The cues of `plan` that the last performance left standing on: by their numbers if the maps are the same, else by
    /// their names.
    #[must_use]
    pub fn cues_left(&self, plan: &Plan) -> Vec<u16> {
        match self {
            Beginning::Afresh => Vec::new(),
            Beginning::GoOn(kept) => kept.cues.iter().map(|(cue, _)| *cue).collect(),
            Beginning::Changed(kept) => kept.cues.iter().filter_map(|(_, name)| plan.cue_named(name)).collect(),
        }
    }

    /// Whether the last performance may have left notes sounding.
    #[must_use]
    pub fn was_broken_off(&self) -> bool {
        !matches!(self, Beginning::Afresh)
    }
}

/// The file in which a set's performance of this name is kept, in the user's folder for such things; `None` where the
/// system has no such folder. The usual name has none, so that it is not part of the file's.
#[must_use]
pub fn file_of(set: &Path, name: Option<&str>) -> Option<PathBuf> {
    let base = etcetera::choose_base_strategy().ok()?;
    let folder = base.state_dir().unwrap_or_else(|| base.data_dir()).join("handspan");
    let set = fs::canonicalize(set).ok()?;
    let path: String =
        set.to_string_lossy().chars().map(|letter| if letter.is_alphanumeric() { letter } else { '-' }).collect();
    // File systems take 255 bytes; the end of a path tells more than its beginning.
    let tail: Vec<char> = path.chars().rev().take(60).collect();
    let name = name.map_or_else(String::new, |name| format!(" {name}"));
    Some(folder.join(format!("{}{name}.json", tail.into_iter().rev().collect::<String>())))
}

/// Reads what was kept; what cannot be read counts as nothing kept.
#[must_use]
pub fn read(file: &Path) -> Option<Kept> {
    serde_json::from_slice(&fs::read(file).ok()?).ok()
}

fn write(file: &Path, kept: &Kept) -> io::Result<()> {
    let folder = file.parent().unwrap_or(Path::new("."));
    fs::create_dir_all(folder)?;
    let mut passing = NamedTempFile::new_in(folder)?;
    serde_json::to_writer_pretty(&mut passing, kept)?;
    passing.flush()?;
    passing.as_file().sync_data()?;
    passing.persist(file).map(|_| ()).map_err(|error| error.error)
}

/// Keeps a performance as its reports tell it, from now on until its end; the thread ends with the performance.
/// `cannot` is told once if it cannot be written.
///
/// # Errors
/// The system gives no thread.
pub fn keep(
    file: PathBuf,
    show: Arc<Show>,
    beginning: &Beginning,
    connections: Vec<Connection>,
    reports: Receiver<Report>,
    cannot: impl Fn(&io::Error) + Send + 'static,
) -> io::Result<JoinHandle<()>> {
    let (standing, zones) = match beginning {
        Beginning::GoOn(kept) => (kept.standing, kept.zones.clone()),
        Beginning::Afresh | Beginning::Changed(_) => (Standing::default(), Vec::new()),
    };
    let changes = show.changes.clone();
    let kept =
        Kept { maps: show.fingerprint(), ended_well: false, standing, zones, cues: Vec::new(), connections, changes };
    let mut keeper = Keeper { kept, show };
    thread::Builder::new().name("keep".to_owned()).spawn(move || {
        let mut complained = false;
        while let Ok(report) = reports.recv() {
            let mut changed = keeper.hear(&report);
            while let Ok(report) = reports.try_recv() {
                changed |= keeper.hear(&report);
            }
            if changed
                && let Err(error) = write(&file, &keeper.kept)
                && !std::mem::replace(&mut complained, true)
            {
                cannot(&error);
            }
            if keeper.kept.ended_well {
                break;
            }
        }
    })
}

struct Keeper {
    kept: Kept,
    show: Arc<Show>,
}

impl Keeper {
    /// Takes a report in; whether there is something new to keep.
    fn hear(&mut self, report: &Report) -> bool {
        let before = self.kept.clone();
        match report {
            Report::Told(notice, standing) => {
                // A pause keeps the zones of the song before as they are.
                let entered = *notice == Notice::Song && standing.song == Some(standing.entry);
                if self.kept.standing.song != standing.song || entered {
                    self.kept.zones.clear();
                }
                self.kept.standing = *standing;
                if let Notice::Cue(cue, on) = notice {
                    self.kept.cues.retain(|(known, _)| known != cue);
                    if *on {
                        let name = self.show.plan.cue_name(*cue).unwrap_or_default().to_owned();
                        self.kept.cues.push((*cue, name));
                    }
                }
                if let Notice::Zone(name, on) = notice {
                    let name = self.show.plan.zone_name(*name).to_owned();
                    self.kept.zones.retain(|(known, _)| *known != name);
                    self.kept.zones.push((name, *on));
                }
            }
            Report::Maps(show) => {
                self.kept.maps = show.fingerprint();
                for (cue, name) in &mut self.kept.cues {
                    *cue = show.plan.cue_named(name).unwrap_or(*cue);
                }
                self.kept.changes.clone_from(&show.changes);
                self.show = Arc::clone(show);
            }
            Report::Connections(connections) => self.kept.connections = connections.to_vec(),
            Report::Ended(_) => self.kept.ended_well = true,
            _ => {}
        }
        self.kept != before
    }
}
