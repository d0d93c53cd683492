//! The service manager is told how it goes: its socket is played here, the performance is in a process of its own,
//! on ports in memory.
#![cfg(target_os = "linux")]

use std::io::Read;
use std::os::unix::net::UnixDatagram;
use std::process::{Command, Stdio};
use std::sync::Arc;
use std::time::Duration;

use handspan::daemon::observer::{Duties, Observer};
use handspan::daemon::persist::Beginning;
use handspan::daemon::supervisor::Supervisor;
use handspan::daemon::{Daemon, Happened, Show, wish};
use handspan::engine::Notice;
use handspan::ports::Direction;
use handspan::ports::memory::World;

/// Plays until standard input ends. Run by itself, without a service manager, it tells nobody.
#[test]
fn a_performance_tells_whoever_started_it() {
    let book = handspan::map::load("maps/midwinter.toml", &mut |path| std::fs::read(path)).book.unwrap();
    let world = World::default();
    world.plug(Direction::Input, "stage piano", "stage piano", None);
    let show = Arc::new(Show::new(book));
    let ports = world.open(&wish(&show.book.gear)).unwrap();
    let (mut daemon, remote) = Daemon::new(&show, Box::new(ports));
    let observer = Observer::new(&mut daemon, &show, "choir").unwrap();
    let reports = observer.listen();
    observer.begin(Duties::default()).unwrap();
    let waker = remote.clone();
    let supervisor = Supervisor::begin(daemon.heartbeat(), move || waker.wake());
    assert_eq!(supervisor.is_some(), std::env::var_os("NOTIFY_SOCKET").is_some());
    let playing = std::thread::spawn(move || daemon.run(&Beginning::Afresh));
    assert!(reports.iter().any(|report| matches!(report.what, Happened::Noticed(Notice::Song))));
    if let Some(mut supervisor) = supervisor {
        supervisor.stands("1/9 Snow at the\nWeir Gate");
        std::io::stdin().read_to_end(&mut Vec::new()).unwrap();
        supervisor.stopping();
    }
    remote.stop();
    playing.join().unwrap();
}

#[test]
fn ready_then_signs_of_life_then_stopping() {
    let folder = tempfile::tempdir().unwrap();
    let path = folder.path().join("notify");
    let socket = UnixDatagram::bind(&path).unwrap();
    socket.set_read_timeout(Some(Duration::from_secs(20))).unwrap();
    let mut performance = Command::new(std::env::current_exe().unwrap())
        .args(["--exact", "a_performance_tells_whoever_started_it"])
        .env("NOTIFY_SOCKET", &path)
        .env("WATCHDOG_USEC", "40000")
        .env_remove("WATCHDOG_PID")
        .stdin(Stdio::piped())
        .stdout(Stdio::null())
        .spawn()
        .unwrap();
    let hear = || {
        let mut bytes = [0; 1024];
        let length = socket.recv(&mut bytes).expect("told in time");
        String::from_utf8(bytes[..length].to_vec()).unwrap()
    };
    let mut told = Vec::new();
    while told.iter().filter(|told| *told == "WATCHDOG=1\n").count() < 3 {
        told.push(hear());
    }
    told.retain(|told| told != "WATCHDOG=1\n");
    assert_eq!(told, ["READY=1\n", "STATUS=1/9 Snow at the Weir Gate\n"]);
    drop(performance.stdin.take());
    let last = std::iter::repeat_with(hear).find(|told| told != "WATCHDOG=1\n");
    assert_eq!(last.as_deref(), Some("STOPPING=1\n"));
    assert!(performance.wait().unwrap().success());
}
