//! Many at once, and one that never reads: the limits hold, and the music and the other pages go on.

use std::io::{ErrorKind, Read};
use std::net::TcpStream;
use std::sync::atomic::{AtomicBool, Ordering};
#[cfg(unix)]
use std::time::{Duration, Instant};

use handspan::page::ASSETS;
use serde_json::json;

#[cfg(unix)]
use crate::evening::PATIENCE;
use crate::evening::{Evening, guarded};
use crate::page::{Page, knock};
use crate::requests;

#[test]
fn three_hundred_connections_leave_the_music_and_who_was_let_in_as_they_were() {
    let evening = Evening::begin();
    let mut first = evening.page();
    first.next("state");
    let connect = || TcpStream::connect(evening.address).unwrap();
    let ((), notes) = evening.while_playing(|| {
        let mut crowd: Vec<TcpStream> = Vec::new();
        // Not all come at the same time: the system itself would let some of them wait for seconds.
        for _ in 0..10 {
            crowd.extend((0..30).map(|_| connect()));
            // Whoever comes finds a place: another one gives it up.
            let page = requests::ask(evening.address, &request(evening.address));
            assert!(page.starts_with("HTTP/1.1 200"), "{page}");
            // It takes what it is told and says that it is here, as pages do.
            first.next("alive");
        }
        let inside = crowd.iter().filter(|stream| is_open(stream)).count();
        assert!(inside <= 256, "{inside} are inside");
        // Who is here stays, and is answered.
        assert!(first.presses(&["panic"], 0).0);
    });
    assert!(notes > 0);
    let mut after = Page::waits(evening.address, None);
    after.next("state");
}

/// A request for the page, after which the connection ends.
fn request(address: std::net::SocketAddr) -> Vec<u8> {
    format!("GET / HTTP/1.1\r\nHost: {address}\r\nConnection: close\r\n\r\n").into_bytes()
}

/// Whether the other end has said nothing and still listens.
fn is_open(stream: &TcpStream) -> bool {
    stream.set_nonblocking(true).unwrap();
    (&mut &*stream).read(&mut [0]).is_err_and(|error| error.kind() == ErrorKind::WouldBlock)
}

#[test]
fn pages_that_load_at_once_get_all_their_files() {
    let evening = Evening::with(&guarded());
    let _viewers: Vec<Page> = (0..32).map(|_| Page::admitted(evening.address, Some("lantern"))).collect();
    let fetched = |path: &str| {
        let text = format!("GET {path} HTTP/1.1\r\nHost: {}\r\nConnection: close\r\n\r\n", evening.address);
        requests::ask(evening.address, text.as_bytes()).starts_with("HTTP/1.1 200")
    };
    // Eight browsers with six connections each.
    let lane = |lane: usize| ASSETS.iter().skip(lane).step_by(6).filter(|asset| fetched(asset.path)).count();
    let lane = &lane;
    let got: Vec<usize> = std::thread::scope(|scope| {
        let browser = |_| (0..6).map(|number| scope.spawn(move || lane(number))).collect::<Vec<_>>();
        let browsers: Vec<_> = (0..8).map(browser).collect();
        let files = |lanes: Vec<std::thread::ScopedJoinHandle<'_, usize>>| {
            lanes.into_iter().map(|lane| lane.join().unwrap()).sum()
        };
        browsers.into_iter().map(files).collect()
    });
    assert_eq!(got, [ASSETS.len(); 8]);
}

#[test]
fn a_viewer_makes_room_for_one_who_can_control() {
    let evening = Evening::with(&guarded());
    let mut viewers: Vec<Page> = (0..32).map(|_| Page::admitted(evening.address, Some("lantern"))).collect();
    let refused = Page::greets(evening.address, Some("lantern")).frame().expect("an answer");
    assert_eq!(refused["kind"], "refused", "who views makes nobody else go");
    let mut director = Page::admitted(evening.address, Some("nine bells"));
    assert_eq!(viewers[31].shown_out().1, "its place was needed for one who can control");
    director.next("state");
    director.does(&["next-section"]);
}

#[cfg(target_os = "linux")]
#[test]
fn silent_connections_of_a_few_addresses_keep_nobody_out() {
    use std::net::Ipv4Addr;

    use crate::page::connect_from;

    let evening = Evening::with(&guarded());
    let silent: Vec<TcpStream> =
        (0..300).map(|number| connect_from(Ipv4Addr::new(127, 0, 3, number as u8 % 4), evening.address)).collect();
    let mut tablet = Page::on(Ipv4Addr::new(127, 0, 4, 1), evening.address);
    tablet.greet(Some("nine bells"), None);
    assert_eq!(tablet.frame().expect("an answer")["can"], "control");
    drop(silent);
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
    deaf.greet(None, None);
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
