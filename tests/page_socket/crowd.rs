//! Many at once, and one that never reads: the limits hold, and the music and the other pages go on.

use std::io::Read;
use std::net::TcpStream;
use std::time::{Duration, Instant};

use serde_json::json;

use crate::evening::{Evening, PATIENCE, until};
use crate::page::{Page, knock};

#[test]
fn two_hundred_connections_leave_the_music_as_it_was() {
    let evening = Evening::begin();
    let mut first = evening.page();
    first.next("state");
    let ((), notes) = evening.while_playing(|| {
        let mut open: Vec<TcpStream> = (0..200).map(|_| TcpStream::connect(evening.address).unwrap()).collect();
        // Those for whom there is no place are closed at once; the others wait for what they have to say.
        let closed = |stream: &mut TcpStream| {
            stream.set_nonblocking(true).unwrap();
            match stream.read(&mut [0]) {
                Ok(count) => count == 0,
                Err(error) => error.kind() != std::io::ErrorKind::WouldBlock,
            }
        };
        let mut gone = vec![false; open.len()];
        let began = Instant::now();
        until("there are no more than 64", || {
            open.iter_mut().zip(&mut gone).for_each(|(stream, gone)| *gone |= closed(stream));
            gone.iter().filter(|gone| !**gone).count() <= 63
        });
        assert!(began.elapsed() < Duration::from_secs(4), "not because their time was over");
        // Who is here stays, and is answered.
        assert!(first.presses(&["panic"], 0).0);
        drop(open);
    });
    assert!(notes > 0);
    let mut after = Page::waits(evening.address, None);
    after.next("state");
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
        for number in 0..600 {
            match number % 3 {
                0 => drop(TcpStream::connect(evening.address)),
                1 => drop(knock(evening.address, "choir.example", None)),
                _ => drop(Page::waits(evening.address, None)),
            }
        }
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
            // As fast as one page may press.
            for _ in 0..30 {
                up = !up;
                page.does(&[if up { "raise-key" } else { "lower-key" }]);
            }
            page.next("alive");
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
