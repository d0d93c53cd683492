//! Playing a set with nothing plugged in: a page of the stand is keyboard and loudspeaker.

use std::path::Path;
use std::sync::Arc;
use std::thread;

use crossbeam_channel::Receiver;

use super::console::{Failure, tell};
use super::teller::Teller;
use super::{maps, page, reach, signals};
use crate::daemon::observer::{Duties, Observer};
use crate::daemon::persist::Beginning;
use crate::daemon::requests::TRYOUT_NAME;
use crate::daemon::{Daemon, Happened, Instruction, Report, Show, reload, wish};
use crate::engine::Action;
use crate::map::{Gear, Stand};
use crate::ports::Ports;
use crate::ports::memory::World;

/// Who plays and listens where there are no ports.
const PAGE: &str = "the page";

/// Plays `set` on a page of this machine until Ctrl-C; with the song that `first` asks for, where there is one.
pub(super) fn run(set: &Path, first: Option<&str>) -> Result<(), Failure> {
    let show = Arc::new(Show::new(maps::load_sound(&set.to_string_lossy())?));
    let (mut daemon, remote) = Daemon::new(&show, ports(&show.book.gear)?);
    let observer = Observer::new(&mut daemon, &show, TRYOUT_NAME).map_err(|error| not_opened(&error))?;
    observer.begin(Duties::default()).map_err(|error| not_opened(&error))?;
    let stand = here(&show.book.gear.stand);
    let (open, words) = page::open(&mut daemon, (&show, &stand), (&remote, &observer), None);
    let Some(open) = open else { return Err(not_opened(&words.first().map_or("", |words| words.trim()))) };
    let mut opening = Vec::new();
    let control = reach::tryout(&mut opening)
        .and_then(|name_lock| reach::open(name_lock, (&observer, &remote), Some(&open), None, &mut opening));
    let stopper = remote.clone();
    signals::listen(move || stopper.stop()).map_err(|error| not_opened(&error))?;
    let link = page::to_play_on(&open.link());
    opening.iter().for_each(|words| tell(words));
    tell(&format!(
        "\nPlay it yourself: {link}\n  \
        Open it in a browser on this machine: keys for the mouse, the fingers or the computer's keyboard, and a small\n  \
        synthesizer. It sounds with the first key, quietly; take headphones off all the same before that.\n  \
        Maps that you change in {} are loaded as soon as they are saved. Ctrl-C ends it.",
        folder(set).display()
    ));
    if has_screen() {
        // The link has been said; where no browser opens by itself, the player opens one.
        let _ = open::that_detached(link);
    }
    if let Some(first) = first.and_then(|first| Action::parse(first, &show.plan).ok()) {
        remote.give(Instruction::Action(first));
    }
    let reports = observer.listen();
    let teller = thread::Builder::new().name("teller".to_owned()).spawn(move || tell_of_maps(&reports));
    let watching = reload::watch(maps::read, remote);
    if let Err(error) = &watching {
        tell(&error.to_string());
    }
    daemon.run(&Beginning::Afresh);
    drop((control, open, watching));
    let _ = teller.map(thread::JoinHandle::join);
    Ok(())
}

fn not_opened(error: &dyn std::fmt::Display) -> Failure {
    Failure::Failed(format!("the page cannot be opened: {error}."))
}

/// The folder of a set, as a person names it.
fn folder(set: &Path) -> &Path {
    match set.parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("this folder"),
    }
}

/// The stand for a tryout: on this machine alone, wherever the gear has it.
fn here(stand: &Stand) -> Stand {
    if stand.listen.is_some() && !stand.is_in_network() {
        return stand.clone();
    }
    let usual = Stand::default();
    Stand { listen: usual.listen, asked: usual.asked, spot: usual.spot, ..stand.clone() }
}

/// Tells what becomes of maps that are saved meanwhile, until the end.
fn tell_of_maps(reports: &Receiver<Report>) {
    let mut teller = Teller::default();
    for report in reports {
        let lines = teller.lines(&report);
        match report.what {
            Happened::Loaded
            | Happened::MapsRefused(_)
            | Happened::MapsInOrder
            | Happened::ChangesDropped(_)
            | Happened::StandWaits
            | Happened::Rebuilt => lines.iter().for_each(|line| tell(line)),
            Happened::Ended(_) => return,
            _ => {}
        }
    }
}

/// Ports that lead nowhere: the page plays as the keyboard, and hears what each output gets.
pub(super) fn ports(gear: &Gear) -> Result<Box<dyn Ports>, Failure> {
    let world = World::live(|_, _| ());
    let ports = world.open_connected(&wish(gear), PAGE).map_err(|error| Failure::Wrong(error.to_string()))?;
    Ok(Box::new(ports))
}

/// Whether a browser could show anything here.
fn has_screen() -> bool {
    let is_set = |name| std::env::var_os(name).is_some_and(|value| !value.is_empty());
    !cfg!(target_os = "linux") || is_set("DISPLAY") || is_set("WAYLAND_DISPLAY")
}
