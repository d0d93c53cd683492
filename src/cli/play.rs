//! `handspan play`: the daemon, and what it tells.

use std::io::{IsTerminal, Write};
use std::path::Path;
use std::sync::Arc;
use std::thread;
use std::time::{Duration, Instant};

use crossbeam_channel::Receiver;

use super::telling::Teller;
use super::terminal::SingleKeys;
use super::{Failure, maps};
use crate::daemon::keep::{self, Beginning};
use crate::daemon::{self, Daemon, Report, Show, watch};
use crate::map::Book;
use crate::ports::{self, Backend, Ports};

/// Columns of a terminal that does not say how many it has, and the fewest that a keyboard can be drawn in.
const USUAL: usize = 100;
const NARROWEST: usize = 40;
/// How long those who tell and keep may take for the end.
const LAST_WORDS: Duration = Duration::from_secs(2);
/// Columns left of a keyboard, and one on its right.
const INDENT: usize = 8;

pub(super) fn run(set: &str, backend: Backend) -> Result<(), Failure> {
    let show = Arc::new(Show::new(maps::load_sound(set)?));
    let state = keep::file_of(Path::new(set));
    let kept = state.as_deref().and_then(keep::read);
    let connections = kept.as_ref().map_or_else(Vec::new, |kept| kept.connections.clone());
    let wish = ports::Wish { remembered: connections.clone(), ..daemon::wish(&show.book.gear) };
    let ports = ports::open(backend, &wish).map_err(|error| Failure::Wrong(error.to_string()))?;
    let beginning = Beginning::after(kept, &show);
    let mut opening = opening(&show.book, ports.as_ref());
    opening.extend(words_for(&beginning));
    let (mut daemon, remote) = Daemon::new(&show, ports);
    let stopper = remote.clone();
    ctrlc::set_handler(move || stopper.stop())
        .map_err(|error| Failure::Undone(format!("signals cannot be listened to ({error}): start it again.")))?;
    let keys = SingleKeys::begin(remote.clone());
    let line_end = if keys.is_some() { "\r\n" } else { "\n" };
    print_lines(&opening, line_end);
    let mut threads = Vec::new();
    match state {
        Some(state) => {
            let heard = daemon.listen();
            let cannot = move |error: &std::io::Error| {
                let words = format!("Where the set stands cannot be kept for a restart ({error}).");
                print_lines(&[words], line_end);
            };
            threads.extend(keep::keep(state, Arc::clone(&show), &beginning, connections, heard, cannot));
        }
        None => {
            print_lines(&["Where the set stands is not kept: this system has no folder for that.".into()], line_end)
        }
    }
    let heard = daemon.listen();
    let told = Arc::clone(&show);
    threads.extend(thread::Builder::new().name("teller".to_owned()).spawn(move || tell_all(told, &heard, line_end)));
    let again = set.to_owned();
    let watching = watch::watch(show, Box::new(move || maps::load(&again)), remote, daemon.reports());
    if let Err(error) = &watching {
        print_lines(&[error.to_string()], line_end);
    }
    daemon.run(&beginning);
    // They end with the last report, unless a terminal that was stopped holds one up.
    let patience = Instant::now() + LAST_WORDS;
    while threads.iter().any(|thread| !thread.is_finished()) && Instant::now() < patience {
        thread::sleep(Duration::from_millis(5));
    }
    drop(keys);
    Ok(())
}

/// What the player is told of how the performance begins.
fn words_for(beginning: &Beginning) -> Option<String> {
    match beginning {
        Beginning::Afresh => None,
        Beginning::Changed => {
            Some("The last run was broken off, but the maps have changed since: the set begins afresh.".to_owned())
        }
        Beginning::GoOn(_) => {
            Some("The last run was broken off: the set goes on where it stood, and says nothing again.".to_owned())
        }
    }
}

/// What is played tonight, on which ports.
fn opening(book: &Book, ports: &dyn Ports) -> Vec<String> {
    let mut lines = vec![format!("{}: {} songs and pauses", book.set.title, book.set.entries.len())];
    for (number, input) in book.gear.inputs.iter().enumerate() {
        let there = if ports.input_there(number) { "is there" } else { "is not there yet" };
        lines.push(format!("  {} (\"{}\") {there}", input.name.value, input.port.value));
    }
    for (number, output) in book.gear.outputs.iter().enumerate() {
        lines.push(match &output.port {
            None => format!("  {} waits as port \"{}\" of \"{}\"", output.name.value, output.name.value, ports::CLIENT),
            Some(port) if ports.output_there(number) => format!("  {} goes to \"{}\"", output.name.value, port.value),
            Some(port) => format!("  {} (\"{}\") is not there yet", output.name.value, port.value),
        });
    }
    if !ports.capabilities().notices {
        lines.push(
            "  This way to the ports does not notice a cable that comes out: start again if one does.".to_owned(),
        );
    }
    lines
}

/// Puts reports into words until the last one. Columns for keyboards are taken from the terminal.
fn tell_all(show: Arc<Show>, reports: &Receiver<Report>, line_end: &str) {
    // A serial line says that it has no columns at all.
    let columns = crossterm::terminal::size().map_or(0, |(columns, _)| usize::from(columns));
    let columns = if columns < NARROWEST { USUAL } else { columns };
    let drawn = std::io::stdout().is_terminal().then(|| columns - INDENT);
    let mut teller = Teller { show, drawn };
    for report in reports {
        print_lines(&teller.lines(&report), line_end);
        if matches!(report, Report::Ended(_)) {
            break;
        }
    }
}

/// Prints lines at once; a reader that is gone is no reason to stop playing.
fn print_lines(lines: &[String], line_end: &str) {
    let mut out = std::io::stdout().lock();
    for line in lines {
        let _ = write!(out, "{line}{line_end}");
    }
    let _ = out.flush();
}
