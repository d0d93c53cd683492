//! `handspan check`: everything that could go wrong with a set, before it does.
//!
//! With `--json` standard output holds one object and nothing else. Fields may be added, none will change:
//!
//! | field | holds |
//! | --- | --- |
//! | `set` | the set's path, as given |
//! | `errors`, `hints` | how many of each |
//! | `findings` | a list of the first 1,000: `level` (`error`, `hint`), `kind` (`unreadable`: a file cannot be read as what it should be, `finding`: all else), `file`, `line`, `column` (from 1, in characters; left out where there is none), `title`, `label`, `help` (or null), `also` (a list of `file`, `line`, `column`, `label`) |

use serde::Serialize;

use super::console::{Failure, tell, tell_json};
use super::maps;
use crate::check::{self, PortMatch, PortMatches, SeenPort};
use crate::daemon;
use crate::map::{Book, Diagnostic, Listed, Loaded, Source};
use crate::ports::{self, Backend, Match};

/// So many findings are listed for programs; the counts say of how many.
const MOST_LISTED: usize = 1_000;

/// What `--json` prints.
#[derive(Debug, Serialize)]
struct CheckReport<'a> {
    set: &'a str,
    errors: usize,
    hints: usize,
    findings: Vec<Listed<'a>>,
}

/// Checks a set: what is found goes to standard error, a summary to standard output; for programs all of it to
/// standard output, and to no other place.
///
/// # Errors
/// A map cannot be read, or there is an error; it has been told.
pub(super) fn run(set: &str, json: bool) -> Result<(), Failure> {
    let Checked { loaded, looked_at_ports } = Checked::of(set);
    let found = &loaded.diagnostics;
    let errors = loaded.errors();
    let hints = found.len() - errors;
    let written = match json {
        true => print(&CheckReport { set, errors, hints, findings: listed(found, &loaded.sources) }),
        false => {
            maps::say(found, &loaded.sources);
            tell(&summary(set, errors, hints, loaded.book.is_none()));
            if loaded.book.is_some() && !looked_at_ports {
                tell("This machine has no MIDI ports at present: whether tonight's are there was not looked at.");
            }
            Ok(())
        }
    };
    // The findings have said all that there is to say.
    if errors > 0 { Err(maps::refused(found, String::new())) } else { written }
}

/// A set with all that was found.
pub(super) struct Checked {
    /// The set, its files, and the findings in the order of their places.
    pub loaded: Loaded,
    /// Whether the gear was held against the machine's ports: one without MIDI can still check a set.
    pub looked_at_ports: bool,
}

impl Checked {
    /// Reads a set and looks for all that could go wrong with it.
    pub fn of(set: &str) -> Checked {
        let mut loaded = maps::load(set);
        let mut looked_at_ports = false;
        if let Some(book) = &loaded.book {
            let found = &mut loaded.diagnostics;
            found.extend(check::findings(book));
            if let Ok(listed) = ports::list(Backend::System) {
                looked_at_ports = true;
                found.extend(check::port_findings(book, &matches(book, &listed)));
            }
            found.sort_by_key(|finding| finding.spot.map(|spot| (spot.file, spot.start)));
        }
        Checked { loaded, looked_at_ports }
    }
}

/// What the gear finds among the ports that are there.
fn matches(book: &Book, listed: &[ports::FoundPort]) -> PortMatches {
    let (inputs, outputs) = ports::look_up(&daemon::wish(&book.gear), listed);
    let seen = |port: ports::FoundPort| SeenPort { name: port.name(), address: port.address, serial: port.serial };
    let all = |ports: Vec<ports::FoundPort>| ports.into_iter().map(seen).collect();
    let matched = |met: Match| match met {
        Match::Virtual if ports::capabilities(Backend::System).virtual_ports => PortMatch::Own,
        Match::Virtual => PortMatch::NoVirtualPorts,
        Match::One(port) => PortMatch::One(seen(port)),
        Match::Missing(there) => PortMatch::Missing(all(there)),
        Match::Several(ties) => PortMatch::Several(all(ties)),
    };
    PortMatches {
        inputs: inputs.into_iter().map(matched).collect(),
        outputs: outputs.into_iter().map(matched).collect(),
    }
}

fn listed<'a>(found: &'a [Diagnostic], sources: &'a [Source]) -> Vec<Listed<'a>> {
    found.iter().take(MOST_LISTED).map(|finding| finding.listed(sources)).collect()
}

fn print(report: &CheckReport<'_>) -> Result<(), Failure> {
    let text = serde_json::to_string_pretty(report)
        .map_err(|error| Failure::Failed(format!("the findings cannot be written as JSON: {error}")))?;
    tell_json(&text);
    Ok(())
}

fn summary(set: &str, errors: usize, hints: usize, stopped: bool) -> String {
    let count = |number: usize, one: &str| match number {
        0 => None,
        1 => Some(format!("one {one}")),
        _ => Some(format!("{number} {one}s")),
    };
    let counts: Vec<String> = [count(errors, "error"), count(hints, "hint")].into_iter().flatten().collect();
    match (counts.as_slice(), stopped) {
        ([], _) => format!("{set}: nothing to put right, nothing to look at."),
        (_, true) => {
            format!("{set}: {}. Put right what is marked; only then can the rest be checked.", counts.join(", "))
        }
        (_, false) if errors == 0 => format!("{set}: nothing to put right, {} worth a look.", counts.join(", ")),
        (_, false) => {
            format!("{set}: {}. Errors would make tonight go wrong; hints are worth a look.", counts.join(", "))
        }
    }
}
