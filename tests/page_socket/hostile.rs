//! Whatever a page says, only what is a message of the form does anything, and the music goes on.

use std::cell::RefCell;
use std::io::Write;

use proptest::prelude::*;
use proptest::test_runner::{Config, TestRunner};
use serde_json::Value;
use tungstenite::Message;
use tungstenite::protocol::Role;
use tungstenite::protocol::frame::Frame;
use tungstenite::protocol::frame::coding::{Data, OpCode};

use crate::evening::{Evening, guarded};
use crate::page::Page;

/// After everything it still answers, and nothing has been done.
fn unharmed(evening: &Evening) {
    let state = evening.observer.state();
    let song = state.song.expect("a song");
    assert_eq!((state.entry.position, song.section.unwrap().step, song.keys.transposed_by_hand), (1, 1, 0));
    assert!(!evening.logged().iter().any(|line| line.starts_with("asks")), "{:?}", evening.logged());
    let mut page = Page::waits(evening.address, None);
    page.next("state");
    page.does(&["tap"]);
}

#[test]
fn what_is_no_message_of_the_form_ends_the_visit() {
    let evening = Evening::begin();
    let form = "that is no message of this form";
    let (_, notes) = evening.while_playing(|| {
        for text in
            ["", "{", "null", "[]", "{\"up\": 60, \"more\": 1}", "{\"down\": 60, \"velocity\": 0, \"at\": 1}", "\u{0}"]
        {
            let mut page = evening.page();
            page.text(text);
            assert_eq!(page.shown_out(), (1008, form.to_owned()), "{text:?}");
        }
        let mut page = evening.page();
        page.socket.send(Message::binary(b"{\"up\": 60}".to_vec())).unwrap();
        assert_eq!(page.shown_out().1, form);
        // One byte too long, of the right form but for that.
        let mut page = evening.page();
        let long = format!("{{\"up\": 60{}}}", " ".repeat(1024 - 10));
        assert_eq!(long.len(), 1024);
        page.text(&long);
        page.next("alive");
        page.text(&format!("{long} "));
        assert_eq!(page.shown_out().1, form);
        let mut page = evening.page();
        page.text(&"x".repeat(10 << 20));
        assert!(page.frame_until_gone());
        // In pieces it is too long as well.
        let mut page = evening.page();
        let pieces = |finished, code| Frame::message(vec![b' '; 600], OpCode::Data(code), finished);
        page.socket.send(Message::Frame(pieces(false, Data::Text))).unwrap();
        page.socket.send(Message::Frame(pieces(true, Data::Continue))).unwrap();
        assert_eq!(page.shown_out().1, form);
    });
    assert!(notes > 0);
    unharmed(&evening);
}

#[test]
fn broken_frames_end_the_visit() {
    let evening = Evening::begin();
    let (_, notes) = evening.while_playing(|| {
        for bytes in [
            // No mask, a reserved bit, an unknown code, a control frame in pieces, one that is too long, letters that are none,
            // a length without end (RFC 6455, 5.1, 5.2, 5.5, 8.1).
            &[0x81, 0x02, b'{', b'}'][..],
            &[0xF1, 0x80, 0, 0, 0, 0],
            &[0x83, 0x80, 0, 0, 0, 0],
            &[0x09, 0x80, 0, 0, 0, 0],
            &[0x89, 0xFE, 0x01, 0x00, 0, 0, 0, 0],
            &[0x81, 0x82, 0, 0, 0, 0, 0xC3, 0x28],
            &[0x81, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0xFF, 0, 0, 0, 0],
        ] {
            let mut page = evening.page();
            page.socket.get_mut().write_all(bytes).unwrap();
            assert!(page.frame_until_gone(), "{bytes:?}");
        }
        // Cut off anywhere.
        let frame = [0x81, 0x8A, 1, 2, 3, 4, b'{' ^ 1, b'"' ^ 2, b'u' ^ 3];
        for cut in 0..frame.len() {
            let mut page = Page::waits(evening.address, None);
            page.socket.get_mut().write_all(&frame[..cut]).unwrap();
        }
    });
    assert!(notes > 0);
    unharmed(&evening);
}

/// Says the same a thousand times in one write: one who has gone before the last of it was written could not be heard.
fn says_at_once(page: &mut Page, message: &Message) {
    (0..1_000).for_each(|_| page.socket.write(message.clone()).unwrap());
    page.socket.flush().unwrap();
}

#[test]
fn too_many_messages_end_the_visit() {
    let evening = Evening::begin();
    let (reason, notes) = evening.while_playing(|| {
        let mut page = evening.page();
        says_at_once(&mut page, &Message::text("{\"here\": 1}"));
        page.shown_out().1
    });
    assert_eq!(reason, "too many messages");
    assert!(notes > 0);
    let mut page = evening.page();
    says_at_once(&mut page, &Message::Ping(Vec::new().into()));
    assert!(page.frame_until_gone(), "whatever they are");
    unharmed(&evening);
}

/// Any JSON, with the names of the form more often than not.
fn any_json() -> impl Strategy<Value = Value> {
    let name = prop_oneof![
        Just("do".to_owned()),
        Just("down".to_owned()),
        Just("up".to_owned()),
        Just("velocity".to_owned()),
        Just("at".to_owned()),
        Just("ask".to_owned()),
        Just("hello".to_owned()),
        Just("pedal".to_owned()),
        Just("response".to_owned()),
        ".{0,6}",
    ];
    let leaf = prop_oneof![
        Just(Value::Null),
        any::<bool>().prop_map(Value::from),
        any::<i64>().prop_map(Value::from),
        (0..200_i64).prop_map(Value::from),
        any::<f64>().prop_map(Value::from),
        ".{0,12}".prop_map(Value::from),
        Just(Value::from("panic")),
        Just(Value::from("next-song")),
    ];
    leaf.prop_recursive(3, 24, 6, move |inner| {
        prop_oneof![
            prop::collection::vec(inner.clone(), 0..6).prop_map(Value::from),
            prop::collection::vec((name.clone(), inner), 0..6)
                .prop_map(|pairs| Value::Object(pairs.into_iter().collect())),
        ]
    })
}

#[test]
fn no_bytes_and_no_json_reach_the_music_or_end_the_stand() {
    let evening = Evening::with(&guarded());
    let page = RefCell::new(None::<Page>);
    // Who may only look: nothing that it says may do anything at all.
    let said = |text: Message| {
        let mut page = page.borrow_mut();
        let open = page.as_mut().is_some_and(|page: &mut Page| page.socket.send(text.clone()).is_ok());
        if !open {
            let mut new = Page::waits(evening.address, Some("lantern"));
            let _ = new.socket.send(text);
            *page = Some(new);
        }
    };
    let cases = Config { cases: 400, failure_persistence: None, ..Config::default() };
    let mut runner = TestRunner::new(cases.clone());
    runner
        .run(&any_json(), |json| {
            said(Message::text(json.to_string()));
            Ok(())
        })
        .unwrap();
    let mut runner = TestRunner::new(cases.clone());
    let bytes = prop::collection::vec(any::<u8>(), 0..1_100);
    runner
        .run(&bytes, |bytes| {
            said(Message::text(String::from_utf8_lossy(&bytes).into_owned()));
            Ok(())
        })
        .unwrap();
    let mut runner = TestRunner::new(Config { cases: 150, ..cases.clone() });
    runner
        .run(&bytes_for_the_wire(), |bytes| {
            let mut page = Page::waits(evening.address, Some("lantern"));
            let _ = page.socket.get_mut().write_all(&bytes);
            Ok(())
        })
        .unwrap();
    // And before a greeting, as HTTP.
    let mut runner = TestRunner::new(Config { cases: 150, ..cases });
    runner
        .run(&prop::collection::vec(any::<u8>(), 0..300), |bytes| {
            let mut stream = std::net::TcpStream::connect(evening.address).unwrap();
            let _ = stream.write_all(&bytes);
            Ok(())
        })
        .unwrap();
    assert!(evening.sent.try_iter().all(|(_, bytes)| bytes[0] & 0xF0 != 0x90), "a note sounded");
    evening.music();
    let state = evening.observer.state();
    assert_eq!((state.entry.position, state.song.unwrap().section.unwrap().step), (1, 1));
    assert!(!evening.logged().iter().any(|line| line.starts_with("asks")));
    let mut page = Page::waits(evening.address, Some("nine bells"));
    page.next("state");
    page.does(&["next-section"]);
}

fn bytes_for_the_wire() -> impl Strategy<Value = Vec<u8>> {
    // Heads of frames more often than chance would have them.
    let head = prop::sample::select(vec![0x81, 0x01, 0x80, 0x88, 0x89, 0x8A, 0x82]);
    (head, prop::collection::vec(any::<u8>(), 0..60)).prop_map(|(head, rest)| [vec![head], rest].concat())
}

#[test]
fn any_json_from_one_who_may_move_leaves_an_answering_stand() {
    let evening = Evening::begin();
    let page = RefCell::new(evening.page());
    let mut runner = TestRunner::new(Config { cases: 300, failure_persistence: None, ..Config::default() });
    runner
        .run(&any_json(), |json| {
            if page.borrow_mut().socket.send(Message::text(json.to_string())).is_err() {
                *page.borrow_mut() = Page::waits(evening.address, None);
            }
            Ok(())
        })
        .unwrap();
    drop(page);
    let mut page = Page::waits(evening.address, None);
    page.frame_where("state", |state| state["viewers"] == 1);
    page.does(&["panic"]);
    assert_eq!(page.next("state")["kind"], "state");
}

#[test]
fn a_program_that_takes_itself_for_the_server_is_shown_out() {
    let evening = Evening::begin();
    let stream = evening.page().socket.get_ref().try_clone().unwrap();
    let mut server = tungstenite::WebSocket::from_raw_socket(stream, Role::Server, None);
    // A server does not mask what it says.
    let _ = server.send(Message::text("{\"up\": 60}"));
    let mut page = Page::over(server);
    assert!(page.frame_until_gone());
    unharmed(&evening);
}
