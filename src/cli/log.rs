//! The log: what happened, line by line, each with its time and cause, written by a thread of its own.
//!
//! Whoever has something to say marks it with the time and leaves it in a bounded channel, never waiting; so a slow
//! disk delays nobody, nor the time that a line bears.

use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::thread::{self, JoinHandle};
use std::time::Duration;

use crossbeam_channel::{Receiver, Sender, bounded};
use jiff::ZonedDateTime;

use super::console::Failure;
use super::rotation::Rotating;
use super::teller::Teller;
use crate::daemon::{Happened, Report};
use crate::engine::{Fired, Notice};
use crate::map::{Book, clean};
use crate::ports::{Connection, Direction};
use crate::wording::{self, actions, cues, performance};

/// Bytes of one file; with its predecessors five times that, some weeks of rehearsals.
const MOST: u64 = 1024 * 1024;

/// Lines that may wait for the disk.
const WAITING: usize = 4096;

/// At the end the last line gets so long to find room.
const PATIENCE: Duration = Duration::from_secs(2);

/// What a line is about.
#[derive(Debug)]
enum Topic {
    Report(Box<Report>),
    Words(String),
    /// Nothing more comes.
    End,
}

/// Where everybody leaves what happened; never waits.
#[derive(Debug, Clone)]
pub(super) struct Log {
    lines: Sender<(ZonedDateTime, Topic)>,
    missing: Arc<AtomicU64>,
}

impl Log {
    /// Opens a log and begins to write; `complain` is told once if it cannot go on.
    ///
    /// # Errors
    /// The file cannot be written, in a sentence.
    pub fn begin(path: &Path, complain: impl Fn(&str) + Send + 'static) -> Result<(Log, JoinHandle<()>), Failure> {
        let name = path.display().to_string();
        let unwritable = |error: std::io::Error| {
            let name = path.display();
            Failure::Wrong(format!(
                "the log {name} cannot be written ({error}): give --log a file in a folder that you may write to."
            ))
        };
        let mut file = Rotating::open(path, MOST).map_err(unwritable)?;
        let (lines, waiting) = bounded(WAITING);
        let missing = Arc::new(AtomicU64::new(0));
        let log = Log { lines, missing: Arc::clone(&missing) };
        let write = move || {
            let teller = Teller::default();
            write_all(teller, &waiting, &missing, &mut |line| file.line(line), &|error| {
                complain(&performance::log_ended(&name, error));
            });
        };
        let writing = thread::Builder::new().name("log".to_owned()).spawn(write).map_err(unwritable)?;
        Ok((log, writing))
    }

    /// Says that nothing more comes: the log's thread ends when all before is written.
    pub fn end(&self) {
        let _ = self.lines.send_timeout((ZonedDateTime::now(), Topic::End), PATIENCE);
    }

    /// Something that the owner reported, with the time at which it happened.
    pub fn report(&self, report: &Report) {
        let when = jiff::Timestamp::try_from(report.at)
            .map_or_else(|_| ZonedDateTime::now(), |at| at.to_zoned_datetime(jiff::tz::TimeZone::system()));
        self.give(when, Topic::Report(Box::new(report.clone())));
    }

    /// Something that somebody else has to say.
    pub fn words(&self, words: impl Into<String>) {
        self.give(ZonedDateTime::now(), Topic::Words(words.into()));
    }

    fn give(&self, when: ZonedDateTime, about: Topic) {
        if self.lines.try_send((when, about)).is_err() {
            self.missing.fetch_add(1, Ordering::Relaxed);
        }
    }
}

/// Writes lines until nothing more comes. Trouble is told once; what could not be written counts as missing,
/// and how much is missing is said as soon as something can be written again.
fn write_all(
    mut teller: Teller,
    waiting: &Receiver<(ZonedDateTime, Topic)>,
    missing: &AtomicU64,
    write: &mut dyn FnMut(&str) -> std::io::Result<()>,
    trouble: &dyn Fn(&std::io::Error),
) {
    let mut troubled = false;
    let mut write = |when: &ZonedDateTime, words: &str| {
        let result = write(&format!("{} {words}", when.strftime("%Y-%m-%dT%H:%M:%S%.3f%:z")));
        if let Err(error) = &result
            && !std::mem::replace(&mut troubled, true)
        {
            trouble(error);
        }
        result.is_ok()
    };
    for (when, about) in waiting {
        let words = match about {
            Topic::Report(report) => match &report.what {
                Happened::Connections(connections) => vec![connected(connections)],
                Happened::Noticed(Notice::Fired(fired)) => vec![cue_fired(fired, &report.show.book)],
                _ => teller.lines(&report),
            },
            Topic::Words(words) => vec![words],
            Topic::End => break,
        };
        let words = in_one_line(&words);
        let count = missing.swap(0, Ordering::Relaxed);
        let told = count == 0 || write(&when, &performance::log_incomplete(count));
        let written = told && (words.is_empty() || write(&when, &words));
        let still = if told { 0 } else { count } + u64::from(!written);
        missing.fetch_add(still, Ordering::Relaxed);
    }
    let count = missing.load(Ordering::Relaxed);
    if count > 0 {
        write(&ZonedDateTime::now(), &performance::log_incomplete(count));
    }
}

/// A cue that fired asks for something, like a key of the terminal or a page.
fn cue_fired(fired: &Fired, book: &Book) -> String {
    let cue = book.cues().nth(fired.cue.index());
    cue.map_or_else(String::new, |cue| {
        actions::asked(&cues::name(cue, fired.received), &cues::asks(cue, fired.received))
    })
}

/// Who is connected to our ports.
fn connected(connections: &[Connection]) -> String {
    let pairs = connections.iter().map(|Connection { direction, port, peer }| match direction {
        Direction::Input => (peer.as_str(), port.as_str()),
        Direction::Output => (port.as_str(), peer.as_str()),
    });
    wording::ports::connections(&pairs.collect::<Vec<_>>())
}

/// What the terminal shows in several lines, in one; titles and remarks may hold what would end a line.
fn in_one_line(lines: &[String]) -> String {
    let lines = lines.iter().map(|line| line.split(|c: char| c.is_whitespace() || c.is_control()));
    let lines = lines.map(|words| words.filter(|word| !word.is_empty()).collect::<Vec<_>>().join(" "));
    let mut one = String::new();
    for line in lines.filter(|line| !line.is_empty()) {
        let between = if one.is_empty() {
            ""
        } else if one.ends_with(['.', ':']) {
            " "
        } else {
            "; "
        };
        one.push_str(between);
        one.push_str(&clean(&line));
    }
    one
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::daemon::{Ended, Show};
    use crate::engine::{Counts, Snapshot, Standing};

    fn demo() -> Arc<Show> {
        Arc::new(Show::new(crate::map::load("maps/midwinter.toml", &mut |path| std::fs::read(path)).book.unwrap()))
    }

    fn report(standing: Standing, what: Happened) -> Topic {
        let snapshot = Snapshot::from(standing);
        Topic::Report(Box::new(Report { at: std::time::SystemTime::UNIX_EPOCH, show: demo(), snapshot, what }))
    }

    #[test]
    fn connections_are_said_in_the_way_of_the_music() {
        let connection =
            |direction, port: &str, peer: &str| Connection { direction, port: port.into(), peer: peer.into() };
        let both =
            [connection(Direction::Input, "keyboard", "stage piano"), connection(Direction::Output, "pad", "strings")];
        assert_eq!(connected(&both), "Connected: stage piano to keyboard, pad to strings.");
        assert_eq!(connected(&[]), "Nothing is connected.");
    }

    #[test]
    fn names_of_ports_and_cues_end_no_line_and_command_no_terminal() {
        let evil = "pi\u{1b}[2Jano\n2026-12-19T19:30:00.000+01:00 page 1: panic\u{202e}\u{9b}1m\u{2028}x\u{7f}";
        let there = Connection { direction: Direction::Input, port: evil.into(), peer: evil.into() };
        let words = |words: &str| Topic::Words(words.to_owned());
        let what = Happened::Connections(Arc::new(vec![there]));
        let mut lines = Vec::new();
        said(vec![report(Standing::default(), what), words(evil)], 0, |line| {
            lines.push(line.to_owned());
            Ok(())
        });
        assert_eq!(lines.len(), 2);
        for line in &lines {
            assert_eq!(*line, clean(line), "{line:?}");
            assert!(line.contains("[2J") && line.contains("panic"), "what can be shown stays: {line:?}");
        }
    }

    fn said(abouts: Vec<Topic>, missing: u64, mut write: impl FnMut(&str) -> std::io::Result<()>) -> usize {
        let teller = Teller::default();
        let (lines, waiting) = bounded(100);
        let when: jiff::Timestamp = "2026-12-19T18:30:00.0426Z".parse().unwrap();
        let when = when.to_zoned_datetime(jiff::tz::TimeZone::fixed(jiff::tz::offset(1)));
        abouts.into_iter().for_each(|about| lines.send((when.clone(), about)).unwrap());
        drop(lines);
        let troubles = std::cell::Cell::new(0);
        write_all(teller, &waiting, &AtomicU64::new(missing), &mut write, &|_| troubles.set(troubles.get() + 1));
        troubles.get()
    }

    #[test]
    fn a_line_has_its_time_and_says_all_in_one() {
        let standing = Standing { entry: 1, song: Some(1), ..Standing::default() };
        let ended = Ended { counts: Counts { out_of_range: 2, not_understood: 0 }, refused: 0, reports_lost: 3 };
        let abouts = vec![
            Topic::Words("handspan begins:\u{1b}[2J\nkeyboard is there".to_owned()),
            report(standing, Happened::Noticed(Notice::Panic)),
            report(standing, Happened::InputDisconnected(0)),
            report(standing, Happened::Ended(ended)),
        ];
        let mut lines = Vec::new();
        let troubles = said(abouts, 0, |line| {
            lines.push(line.to_owned());
            Ok(())
        });
        assert_eq!(troubles, 0);
        assert_eq!(
            lines,
            [
                "2026-12-19T19:30:00.042+01:00 handspan begins: [2J keyboard is there",
                "2026-12-19T19:30:00.042+01:00 Panic: everything is silent.",
                "2026-12-19T19:30:00.042+01:00 keyboard is not connected: its notes have ended, its pedals are up. Plug it in again.",
                "2026-12-19T19:30:00.042+01:00 The end: every note has ended, every pedal is up. 2 notes lay outside \
                 the MIDI range and were not sent. 3 reports were lost, because they were not read in time.",
            ]
        );
    }

    #[test]
    fn a_song_is_one_line() {
        let standing = Standing { song: Some(1), entry: 1, ..Standing::default() };
        let mut lines = Vec::new();
        said(vec![report(standing, Happened::Noticed(Notice::Song))], 0, |line| {
            lines.push(line.to_owned());
            Ok(())
        });
        assert_eq!(lines.len(), 1);
        let line = &lines[0];
        assert!(line.contains("2/") && line.contains("; room ") && !line.contains('\n'), "{line}");
    }

    #[test]
    fn a_full_disk_is_told_once_and_what_is_missing_is_counted() {
        let words = |text: &str| Topic::Words(text.to_owned());
        let mut lines = Vec::new();
        let mut calls = 0;
        let troubles = said(vec![words("one"), words("two"), words("three")], 5, |line| {
            calls += 1;
            if calls <= 2 {
                return Err(std::io::ErrorKind::StorageFull.into());
            }
            lines.push(line[30..].to_owned());
            Ok(())
        });
        assert_eq!(troubles, 1);
        assert_eq!(lines, ["7 lines are missing: they could not be written in time", "three"]);
    }

    #[test]
    fn a_log_is_in_its_file_when_it_has_finished() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("concert.log");
        for _ in 0..2 {
            let (log, writing) = Log::begin(&path, |_| ()).map_err(|_| ()).unwrap();
            log.words("a signal asks to stop");
            log.end();
            writing.join().unwrap();
        }
        let text = std::fs::read_to_string(&path).unwrap();
        assert_eq!(text.lines().filter(|line| line.ends_with(" a signal asks to stop")).count(), 2, "{text}");
    }
}
