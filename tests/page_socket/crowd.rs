//! Many at once, and one that never reads: the limits hold, and the music and the other pages go on.

use std::io::{ErrorKind, Read};
use std::net::TcpStream;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use serde_json::json;

use crate::evening::{Evening, PATIENCE};
use crate::page::{Page, knock};

#[test]
fn two_hundred_connections_leave_the_music_as_it_was() {
    let evening = Evening::begin();
    let mut first = evening.page();
    first.next("state");
    let connect = || TcpStream::connect(evening.address).unwrap();
    let ((), notes) = evening.while_playing(|| {
        // Those who have a place wait for what they have to say.
        let inside: Vec<TcpStream> = (0..63).map(|_| connect()).collect();
        // Those for whom there is none are closed at once. Not all come at the same time: the system itself would let
        // some of them wait for seconds, and it is not the system that is tried here.
        for _ in 0..3 {
            let outside: Vec<TcpStream> = (0..46).map(|_| connect()).collect();
            outside.into_iter().for_each(ends);
        }
        assert!(inside.iter().all(is_open), "not because their time was over: those who came before are here");
        // Who is here stays, and is answered.
        assert!(first.presses(&["panic"], 0).0);
        drop(inside);
    });
    assert!(notes > 0);
    let mut after = Page::waits(evening.address, None);
    after.next("state");
}

/// Hears until the other end has closed the connection, without a word.
fn ends(mut stream: TcpStream) {
    stream.set_read_timeout(Some(PATIENCE)).unwrap();
    match stream.read(&mut [0]) {
        Ok(count) => assert_eq!(count, 0),
        // One that is closed before it was looked at may break.
        Err(error) => assert_eq!(error.kind(), ErrorKind::ConnectionReset),
    }
}

/// Whether the other end has said nothing and still listens.
fn is_open(stream: &TcpStream) -> bool {
    stream.set_nonblocking(true).unwrap();
    (&mut &*stream).read(&mut [0]).is_err_and(|error| error.kind() == ErrorKind::WouldBlock)
}

#[test]
fn there_are_places_for_thirty_two_pages() {
    let evening = Evening::begin();
    let mut pages: Vec<Page> = (0..32).map(|_| evening.page()).collect();
    pages[0].frame_where("state", |state| state["viewers"] == 32);
    let mut more = Page::greets(evening.address, None);
    let refused = more.frame().expect("an answer");
    assert_eq!((&refused["kind"], &refused["wait_ms"]), (&json!("refused"), &json!(2_000)));
    pages.pop();
    pages[0].frame_where("state", |state| state["viewers"] == 31);
    Page::waits(evening.address, None);
}

#[test]
fn connections_that_come_and_go_leave_nothing_behind() {
    let evening = Evening::begin();
    let mut first = evening.page();
    first.next("state");
    let before = resident();
    let ((), notes) = evening.while_playing(|| {
        let over = AtomicBool::new(false);
        std::thread::scope(|scope| {
            // It takes what it is told and says that it is here, as long as the others take.
            scope.spawn(|| first.frame_where("alive", |_| over.load(Ordering::Acquire)));
            for number in 0..600 {
                match number % 3 {
                    0 => drop(TcpStream::connect(evening.address)),
                    1 => drop(knock(evening.address, "choir.example", None)),
                    _ => drop(Page::waits(evening.address, None)),
                }
            }
            over.store(true, Ordering::Release);
        });
    });
    assert!(notes > 0);
    first.frame_where("state", |state| state["viewers"] == 1);
    let grown = resident().saturating_sub(before);
    assert!(grown < 64 << 20, "{grown} bytes more");
}

/// What this process holds of the machine's memory, in bytes; 0 where the system does not say.
fn resident() -> u64 {
    let pages = std::fs::read_to_string("/proc/self/statm").ok();
    pages.and_then(|pages| pages.split(' ').nth(1)?.parse::<u64>().ok()).map_or(0, |pages| pages * 4096)
}

#[cfg(unix)]
#[test]
fn one_that_never_reads_is_dropped_while_the_others_go_on() {
    use rustix::net::{AddressFamily, SocketType, connect, socket, sockopt};

    let evening = Evening::begin();
    let stream = socket(AddressFamily::INET, SocketType::STREAM, None).unwrap();
    sockopt::set_socket_recv_buffer_size(&stream, 4096).unwrap();
    connect(&stream, &evening.address).unwrap();
    let stream = TcpStream::from(stream);
    stream.set_read_timeout(Some(PATIENCE)).unwrap();
    let host = evening.address.to_string();
    let socket = crate::page::knock_on(stream, &host, Some(&format!("http://{host}"))).expect("let in");
    let mut deaf = Page::over(socket);
    deaf.say(&json!({ "hello": 1, "passcode": null }));
    let mut page = evening.page();
    page.frame_where("state", |state| state["viewers"] == 2);
    let ((), notes) = evening.while_playing(|| {
        let mut up = false;
        let deadline = Instant::now() + PATIENCE;
        let mut here = Instant::now();
        // It says that it is here, and hears nothing of what is told.
        while page.viewers == 2 {
            assert!(Instant::now() < deadline, "it is still there");
            // As fast as one page may press, by the clock of the one who counts: less than 200 in a second.
            let began = page.now();
            for _ in 0..30 {
                up = !up;
                page.does(&[if up { "raise-key" } else { "lower-key" }]);
            }
            page.frame_where("alive", |alive| alive["now"].as_f64() > Some(began + 200.0));
            if here.elapsed() > Duration::from_millis(200) {
                here = Instant::now();
                deaf.text("{\"here\": 1}");
            }
        }
    });
    assert!(notes > 0);
    assert!(evening.logged().iter().any(|line| line.ends_with(": disconnected")));
    page.does(&["panic"]);
}
