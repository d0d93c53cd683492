//! Hostile use: half messages, garbage, endless lines, floods, and others' hanging up at any byte. The music goes on.

use std::collections::VecDeque;
use std::io::{ErrorKind, Read};
use std::net::Shutdown;
use std::os::unix::net::UnixStream;
use std::sync::atomic::{AtomicBool, Ordering};

use handspan::daemon::control::{Ask, LONGEST, MOST, Outcome};
use proptest::prelude::*;
use proptest::test_runner::{Config, TestRunner};

use crate::evening::{Evening, hear, tell};

const STATUS: &[u8] = b"{\"version\":1,\"ask\":\"status\"}\n";
const NEXT: &[u8] = b"{\"version\":1,\"ask\":\"do\",\"words\":[\"next-section\"]}\n";

/// Plays without a pause while something is done; returns how many notes sounded.
fn while_playing(evening: &Evening, done: impl FnOnce()) -> usize {
    let over = AtomicBool::new(false);
    std::thread::scope(|scope| {
        let player = scope.spawn(|| {
            let mut notes = 0;
            while !over.load(Ordering::Acquire) || notes == 0 {
                evening.music(1);
                notes += 1;
            }
            notes
        });
        let done = std::panic::catch_unwind(std::panic::AssertUnwindSafe(done));
        over.store(true, Ordering::Release);
        let notes = player.join().expect("the music goes on");
        done.unwrap_or_else(|failure| std::panic::resume_unwind(failure));
        notes
    })
}

/// After everything it still answers, and nothing has been done.
fn unharmed(evening: &Evening) {
    let state = evening.state();
    assert_eq!((state.entry.position, state.song.unwrap().section.unwrap().step), (1, 1));
    assert_eq!(state.set.unsaved, Vec::<String>::new());
}

#[test]
fn a_request_that_is_cut_off_anywhere_does_nothing() {
    let evening = Evening::begin();
    let notes = while_playing(&evening, || {
        for cut in 0..NEXT.len() {
            let mut stream = evening.connect();
            tell(&mut stream, &NEXT[..cut]);
            if cut % 2 == 0 {
                // It still reads, but has nothing more to say.
                stream.shutdown(Shutdown::Write).unwrap();
                assert_eq!(hear(&mut stream), None, "at {cut}");
            }
        }
    });
    assert!(notes > 0);
    unharmed(&evening);
}

#[test]
fn a_request_in_pieces_and_several_at_once_are_understood() {
    let evening = Evening::begin();
    let mut stream = evening.connect();
    for byte in STATUS {
        assert!(tell(&mut stream, &[*byte]));
    }
    assert!(hear(&mut stream).unwrap().state.is_some());
    tell(&mut stream, &[NEXT, NEXT].concat());
    let first = hear(&mut stream).unwrap();
    assert_eq!((first.outcome, first.words.as_str()), (Outcome::Done, "Chorus (2 of 2), room C."));
}

#[test]
fn one_who_hangs_up_before_the_answer_is_no_matter() {
    let evening = Evening::begin();
    while_playing(&evening, || {
        for _ in 0..50 {
            tell(&mut evening.connect(), STATUS);
        }
    });
    unharmed(&evening);
}

#[test]
fn one_who_never_reads_is_sent_away() {
    let evening = Evening::begin();
    let notes = while_playing(&evening, || {
        let mut stream = evening.connect();
        // Until the answers that nobody fetches fill the socket, and its owner has waited long enough.
        while tell(&mut stream, STATUS) {}
        assert_eq!(evening.done("resend-sounds"), "All sounds were set up again.");
    });
    assert!(notes > 0);
    unharmed(&evening);
}

#[test]
fn a_line_of_ten_megabytes_is_refused_at_its_first_kilobytes() {
    let evening = Evening::begin();
    while_playing(&evening, || {
        let mut stream = evening.connect();
        let taken = tell(&mut stream, &vec![b'x'; 10 << 20]);
        assert!(!taken, "nobody reads ten megabytes");
        let answer = hear(&mut stream).expect("it says why");
        assert_eq!(answer.outcome, Outcome::Wrong);
        assert!(answer.words.contains("4096"), "{}", answer.words);
        assert_eq!(hear(&mut stream), None, "and hangs up");
    });
    // Exactly as long as may be, and one more.
    for (length, known) in [(LONGEST, true), (LONGEST + 1, false)] {
        let mut line = STATUS[..STATUS.len() - 1].to_vec();
        line.resize(length - 1, b' ');
        line.push(b'\n');
        let mut stream = evening.connect();
        tell(&mut stream, &line);
        assert_eq!(hear(&mut stream).unwrap().outcome == Outcome::Done, known, "{length}");
    }
    unharmed(&evening);
}

#[test]
fn what_is_no_request_is_answered_and_hung_up_on() {
    let evening = Evening::begin();
    let deep = "[".repeat(4000);
    let many = format!("{{\"version\":1,\"ask\":\"do\",\"words\":[{}\"x\"]}}", "\"next-song\",".repeat(300));
    for line in [
        "",
        "{}",
        "null",
        "status",
        &deep,
        &many,
        "{\"version\":1}",
        "{\"version\":2,\"ask\":\"status\"}",
        "{\"version\":-1,\"ask\":\"status\"}",
        "{\"version\":1,\"ask\":\"stop\"}",
        "{\"version\":1,\"ask\":\"do\"}",
        "{\"version\":1,\"ask\":\"do\",\"words\":\"next-song\"}",
        "{\"version\":1,\"ask\":\"do\",\"words\":[1]}",
        "{\"version\":1,\"ask\":\"do\",\"words\":[\"next\\u0000song\"]}",
        "{\"version\":1,\"ask\":\"status\"} {\"version\":1,\"ask\":\"status\"}",
        "GET / HTTP/1.1",
    ] {
        let mut stream = evening.connect();
        tell(&mut stream, format!("{line}\n").as_bytes());
        let answer = hear(&mut stream).expect("an answer");
        assert_eq!(answer.outcome, Outcome::Wrong, "{line}: {}", answer.words);
        assert_eq!(hear(&mut stream), None, "{line}");
    }
    unharmed(&evening);
}

/// Whether the other end has said nothing and still listens.
fn waits(stream: &UnixStream) -> bool {
    stream.set_nonblocking(true).unwrap();
    let said = (&mut &*stream).read(&mut [0]);
    stream.set_nonblocking(false).unwrap();
    said.is_err_and(|error| error.kind() == ErrorKind::WouldBlock)
}

#[test]
fn where_no_place_is_left_the_one_who_was_silent_longest_makes_room() {
    let evening = Evening::begin();
    let notes = while_playing(&evening, || {
        let mut inside: Vec<UnixStream> = (0..MOST).map(|_| evening.connect()).collect();
        for stream in &mut inside {
            tell(stream, STATUS);
            assert_eq!(hear(stream).unwrap().outcome, Outcome::Done);
        }
        // The first one asks once more: it is the second that has been silent longest.
        tell(&mut inside[0], STATUS);
        assert_eq!(hear(&mut inside[0]).unwrap().outcome, Outcome::Done);
        let mut late = evening.connect();
        tell(&mut late, STATUS);
        assert_eq!(hear(&mut late).unwrap().outcome, Outcome::Done);
        let sent_away = hear(&mut inside[1]).expect("it is told why");
        assert_eq!(
            (sent_away.outcome, sent_away.words.as_str()),
            (Outcome::Busy, "Too many ask at this moment: try again.")
        );
        assert_eq!(hear(&mut inside[1]), None, "and hung up on");
        // All who say nothing more are sent away after a while, without a word.
        inside.remove(1);
        for stream in &mut inside {
            assert_eq!(hear(stream), None);
        }
    });
    assert!(notes > 10, "{notes}");
}

#[test]
fn twenty_who_say_nothing_keep_nobody_waiting() {
    let evening = Evening::begin();
    let silent: Vec<UnixStream> = (0..20).map(|_| evening.connect()).collect();
    assert_eq!(evening.ask(Ask::Status).outcome, Outcome::Done);
    assert_eq!(evening.done("resend-sounds"), "All sounds were set up again.");
    assert!(waits(silent.last().unwrap()), "that was before their time was over");
}

#[test]
fn those_who_come_again_and_again_without_a_word_keep_nobody_out() {
    let evening = Evening::begin();
    let over = AtomicBool::new(false);
    std::thread::scope(|scope| {
        for _ in 0..3 {
            scope.spawn(|| {
                let mut held = VecDeque::new();
                while !over.load(Ordering::Acquire) {
                    held.push_back(evening.connect());
                    if held.len() > 2 * MOST {
                        held.pop_front();
                    }
                }
            });
        }
        let asked = std::panic::catch_unwind(std::panic::AssertUnwindSafe(|| {
            (0..20).for_each(|_| assert_eq!(evening.ask(Ask::Status).outcome, Outcome::Done));
        }));
        over.store(true, Ordering::Release);
        asked.unwrap_or_else(|failure| std::panic::resume_unwind(failure));
    });
    unharmed(&evening);
}

#[test]
fn one_who_says_letter_after_letter_has_no_more_time_than_others() {
    let evening = Evening::begin();
    let mut slow = evening.connect();
    let mut silent = evening.connect();
    let letters = std::thread::scope(|scope| {
        let told = scope.spawn(|| {
            (0..LONGEST)
                .take_while(|_| {
                    std::thread::sleep(std::time::Duration::from_millis(50));
                    tell(&mut slow, b" ")
                })
                .count()
        });
        assert_eq!(hear(&mut silent), None);
        told.join().unwrap()
    });
    assert!(letters < LONGEST - 1, "it was heard to the end of the line");
    unharmed(&evening);
}

#[test]
fn a_flood_of_connections_and_of_requests_does_not_stop_the_music() {
    let evening = Evening::begin();
    let notes = while_playing(&evening, || {
        std::thread::scope(|scope| {
            for flood in 0..4 {
                let evening = &evening;
                scope.spawn(move || {
                    let mut mine = None;
                    for round in 0..200 {
                        let stream = mine.get_or_insert_with(|| evening.connect());
                        let bytes: &[u8] = if flood % 2 == 0 { STATUS } else { b"\xFF\xFE\n\0\0" };
                        if !tell(stream, bytes) || round % 7 == flood {
                            mine = None;
                        }
                    }
                });
            }
        });
    });
    assert!(notes > 0);
    unharmed(&evening);
    assert_eq!(evening.state().counts.refused, 0);
}

/// What somebody does at the socket.
#[derive(Debug, Clone)]
enum Deed {
    Say(Vec<u8>),
    SayCut(usize),
    Listen,
    HangUp,
}

fn deeds() -> impl Strategy<Value = Vec<Deed>> {
    let bytes = prop_oneof![
        proptest::collection::vec(any::<u8>(), 0..200),
        proptest::collection::vec(prop_oneof![Just(b'\n'), Just(b'{'), Just(b'"'), any::<u8>()], 0..40),
        "\\{\"version\":[0-9]{1,3},\"ask\":\"(do|status|x)\"(,\"words\":\\[(\"[a-z]{0,9}\",)?\"[^\\\\\"\n]{0,20}\"\\])?\\}\n"
            .prop_map(String::into_bytes),
    ];
    let deed = prop_oneof![
        4 => bytes.prop_map(Deed::Say),
        2 => (0..STATUS.len()).prop_map(Deed::SayCut),
        1 => Just(Deed::Listen),
        1 => Just(Deed::HangUp),
    ];
    proptest::collection::vec(deed, 1..12)
}

#[test]
fn whatever_is_said_the_music_goes_on() {
    let evening = Evening::begin();
    let mut runner = TestRunner::new(Config { cases: 64, failure_persistence: None, ..Config::default() });
    let notes = while_playing(&evening, || {
        let trial = |deeds: Vec<Deed>| {
            let mut stream = evening.connect();
            for deed in deeds {
                match deed {
                    Deed::Say(bytes) => drop(tell(&mut stream, &bytes)),
                    Deed::SayCut(cut) => drop(tell(&mut stream, &STATUS[..cut])),
                    Deed::Listen => {
                        // Only what has an end is answered.
                        tell(&mut stream, b"\n");
                        hear(&mut stream);
                    }
                    Deed::HangUp => stream = evening.connect(),
                }
            }
            Ok(())
        };
        runner.run(&deeds(), trial).unwrap();
    });
    assert!(notes > 0);
    unharmed(&evening);
}
