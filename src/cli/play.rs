//! `handspan play`: the daemon, and what it tells.

use std::io::{IsTerminal, Write};
use std::thread;

use crossbeam_channel::Receiver;

use super::telling::Teller;
use super::terminal::SingleKeys;
use super::{Failure, maps};
use crate::daemon::{self, Daemon, Report};
use crate::engine::Plan;
use crate::map::Book;
use crate::ports::{self, Backend, Ports};

/// Columns of a terminal that does not say how many it has, and the fewest that a keyboard can be drawn in.
const USUAL: usize = 100;
const NARROWEST: usize = 40;
/// Columns left of a keyboard, and one on its right.
const INDENT: usize = 8;

pub(super) fn run(set: &str, backend: Backend) -> Result<(), Failure> {
    let book = maps::load_sound(set)?;
    let ports = ports::open(backend, &daemon::wish(&book.gear)).map_err(|error| Failure::Wrong(error.to_string()))?;
    let opening = opening(&book, ports.as_ref());
    let (daemon, remote, reports) = Daemon::new(&book, ports);
    let stopper = remote.clone();
    ctrlc::set_handler(move || stopper.stop())
        .map_err(|error| Failure::Undone(format!("signals cannot be listened to ({error}): start it again.")))?;
    let keys = SingleKeys::begin(remote);
    let line_end = if keys.is_some() { "\r\n" } else { "\n" };
    print_lines(&opening, line_end);
    let teller = thread::Builder::new().name("teller".to_owned()).spawn(move || tell_all(&book, &reports, line_end));
    daemon.run();
    if let Ok(teller) = teller {
        // It ends with the last report.
        let _ = teller.join();
    }
    drop(keys);
    Ok(())
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
fn tell_all(book: &Book, reports: &Receiver<Report>, line_end: &str) {
    let plan = Plan::new(book);
    // A serial line says that it has no columns at all.
    let columns = crossterm::terminal::size().map_or(0, |(columns, _)| usize::from(columns));
    let columns = if columns < NARROWEST { USUAL } else { columns };
    let drawn = std::io::stdout().is_terminal().then(|| columns - INDENT);
    let teller = Teller { book, plan: &plan, drawn };
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
