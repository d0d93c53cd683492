//! Keys that a page holds come up when it goes in whatever way, and the stand ends with the performance.

use std::net::Shutdown;
use std::time::{Duration, Instant};

use serde_json::json;

use crate::evening::{Evening, until};
use crate::page::Page;

fn holds(evening: &Evening, page: &mut Page) {
    page.say(&json!({ "pedal": true }));
    assert_eq!(evening.heard(), (0, vec![0xB0, 64, 127]));
    page.down(60, 80);
    assert_eq!(evening.heard(), (0, vec![0x90, 63, 80]));
}

/// The next message of a kind at the first output.
fn next(evening: &Evening, status: u8) -> Vec<u8> {
    loop {
        let (_, bytes) = evening.sent.recv_timeout(crate::evening::PATIENCE).expect("a message");
        if bytes[0] == status && (status != 0xB0 || bytes[1] == 64) {
            return bytes;
        }
    }
}

#[test]
fn keys_come_up_when_a_page_goes_in_whatever_way() {
    let evening = Evening::begin();
    let closes: [fn(Page); 4] = [
        |mut page| page.socket.close(None).unwrap(),
        |page| drop(page),
        |page| page.socket.get_ref().shutdown(Shutdown::Both).unwrap(),
        |mut page| page.text("no message"),
    ];
    for (number, close) in closes.into_iter().enumerate() {
        let mut page = evening.page();
        holds(&evening, &mut page);
        close(page);
        assert_eq!(next(&evening, 0x80)[..2], [0x80, 63], "way {number}");
        assert_eq!(next(&evening, 0xB0), [0xB0, 64, 0], "way {number}");
    }
    let mut page = evening.page();
    page.frame_where("state", |state| state["viewers"] == 1);
    evening.music();
}

#[test]
fn keys_come_up_after_a_second_without_a_sign_of_life() {
    let evening = Evening::begin();
    let mut page = evening.page();
    holds(&evening, &mut page);
    // As long as it says that it is here, it holds.
    let began = Instant::now();
    let mut said = began;
    while began.elapsed() < Duration::from_millis(1_500) {
        if said.elapsed() > Duration::from_millis(200) {
            said = Instant::now();
            page.say(&json!({ "here": page.now() }));
        }
        if let Ok((_, bytes)) = evening.sent.try_recv() {
            assert!(bytes[0] & 0xF0 != 0x80, "{bytes:?}");
        }
        std::thread::sleep(Duration::from_millis(2));
    }
    assert_eq!(next(&evening, 0x80)[..2], [0x80, 63]);
    let silent = said.elapsed();
    assert!(silent >= Duration::from_secs(1), "{silent:?}");
    // It is still let in, and plays on.
    page.say(&json!({ "here": page.now() }));
    page.next("alive");
    page.down(62, 80);
    assert_eq!(evening.heard(), (0, vec![0x90, 65, 80]));
}

#[test]
fn the_end_of_the_performance_ends_the_stand() {
    let mut evening = Evening::begin();
    let mut page = evening.page();
    holds(&evening, &mut page);
    evening.end();
    assert_eq!(page.shown_out(), (1001, "the end".to_owned()));
    let address = evening.address;
    until("nobody listens", || std::net::TcpStream::connect(address).is_err());
}

#[test]
fn the_end_of_the_stand_does_not_touch_the_music() {
    let mut evening = Evening::begin();
    let mut page = evening.page();
    holds(&evening, &mut page);
    evening.close();
    assert_eq!(next(&evening, 0x80)[..2], [0x80, 63]);
    assert_eq!(page.shown_out().0, 1001);
    evening.music();
}
