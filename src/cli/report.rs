//! `handspan report`: what somebody who helps needs to know, in one text file, without passcodes.

use std::fs::File;
use std::io::{ErrorKind, Write};
use std::path::{Path, PathBuf};

use jiff::ZonedDateTime;

use super::check::Checked;
use super::console::{Failure, tell};
use super::{maps, ports as listing, status};
use crate::daemon::control;
use crate::map::{Book, LEFT_OUT, clean_lines, without_secrets};
use crate::ports::{self, Backend};

pub(super) const HELP: &str = "It holds the versions, the ports, the maps of the set with what `check` finds, the state and \
latencies of a handspan that runs, and the end of a log. Passcodes are left out. Nothing is sent to anybody: look through \
the file, then give it to whoever helps.

Examples:
  handspan report evening/set.toml --log concert.log
  handspan report --out trouble.txt            without a set: the machine alone

Exit codes: 0 done, 1 it could not be written, 2 the command line is wrong or a file cannot be read.";

/// The longest log that is looked at, in bytes; an evening writes far less.
const LONGEST_LOG: u64 = 256 << 20;
/// So many lines of the log's end are taken.
const LOG_LINES: usize = 400;

/// What the command line asks for.
pub(super) struct ReportOptions<'a> {
    pub set: Option<&'a str>,
    pub log: Option<&'a Path>,
    /// Where it goes; a new file in this folder if not given.
    pub out: Option<&'a Path>,
}

/// A part of the report.
struct Part {
    title: String,
    text: String,
}

impl Part {
    fn new(title: impl Into<String>, text: impl Into<String>) -> Part {
        Part { title: title.into(), text: text.into() }
    }
}

/// Writes the report and says what is in it.
///
/// # Errors
/// The log cannot be read, or the report cannot be written.
pub(super) fn run(wanted: &ReportOptions<'_>) -> Result<(), Failure> {
    let now = ZonedDateTime::now();
    let mut parts = vec![Part::new("Versions", versions(&now)), Part::new("Ports", all_ports()), running()];
    let mut secrets = Vec::new();
    if let Some(set) = wanted.set {
        let checked = Checked::of(set);
        parts.push(Part::new(format!("What `check` finds in {set}"), findings(&checked)));
        let sources = &checked.loaded.sources;
        parts.extend(sources.iter().map(|source| Part::new(source.path.clone(), without_secrets(&source.text))));
        secrets = checked.loaded.book.as_ref().map_or_else(Vec::new, passcodes);
    }
    if let Some(log) = wanted.log {
        parts.push(Part::new(format!("The end of {}", log.display()), end_of(log)?));
    }
    let text = without(&whole(&parts), &secrets);
    let path = wanted.out.map_or_else(
        || PathBuf::from(now.strftime("handspan-report-%Y-%m-%d-%H%M%S.txt").to_string()),
        Path::to_path_buf,
    );
    write(&path, &text)?;
    tell(&format!("{} holds:", path.display()));
    let lines = |part: &Part| match part.text.trim_end().lines().count() {
        1 => "1 line".to_owned(),
        lines => format!("{lines} lines"),
    };
    parts.iter().for_each(|part| tell(&format!("  {}: {}", without(&part.title, &secrets), lines(part))));
    tell("Passcodes are left out. It was sent to nobody: look through it before you give it away.");
    Ok(())
}

/// All parts, each below its title.
fn whole(parts: &[Part]) -> String {
    let part = |part: &Part| format!("== {}\n{}\n", part.title, part.text.trim_end());
    clean_lines(&parts.iter().map(part).collect::<Vec<_>>().join("\n"))
}

/// A text in which no passcode stands, wherever it came from, and the player's folder has no name.
fn without(text: &str, secrets: &[String]) -> String {
    let text = secrets.iter().fold(text.to_owned(), |text, secret| text.replace(secret.as_str(), LEFT_OUT));
    match etcetera::home_dir().ok().as_deref().and_then(Path::to_str).filter(|home| home.len() > 1) {
        Some(home) => text.replace(home, "~"),
        None => text,
    }
}

fn passcodes(book: &Book) -> Vec<String> {
    let stand = &book.gear.stand;
    [&stand.passcode, &stand.viewing_passcode].into_iter().flatten().cloned().collect()
}

fn versions(now: &ZonedDateTime) -> String {
    let processors = std::thread::available_parallelism().map_or(0, usize::from);
    let (system, machine) = (std::env::consts::OS, std::env::consts::ARCH);
    let written = now.strftime("%Y-%m-%d %H:%M:%S %z");
    let mut lines = vec![
        format!("handspan {}", env!("CARGO_PKG_VERSION")),
        format!("{system} on {machine}, {processors} processors"),
        format!("written {written}"),
    ];
    lines.extend(kernel());
    lines.join("\n")
}

/// The kernel, and the system around it as it calls itself (os-release of freedesktop.org).
#[cfg(unix)]
fn kernel() -> Vec<String> {
    let known = rustix::system::uname();
    let part = |text: &std::ffi::CStr| text.to_string_lossy().into_owned();
    let kernel = format!("kernel: {} {} {}", part(known.sysname()), part(known.release()), part(known.version()));
    let release = std::fs::read_to_string("/etc/os-release").unwrap_or_default();
    let name = release.lines().find_map(|line| line.strip_prefix("PRETTY_NAME="));
    let system = name.map(|name| format!("system: {}", name.trim_matches('"')));
    [kernel].into_iter().chain(system).collect()
}

/// Windows names its version to nobody without a library of its own.
#[cfg(not(unix))]
fn kernel() -> Vec<String> {
    Vec::new()
}

fn all_ports() -> String {
    match ports::list(Backend::System) {
        Ok(listed) => listing::lines(&listed).join("\n"),
        Err(error) => error.to_string(),
    }
}

/// Every handspan that runs now, with its latencies.
fn running() -> Part {
    let title = "Running now";
    let found = control::folder().and_then(|folder| Ok((control::running(&folder)?, folder)));
    let (running, folder) = match found {
        Ok(found) => found,
        Err(error) => return Part::new(title, format!("{error}.")),
    };
    let lines = running.iter().flat_map(|running| match status::state(&folder, &running.name) {
        Ok(state) => status::lines(&state),
        Err(Failure::Wrong(words) | Failure::Failed(words)) => vec![format!("{}: {words}", running.name)],
    });
    let text = lines.collect::<Vec<_>>().join("\n");
    Part::new(title, if text.is_empty() { "no handspan".to_owned() } else { text })
}

fn findings(checked: &Checked) -> String {
    let loaded = &checked.loaded;
    let (found, errors) = (&loaded.diagnostics, loaded.errors());
    let mut text = format!("{errors} errors, {} hints\n", found.len() - errors);
    for finding in found {
        text.push_str(&format!("\n{}\n", finding.render(&loaded.sources, false)));
    }
    if !checked.looked_at_ports {
        text.push_str("\nThe gear was not held against ports.\n");
    }
    text
}

/// The last lines of a log.
fn end_of(log: &Path) -> Result<String, Failure> {
    let unreadable = |error| {
        Failure::Wrong(format!(
            "{} cannot be read ({error}): --log takes the file that `play --log` wrote.",
            log.display()
        ))
    };
    let bytes = maps::read_bounded(log, LONGEST_LOG).map_err(unreadable)?;
    let text = String::from_utf8_lossy(&bytes);
    let lines: Vec<&str> = text.lines().collect();
    Ok(lines.iter().skip(lines.len().saturating_sub(LOG_LINES)).copied().collect::<Vec<_>>().join("\n"))
}

/// A new file: what is there already may be somebody's only copy of something.
fn write(path: &Path, text: &str) -> Result<(), Failure> {
    let name = path.display();
    let written = File::create_new(path).and_then(|mut file| file.write_all(text.as_bytes()));
    written.map_err(|error| match error.kind() {
        ErrorKind::AlreadyExists => Failure::Failed(format!("{name} is there already: give --out another name.")),
        _ => Failure::Failed(format!("{name} cannot be written ({error}): give --out a place that you may write to.")),
    })
}
