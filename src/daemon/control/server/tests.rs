//! Another user is not let in, and one thread serves all.

use std::collections::HashSet;
use std::io::{BufRead, BufReader, Read, Write};
use std::path::Path;
use std::sync::{Arc, Mutex};

use tempfile::TempDir;

use super::*;
use crate::daemon::observer::Observer;
use crate::daemon::persist::Beginning;
use crate::daemon::{Daemon, Remote, Show, wish};
use crate::ports::Direction;
use crate::ports::memory::World;

fn read(path: &str) -> io::Result<Vec<u8>> {
    std::fs::read(path)
}

fn connect(path: &Path) -> Stream {
    local::connect(path, Duration::from_secs(10)).unwrap()
}

fn performance() -> (Daemon, Remote, Arc<Observer>) {
    let show = Arc::new(Show::new(crate::map::load("maps/midwinter.toml", &mut { read }).book.unwrap()));
    let world = World::default();
    world.plug(Direction::Input, "stage piano", "stage piano", None);
    let (mut daemon, remote) = Daemon::new(&show, Box::new(world.open(&wish(&show.book.gear)).unwrap()));
    let observer = Observer::new(&mut daemon, &show, "choir").unwrap();
    (daemon, remote, observer)
}

/// Elsewhere the system does not say whose process is at the other end.
#[cfg(target_os = "linux")]
#[test]
fn another_user_gets_no_answer() {
    let (_daemon, remote, observer) = performance();
    let folder = TempDir::new().unwrap();
    let own = rustix::process::geteuid().as_raw();
    for (user, answered) in [(own, true), (own ^ 1, false)] {
        let name_lock = NameLock::take(folder.path(), "choir").unwrap();
        let path = name_lock.socket();
        let control =
            open_for(user, name_lock, RequestHandler::new(remote.clone(), Arc::clone(&observer), read, |_| ()))
                .unwrap();
        let mut stream = connect(&path);
        let _ = stream.write_all(b"{\"version\":1,\"ask\":\"status\"}\n");
        let _ = stream.shutdown(std::net::Shutdown::Write);
        let mut answer = String::new();
        // A connection that is closed with something unread breaks.
        let _ = stream.read_to_string(&mut answer);
        assert_eq!(!answer.is_empty(), answered, "{answer}");
        drop(control);
        assert!(!path.exists(), "a socket that is closed leaves nothing behind");
    }
}

#[test]
fn one_thread_serves_all_who_are_there_at_the_same_time() {
    let (daemon, remote, observer) = performance();
    let playing = thread::spawn(move || daemon.run(&Beginning::Afresh));
    let folder = TempDir::new().unwrap();
    let name_lock = NameLock::take(folder.path(), "choir").unwrap();
    let path = name_lock.socket();
    let threads = Arc::new(Mutex::new(Vec::new()));
    let asked = {
        let threads = Arc::clone(&threads);
        move |_: &str| threads.lock().unwrap().push(thread::current().id())
    };
    let control = open(name_lock, RequestHandler::new(remote.clone(), observer, read, asked)).unwrap();
    let mut visitors: Vec<Stream> = (0..MOST).map(|_| connect(&path)).collect();
    for visitor in &mut visitors {
        visitor.write_all(b"{\"version\":1,\"ask\":\"do\",\"words\":[\"tap\"]}\n").unwrap();
    }
    for visitor in &visitors {
        let mut answer = String::new();
        BufReader::new(visitor).read_line(&mut answer).unwrap();
        assert!(answer.contains("\"outcome\":\"done\""), "{answer}");
    }
    let threads = threads.lock().unwrap();
    assert_eq!((threads.len(), threads.iter().collect::<HashSet<_>>().len()), (MOST, 1));
    drop(control);
    remote.stop();
    playing.join().unwrap();
}

/// Where the system does not keep others out, who does not say the key gets no answer.
#[test]
fn who_does_not_know_the_key_gets_no_answer() {
    let (_daemon, remote, observer) = performance();
    let handler = RequestHandler::new(remote, observer, read, |_| ());
    const ASKED: &[u8] = b"{\"version\":1,\"ask\":\"status\"}\n";
    let long = vec![b'x'; 5000];
    for (said, answered) in [
        (&[b"secret\n", ASKED].concat()[..], true),
        (&[b"secre\n", ASKED].concat(), false),
        (&[b"secrets\n", ASKED].concat(), false),
        (&[b"\n", ASKED].concat(), false),
        (ASKED, false),
        (&long, false),
    ] {
        let (mut outside, inside) = local::pair().unwrap();
        let mut visitor = Visitor::new(inside, Some("secret".to_owned())).unwrap();
        outside.write_all(said).unwrap();
        let stays = (0..3).all(|_| visitor.go_on(|line| answer(&handler, line)));
        drop(visitor);
        let mut answer = String::new();
        // A connection that is closed with something unread breaks.
        let _ = outside.read_to_string(&mut answer);
        assert_eq!((!answer.is_empty(), stays), (answered, answered), "{said:?}: {answer}");
    }
}
