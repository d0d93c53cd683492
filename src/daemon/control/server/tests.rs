//! Another user is not let in, and one thread serves all.

use std::collections::HashSet;
use std::io::{BufRead, BufReader, Read, Write};
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

fn performance() -> (Daemon, Remote, Arc<Observer>) {
    let show = Arc::new(Show::new(crate::map::load("maps/midwinter.toml", &mut { read }).book.unwrap()));
    let world = World::default();
    world.plug(Direction::Input, "stage piano", "stage piano", None);
    let (mut daemon, remote) = Daemon::new(&show, Box::new(world.open(&wish(&show.book.gear)).unwrap()));
    let observer = Observer::new(&mut daemon, &show, "choir").unwrap();
    (daemon, remote, observer)
}

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
        let mut stream = UnixStream::connect(&path).unwrap();
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
    let mut visitors: Vec<UnixStream> = (0..MOST).map(|_| UnixStream::connect(&path).unwrap()).collect();
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
