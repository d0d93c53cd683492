//! Hands on what the owner reports: to the log, with its time, and to the service manager.

use std::io;
use std::sync::Arc;
use std::thread::{self, JoinHandle};

use crossbeam_channel::Receiver;

use super::log::Log;
use crate::daemon::watchdog::Supervisor;
use crate::daemon::{Report, Show};
use crate::engine::{Notice, Standing};
use crate::ports::{Connection, Direction};

/// Begins to hand on reports, in a thread that ends with the last one. It never waits for who writes or listens, so
/// the time that the log puts to a report is the report's own.
///
/// # Errors
/// The system has no thread left.
pub(super) fn begin(
    mut show: Arc<Show>,
    reports: Receiver<Report>,
    log: Option<Log>,
    mut supervisor: Option<Supervisor>,
) -> io::Result<JoinHandle<()>> {
    thread::Builder::new().name("herald".to_owned()).spawn(move || {
        for report in reports {
            if let Some(log) = &log {
                log.report(&report);
            }
            match report {
                Report::Maps(maps) => show = maps,
                Report::Connections(connections) => {
                    log.iter().for_each(|log| log.words(connected(&connections)));
                }
                Report::Told(Notice::Song | Notice::Section, standing) => {
                    if let Some(supervisor) = &mut supervisor {
                        supervisor.stands(&status(&show, &standing));
                    }
                }
                Report::Ended(_) => break,
                _ => {}
            }
        }
        if let Some(supervisor) = supervisor {
            supervisor.stopping();
        }
    })
}

/// Who is connected to our ports.
fn connected(connections: &[Connection]) -> String {
    let words = connections.iter().map(|Connection { direction, port, peer }| match direction {
        Direction::Input => format!("{peer} to {port}"),
        Direction::Output => format!("{port} to {peer}"),
    });
    let words: Vec<String> = words.collect();
    if words.is_empty() { "Nobody is connected.".to_owned() } else { format!("Connected: {}.", words.join(", ")) }
}

/// Where the set stands, for whoever looks at the service.
fn status(show: &Show, standing: &Standing) -> String {
    let plan = &show.plan;
    let mut words = format!("{}/{} {}", standing.entry + 1, plan.entries(), plan.title(standing.entry));
    let here = standing.song.filter(|song| *song == standing.entry);
    if let Some(section) = here.and_then(|song| plan.section_name(song, standing.section)) {
        words.push_str(&format!(", {section}"));
    }
    words
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn connections_are_said_in_the_way_of_the_music() {
        let connection =
            |direction, port: &str, peer: &str| Connection { direction, port: port.into(), peer: peer.into() };
        let both =
            [connection(Direction::Input, "keyboard", "stage piano"), connection(Direction::Output, "pad", "strings")];
        assert_eq!(connected(&both), "Connected: stage piano to keyboard, pad to strings.");
        assert_eq!(connected(&[]), "Nobody is connected.");
    }

    #[test]
    fn the_status_is_the_song_and_its_section() {
        let book = crate::map::load("maps/midwinter.toml", &mut |path| std::fs::read(path)).book.unwrap();
        let show = Show::new(book);
        let title = |entry: usize| show.plan.title(entry).to_owned();
        let entries = show.plan.entries();
        let song = (0..entries).find(|entry| show.plan.section_name(*entry, 0).is_some()).unwrap();
        let standing = Standing { entry: song, song: Some(song), ..Standing::default() };
        let section = show.plan.section_name(song, 0).unwrap();
        assert_eq!(status(&show, &standing), format!("{}/{entries} {}, {section}", song + 1, title(song)));
        let pause = (0..entries).find(|entry| show.plan.order_length(*entry) == 0).unwrap();
        let standing = Standing { entry: pause, ..standing };
        assert_eq!(status(&show, &standing), format!("{}/{entries} {}", pause + 1, title(pause)));
    }
}
