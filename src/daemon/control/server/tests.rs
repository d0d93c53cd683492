//! Another user is not let in.

use std::io::Read;
use std::sync::Arc;

use tempfile::TempDir;

use super::*;
use crate::daemon::observer::Observer;
use crate::daemon::{Daemon, Show, wish};
use crate::ports::Direction;
use crate::ports::memory::World;

#[test]
fn another_user_gets_no_answer() {
    let read: fn(&str) -> io::Result<Vec<u8>> = |path| std::fs::read(path);
    let show = Arc::new(Show::new(crate::map::load("maps/midwinter.toml", &mut { read }).book.unwrap()));
    let world = World::default();
    world.plug(Direction::Input, "stage piano", "stage piano", None);
    let (mut daemon, remote) = Daemon::new(&show, Box::new(world.open(&wish(&show.book.gear)).unwrap()));
    let observer = Observer::new(&mut daemon, &show, "choir").unwrap();
    let folder = TempDir::new().unwrap();
    let own = rustix::process::geteuid().as_raw();
    for (user, answered) in [(own, true), (own ^ 1, false)] {
        let name_lock = NameLock::take(folder.path(), "choir").unwrap();
        let path = name_lock.socket();
        let control =
            open_for(user, name_lock, RequestHandler::new(remote.clone(), Arc::clone(&observer), read, |_| ()))
                .unwrap();
        let mut stream = UnixStream::connect(&path).unwrap();
        stream.set_read_timeout(Some(Duration::from_secs(30))).unwrap();
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
