//! Maps that are saved while they are played: read, checked, and handed over to come into force between two events.
//!
//! Editors write a file in pieces, or write another and rename it; so the folders are watched, not the files, and
//! nothing is read before they have been quiet for a moment. A map with errors is looked at once more a little later
//! before anything is said about it: it may be half-written.

use std::ffi::{OsStr, OsString};
use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex, Weak};
use std::thread;
use std::time::Duration;

use crossbeam_channel::{Receiver, RecvTimeoutError, bounded};
use notify::{RecursiveMode, Watcher};

use super::changes::{self, Read};
use super::inbox::Handed;
use super::{Happened, PreparedMaps, Remote, SavedFault, Show, wish};
use crate::map::{Diagnostic, Level, Source, clean};
use crate::wording::changes::other_ports;

/// So many errors of saved maps are told.
const MOST_TOLD: usize = 20;

/// The folders must have been quiet for this long.
const QUIET: Duration = Duration::from_millis(80);
/// After this, errors are not those of a half-written file.
const PATIENCE: Duration = Duration::from_millis(400);
/// So often what was read may be overtaken by a change that somebody asks for.
const OVERTAKEN: usize = 8;
/// Notices of changes that may wait; more say nothing new.
const NOTICES: usize = 64;

/// Why saved maps cannot be watched.
#[derive(Debug, thiserror::Error)]
#[error("maps that are saved while they are played cannot be noticed ({0}): start again after a change")]
pub struct WatchError(#[from] notify::Error);

/// What came of reading the set again.
enum ReadAgain {
    Same,
    Wrong(Vec<SavedFault>),
    Ready {
        prepared: Box<PreparedMaps>,
        /// Changes of the evening that no longer fit, in sentences.
        dropped: Vec<String>,
    },
}

/// Watches the folders of the set that is loaded on a thread of its own, until what is returned is dropped; its files
/// are read again with `read`.
///
/// # Errors
/// The system does not tell of changed files.
pub fn watch(read: Read, remote: Remote) -> Result<Watching, WatchError> {
    let show = remote.show();
    let (sender, notices) = bounded(NOTICES);
    let endings = endings(&show);
    let mut watcher = notify::recommended_watcher(move |event: notify::Result<notify::Event>| {
        let beside = |event: notify::Event| event.kind.is_access() || !may_be_maps(&event.paths, &endings);
        if !event.is_ok_and(beside) {
            let _ = sender.try_send(());
        }
    })?;
    for folder in folders(&show) {
        watcher.watch(&folder, RecursiveMode::NonRecursive)?;
    }
    let watcher = Arc::new(Mutex::new(watcher));
    let opened = at_the_start(&show);
    let reloader =
        Reloader { watched: folders(&show), opened, read, remote, watcher: Arc::downgrade(&watcher), refused: false };
    thread::Builder::new()
        .name("reload".to_owned())
        .spawn(move || reloader.run(&notices))
        .map_err(|error| WatchError(notify::Error::io(error)))?;
    Ok(Watching { _watcher: watcher })
}

/// Folders that are watched; dropping it ends that.
#[derive(Debug)]
pub struct Watching {
    _watcher: Arc<Mutex<notify::RecommendedWatcher>>,
}

/// The folders of all files of a set, each once.
fn folders(show: &Show) -> Vec<PathBuf> {
    let folder = |path: &str| match Path::new(path).parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder.to_owned(),
        _ => PathBuf::from("."),
    };
    let mut folders: Vec<PathBuf> = show.book.sources.iter().map(|source| folder(&source.path)).collect();
    folders.sort();
    folders.dedup();
    folders
}

/// What the names of a set's files end in.
fn endings(show: &Show) -> Vec<Option<OsString>> {
    let paths = show.book.sources.iter().map(|source| Path::new(&source.path));
    paths.map(|path| path.extension().map(OsStr::to_owned)).collect()
}

/// Whether one of these files may be a map. A log or a take that lies beside the maps is none: a line in the log must
/// not have the maps read again, which may be what the next line is about.
fn may_be_maps(paths: &[PathBuf], endings: &[Option<OsString>]) -> bool {
    let known = |path: &PathBuf| endings.iter().any(|ending| ending.as_deref() == path.extension());
    paths.is_empty() || paths.iter().any(known)
}

/// What of the gear's `[stand]` holds from the next start: where the page is served, and the input that it plays as.
type AtTheStart = (Option<SocketAddr>, Option<usize>);

fn at_the_start(show: &Show) -> AtTheStart {
    let stand = &show.book.gear.stand;
    (stand.listen, stand.input)
}

struct Reloader {
    /// The folders that are watched.
    watched: Vec<PathBuf>,
    /// What of the page was opened at the start.
    opened: AtTheStart,
    read: Read,
    remote: Remote,
    watcher: Weak<Mutex<notify::RecommendedWatcher>>,
    /// Saved maps were refused, and are not in order yet.
    refused: bool,
}

impl Reloader {
    fn run(mut self, notices: &Receiver<()>) {
        // Something may have been saved between the first reading and the beginning of the watch.
        self.look(notices);
        while notices.recv().is_ok() {
            wait_for_quiet(notices);
            // A song may have been added from another folder since.
            self.watch_folders_of(&self.remote.show());
            self.look(notices);
        }
    }

    /// Reads the files again, and does what follows from it.
    fn look(&mut self, notices: &Receiver<()>) {
        let mut found = self.read_again();
        if matches!(found, ReadAgain::Wrong(_)) && notices.recv_timeout(PATIENCE).is_ok() {
            wait_for_quiet(notices);
            found = self.read_again();
        }
        match found {
            ReadAgain::Same => self.in_order(),
            ReadAgain::Wrong(faults) => self.refuse(faults),
            ReadAgain::Ready { prepared, dropped } => self.hand_over(prepared, dropped),
        }
    }

    fn refuse(&mut self, faults: Vec<SavedFault>) {
        self.refused = true;
        self.remote.tell(Happened::MapsRefused(Arc::new(faults)));
    }

    /// What was wrong with the saved maps is so no longer.
    fn in_order(&mut self) {
        if std::mem::take(&mut self.refused) {
            self.remote.tell(Happened::MapsInOrder);
        }
    }

    fn hand_over(&mut self, mut prepared: Box<PreparedMaps>, mut dropped: Vec<String>) {
        // What is prepared may be overtaken by a change that somebody asks for at this moment: then it is read again.
        for _ in 0..OVERTAKEN {
            if self.watch_folders_of(prepared.show()) {
                // Something may have been saved there before it was watched.
                if let ReadAgain::Ready { prepared: newer, dropped: fewer } = self.read_again() {
                    (prepared, dropped) = (newer, fewer);
                }
            }
            let (before, now) = (at_the_start(&self.remote.show()), at_the_start(prepared.show()));
            match self.remote.load(prepared) {
                Handed::Loaded => {
                    self.in_order();
                    return self.tell(dropped, now != before && now != self.opened);
                }
                Handed::Ended => return,
                Handed::Overtaken => match self.read_again() {
                    ReadAgain::Ready { prepared: newer, dropped: fewer } => (prepared, dropped) = (newer, fewer),
                    ReadAgain::Same => return self.in_order(),
                    ReadAgain::Wrong(faults) => return self.refuse(faults),
                },
            }
        }
    }

    /// What is to be said of maps that were loaded, beside that they were.
    fn tell(&self, dropped: Vec<String>, stand_waits: bool) {
        if !dropped.is_empty() {
            self.remote.tell(Happened::ChangesDropped(Arc::new(dropped)));
        }
        if stand_waits {
            self.remote.tell(Happened::StandWaits);
        }
    }

    /// A set that was saved may name songs in other folders: whether it does.
    fn watch_folders_of(&mut self, show: &Show) -> bool {
        let new: Vec<PathBuf> = folders(show).into_iter().filter(|folder| !self.watched.contains(folder)).collect();
        let Some(watcher) = self.watcher.upgrade() else { return false };
        let Ok(mut watcher) = watcher.lock() else { return false };
        for folder in &new {
            if let Err(error) = watcher.watch(folder, RecursiveMode::NonRecursive) {
                let words = WatchError(error).to_string();
                self.remote.tell(Happened::MapsRefused(Arc::new(vec![in_a_line(words)])));
            }
        }
        self.watched.extend(new.iter().cloned());
        !new.is_empty()
    }

    /// Reads the files again, and does to them what was changed this evening.
    fn read_again(&mut self) -> ReadAgain {
        let show = self.remote.show();
        let Some(set) = show.book.sources.first() else { return ReadAgain::Same };
        let changed = changes::load(&set.path, self.read, &show.changes);
        let Some(book) = changed.loaded.book else {
            let errors = || changed.loaded.diagnostics.iter().filter(|fault| fault.level == Level::Error);
            let shown = errors().take(MOST_TOLD).map(|error| fault(error, &changed.loaded.sources));
            let more = errors().count().saturating_sub(MOST_TOLD);
            return ReadAgain::Wrong(shown.chain((more > 0).then(|| in_a_line(format!("And {more} more.")))).collect());
        };
        let texts = |sources: &[crate::map::Source]| {
            sources.iter().map(|source| (source.path.clone(), source.text.clone())).collect::<Vec<_>>()
        };
        if texts(&book.sources) == texts(&show.book.sources) && changed.dropped.is_empty() {
            return ReadAgain::Same;
        }
        if wish(&book.gear) != wish(&show.book.gear) {
            return ReadAgain::Wrong(vec![in_a_line(other_ports(&show.book.gear, &book.gear))]);
        }
        let prepared = Box::new(PreparedMaps::new(&show, book, changed.changes));
        ReadAgain::Ready { prepared, dropped: changed.dropped }
    }
}

/// A fault of saved maps. In a line its file is told as the set names it.
fn fault(error: &Diagnostic, sources: &[Source]) -> SavedFault {
    let place = error
        .spot
        .and_then(|spot| spot.place(sources))
        .map(|place| format!("{}, line {}: ", place.beside_the_set(sources), place.line));
    let line = clean(&format!("{}{}", place.unwrap_or_default(), error.title));
    SavedFault { drawn: error.render(sources, false), line }
}

/// One that says all in a line.
fn in_a_line(words: String) -> SavedFault {
    SavedFault { drawn: words.clone(), line: words }
}

fn wait_for_quiet(notices: &Receiver<()>) {
    loop {
        match notices.recv_timeout(QUIET) {
            Ok(()) => {}
            Err(RecvTimeoutError::Timeout | RecvTimeoutError::Disconnected) => return,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_log_or_a_take_beside_the_maps_is_no_map() {
        let endings = [Some("toml".into()), Some("set".into())];
        let may = |names: &[&str]| may_be_maps(&names.iter().map(PathBuf::from).collect::<Vec<_>>(), &endings);
        assert!(may(&["maps/songs/weir-gate.toml"]) && may(&["tonight.set"]));
        assert!(may(&["maps/4913", "maps/weir-gate.toml"]), "renamed into place");
        assert!(may(&[]), "the system says only that something was");
        for name in ["concert.log", "concert.log.1", "take.mid", "takes/2026-12-19 19.30.00"] {
            assert!(!may(&[name]), "{name}");
        }
    }
}
