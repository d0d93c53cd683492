//! Who may do what: passcodes for moving and looking, wrong ones slowed, none in another network without one.

use std::collections::BTreeSet;
#[cfg(target_os = "linux")]
use std::net::Ipv4Addr;
use std::net::SocketAddr;
use std::sync::Arc;
use std::time::{Duration, Instant};

use handspan::daemon::observer::{Duties, Observer};
use handspan::daemon::requests::{PageRequest, RequestHandler};
use handspan::daemon::{Daemon, Happened, Show, wish};
use handspan::engine::Notice;
use handspan::map::{self, Stand};
use handspan::page::{Open, OpenError, StandOptions};
use handspan::ports::memory::World;
use serde_json::{Value, json};

use crate::evening::{Evening, GEAR, PATIENCE, anybody, guarded, read, until};
use crate::page::Page;

/// What is said to a greeting, first of all.
fn greeted(evening: &Evening, passcode: Option<&str>) -> Value {
    Page::greets(evening.address, passcode).frame().expect("an answer")
}

#[test]
fn who_reaches_an_open_stand_of_this_machine_may_move() {
    let evening = Evening::begin();
    let welcome = greeted(&evening, None);
    assert_eq!((&welcome["can"], &welcome["name"]), (&json!("control"), &json!("choir")));
    assert_eq!(greeted(&evening, Some("whatever"))["can"], "control");
}

#[test]
fn a_passcode_moves_another_looks() {
    let evening = Evening::with(&guarded());
    assert_eq!(greeted(&evening, Some("nine bells"))["can"], "control");
    assert_eq!(greeted(&evening, Some("lantern"))["can"], "view");
    let nothing = greeted(&evening, None);
    assert_eq!((&nothing["kind"], &nothing["wait_ms"]), (&json!("refused"), &json!(0)));
    let mut refused = Page::greets(evening.address, None);
    assert_eq!(refused.frame().expect("an answer")["kind"], "refused");
    assert!(refused.frame().is_none(), "it is closed");
}

#[test]
fn who_may_look_sees_and_hears_and_moves_nothing() {
    let evening = Evening::with(&guarded());
    let mut looks = Page::admitted(evening.address, Some("lantern"));
    looks.next("state");
    for words in [&["next-section"][..], &["panic"], &["save-set"], &["song-key", "Lantern", "F"]] {
        let (done, said) = looks.presses(words, looks.seen);
        assert!(!done && said.contains("view only"), "{words:?}: {said}");
    }
    looks.down(60, 80);
    looks.say(&json!({ "pedal": true }));
    looks.say(&json!({ "sound": true }));
    // What it said has been heard by the time that it is answered.
    looks.presses(&["panic"], 1);
    evening.world.play(evening.piano, &[0x92, 62, 90]);
    assert_eq!(evening.heard(), (0, vec![0x90, 65, 90]), "the first note that sounds is the piano's");
    let (mut heard, mut seen) = (false, false);
    while !heard || !seen {
        let frame = looks.frame().expect("a frame");
        let messages = frame["messages"].as_array();
        heard |= messages.is_some_and(|messages| messages.contains(&json!([0, [0x90, 65, 90]])));
        seen |= frame["down"] == json!([[62], []]);
        if frame["kind"] == "alive" {
            // It may have begun to hear only after the first one.
            evening.world.play(evening.piano, &[0x82, 62, 0, 0x92, 62, 90]);
        }
    }
    let state = evening.observer.state();
    assert_eq!(state.song.unwrap().section.unwrap().step, 1);
    assert!(!evening.logged().iter().any(|line| line.starts_with("asks")), "{:?}", evening.logged());
    // Beside it one who may.
    let mut moves = Page::admitted(evening.address, Some("nine bells"));
    moves.next("state");
    moves.does(&["next-section"]);
    looks.frame_where("state", |state| state["state"]["song"]["section"]["step"] == 2);
}

#[test]
fn wrong_passcodes_are_slowed_down() {
    let evening = Evening::with(&guarded());
    // When each wrong one that was looked at was said, and how long the next one had to wait.
    let mut tried: Vec<(Instant, u64)> = Vec::new();
    let over = |(said, wait): &(Instant, u64)| said.elapsed() >= Duration::from_millis(*wait);
    while tried.len() < 3 {
        let said = Instant::now();
        let refused = greeted(&evening, Some(&format!("guess {}", tried.len())));
        assert_eq!(refused["kind"], "refused");
        if refused["words"].as_str().unwrap().contains("not the passcode") {
            assert!(tried.last().is_none_or(over), "looked at before its time: {tried:?}");
            tried.push((said, refused["wait_ms"].as_u64().unwrap()));
        }
    }
    assert_eq!(tried.iter().map(|(_, wait)| *wait).collect::<Vec<_>>(), [1_000, 2_000, 4_000]);
    // A right one must wait as well.
    let right = greeted(&evening, Some("nine bells"));
    assert!(right["kind"] == "refused" || tried.last().is_some_and(over), "{right}");
    let wrong = evening.logged().iter().filter(|line| line.contains("wrong passcode")).count();
    assert_eq!(wrong, 3);
}

#[cfg(target_os = "linux")]
#[test]
fn who_knows_the_viewing_passcode_guesses_the_other_one_no_faster() {
    let evening = Evening::with(&guarded());
    let said = |number: u8, passcode: &str| {
        let mut page = Page::on(Ipv4Addr::new(127, 0, 1, number), evening.address);
        page.greet(Some(passcode), None);
        page.frame().expect("an answer")
    };
    // All are let in to view, then each guesses.
    for number in 0..120 {
        assert_eq!(said(number, "lantern")["can"], "view");
    }
    let looked_at = (0..120).filter(|number| {
        let answer = said(*number, "winter");
        answer["words"].as_str().is_some_and(|words| words.contains("not the passcode"))
    });
    // Eight are free, then the waits add up: 1, 2, 4, 8, 16, 30 s.
    let looked_at = looked_at.count();
    assert!(looked_at <= 8 + 6, "{looked_at} guesses were looked at");
}

#[cfg(target_os = "linux")]
#[test]
fn guesses_of_others_never_hold_up_a_device_that_was_let_in_in_an_earlier_run() {
    let folder = tempfile::tempdir().unwrap();
    let devices = folder.path().join("devices.json");
    let first = Evening::keeping(&guarded(), Some(&devices));
    let welcome = greeted(&first, Some("nine bells"));
    let token = welcome["device"].as_str().expect("a token").to_owned();
    until("it is kept", || devices.exists());
    drop(first);
    // The next run, from ten addresses.
    let evening = Evening::keeping(&guarded(), Some(&devices));
    let says = |number: u8, device: Option<&str>, passcode: &str| {
        let mut page = Page::on(Ipv4Addr::new(127, 0, 2, number), evening.address);
        page.greet(Some(passcode), device);
        page.frame().expect("an answer")
    };
    for number in 0..100 {
        assert_eq!(says(number % 10, None, &format!("guess {number}"))["kind"], "refused");
    }
    assert_eq!(says(200, None, "nine bells")["kind"], "refused", "strangers wait");
    let tablet = says(201, Some(&token), "nine bells");
    assert_eq!((&tablet["can"], &tablet["device"]), (&json!("control"), &Value::Null));
    // At the computer the waits are taken away from all.
    evening.requests()(PageRequest::ForgetWaits);
    assert_eq!(says(202, None, "nine bells")["can"], "control");
}

#[test]
fn at_the_computer_all_pages_are_asked_again_and_the_page_is_closed() {
    let evening = Evening::with(&guarded());
    let mut page = Page::admitted(evening.address, Some("nine bells"));
    page.next("state");
    for words in [&["page-close"][..], &["page-disconnect"], &["page-forget-waits"]] {
        let (done, said) = page.presses(words, page.seen);
        assert!(!done && said.contains("at the computer"), "{said}");
    }
    evening.requests()(PageRequest::Disconnect);
    assert_eq!(page.shown_out(), (4001, "say the passcode again".to_owned()));
    let mut again = Page::waits(evening.address, Some("nine bells"));
    evening.requests()(PageRequest::Close);
    assert_eq!(again.shown_out().1, "the end");
    until("nobody listens", || std::net::TcpStream::connect(evening.address).is_err());
    evening.music();
}

#[test]
fn the_program_proves_that_it_knows_the_passcode_too() {
    let evening = Evening::with(&guarded());
    for (passcode, can) in [("nine bells", "control"), ("lantern", "view")] {
        let mut page = Page::at(evening.address);
        let signature = page.greet(Some(passcode), None).expect("a passcode");
        let welcome = page.frame().expect("an answer");
        assert_eq!((&welcome["can"], &welcome["signature"]), (&json!(can), &json!(signature)));
    }
    let open = Evening::begin();
    assert_eq!(greeted(&open, Some("nine bells"))["signature"], Value::Null, "it has none to know");
}

#[test]
fn a_greeting_that_was_overheard_opens_nothing() {
    let evening = Evening::with(&guarded());
    let mut page = Page::greets(evening.address, Some("nine bells"));
    assert_eq!(page.frame().expect("an answer")["can"], "control");
    let mut thief = Page::at(evening.address);
    let challenge = thief.frame().expect("a challenge");
    assert_ne!(challenge["nonce"], page.challenge["nonce"]);
    assert_eq!(challenge["salt"], page.challenge["salt"]);
    thief.say(&page.greeting);
    let refused = thief.frame().expect("an answer");
    assert!(refused["words"].as_str().unwrap().contains("not the passcode"), "{refused}");
    assert_eq!(refused["wait_ms"], 1_000);
}

#[test]
fn no_two_connections_get_the_same_nonce() {
    let evening = Evening::with(&guarded());
    let nonce = |_| Page::at(evening.address).frame().expect("a challenge")["nonce"].as_str().unwrap().to_owned();
    let nonces: BTreeSet<String> = (0..100).map(nonce).collect();
    assert_eq!(nonces.len(), 100);
    // Base64 of 16 bytes or more.
    assert!(nonces.iter().all(|nonce| nonce.trim_end_matches('=').len() >= 22));
}

#[test]
fn a_proof_of_another_form_ends_the_visit() {
    let evening = Evening::with(&guarded());
    let good = Page::greets(evening.address, Some("nine bells")).greeting["response"].clone();
    let proof = good["proof"].as_str().unwrap();
    for response in [
        json!({ "nonce": "short", "proof": proof }),
        json!({ "nonce": "x".repeat(65), "proof": proof }),
        json!({ "nonce": "a comma, and blanks between", "proof": proof }),
        json!({ "nonce": good["nonce"], "proof": "" }),
        json!({ "nonce": good["nonce"], "proof": proof.trim_end_matches('=') }),
        json!({ "nonce": good["nonce"], "proof": format!("AAAA{proof}") }),
        json!({ "nonce": good["nonce"], "proof": proof, "more": 1 }),
        json!({ "proof": proof }),
        json!("nine bells"),
    ] {
        let mut page = Page::at(evening.address);
        page.say(&json!({ "hello": 2, "response": response }));
        assert_eq!(page.shown_out(), (1008, "that is no message of this form".to_owned()), "{response}");
    }
    assert_eq!(greeted(&evening, Some("nine bells"))["can"], "control", "none of these was a guess");
}

#[test]
fn after_a_restart_the_salt_is_the_same_so_that_nobody_is_asked_again() {
    let folder = tempfile::tempdir().unwrap();
    let devices = folder.path().join("devices.json");
    let salt = |devices| {
        let evening = Evening::keeping(&guarded(), devices);
        Page::at(evening.address).frame().expect("a challenge")["salt"].clone()
    };
    let first = salt(Some(devices.as_path()));
    assert_eq!(salt(Some(devices.as_path())), first);
    assert_ne!(salt(None), first, "it is random");
    let kept = folder.path().join("salt.json");
    #[cfg(unix)]
    {
        use std::os::unix::fs::PermissionsExt;
        assert_eq!(std::fs::metadata(&kept).unwrap().permissions().mode() & 0o777, 0o600);
    }
    // One that is none counts as lost.
    std::fs::write(&kept, "\"AAAA\"").unwrap();
    let new = salt(Some(devices.as_path()));
    assert!(new != first && new != json!("AAAA"), "{new}");
    assert_eq!(salt(Some(devices.as_path())), new);
}

#[test]
fn other_passcodes_that_are_saved_hold_at_once() {
    let evening = Evening::with(&guarded());
    let mut page = Page::admitted(evening.address, Some("nine bells"));
    page.next("state");
    let stand = "[stand]\npasscode = \"over the weir\"\nviewing_passcode = \"by candle light\"\n";
    std::fs::write(evening.folder.path().join("gear.toml"), format!("{GEAR}{stand}")).unwrap();
    let ((code, _), notes) = evening.while_playing(|| page.shown_out());
    assert!(code == 4001 && notes > 0);
    let old = greeted(&evening, Some("nine bells"));
    assert_eq!((&old["kind"], &old["passcode"]), (&json!("refused"), &json!(true)));
    Page::waits(evening.address, Some("over the weir"));
    assert!(evening.logged().iter().any(|line| line.contains("passcodes have changed")), "{:?}", evening.logged());
}

#[test]
fn a_stand_that_is_saved_elsewhere_holds_from_the_next_start_and_says_so() {
    let evening = Evening::begin();
    let reports = evening.observer.listen();
    let mut page = evening.page();
    page.next("state");
    let save = |stand: &str| std::fs::write(evening.folder.path().join("gear.toml"), format!("{GEAR}{stand}")).unwrap();
    // Which of both comes first: that the maps were loaded, then whether the stand waits.
    let is_said = || loop {
        let report = reports.recv_timeout(PATIENCE).expect("a report");
        match report.what {
            Happened::StandWaits => return true,
            // Sent after what was loaded, so that one is the answer to the save before.
            Happened::Noticed(Notice::Drone(_)) => return false,
            _ => {}
        }
    };
    let said = "The saved gear file has another listen or input below [stand]: that holds from the next start, the page stays.";
    save("[stand]\nlisten = \"127.0.0.1:1\"\n");
    let state = page.frame_where("state", |state| state["trouble"]["words"] == said);
    assert_eq!(state["trouble"]["is"], "now");
    assert!(is_said());
    // The keyboard of the page still plays, at the address where it was.
    Page::admitted(evening.address, None);
    save("[stand]\nlisten = \"off\"\ninput = \"upper\"\n");
    assert!(is_said());
    // What does not concern it is not told again, nor that it is as at the start.
    for stand in ["# the same\n[stand]\nlisten = \"off\"\ninput = \"upper\"\n", ""] {
        save(stand);
        until("it is loaded", || {
            let show = evening.remote.show();
            show.book.sources.iter().any(|source| source.text == format!("{GEAR}{stand}"))
        });
        // What is said of a load follows it at once; by the time that a press has been answered it has been read.
        page.next("alive");
        page.does(&["drone"]);
        assert!(!is_said(), "{stand}");
    }
}

#[test]
fn a_page_of_another_version_is_told_to_load_again() {
    let evening = Evening::begin();
    // One from before there was a challenge, and one from later.
    for hello in [json!({ "hello": 1, "passcode": null, "device": null }), json!({ "hello": 3, "more": [] })] {
        let mut page = Page::at(evening.address);
        page.say(&hello);
        let refused = page.next("refused");
        assert!(refused["words"].as_str().unwrap().contains("load it again"), "{refused}");
    }
}

#[test]
fn nobody_waits_long_for_a_greeting() {
    let evening = Evening::begin();
    let began = Instant::now();
    let mut silent = Page::at(evening.address);
    assert_eq!(silent.shown_out().1, "no sign of life");
    assert!(began.elapsed() >= Duration::from_secs(3), "it had its time");
    let mut early = Page::at(evening.address);
    early.say(&json!({ "do": ["panic"], "ask": 1, "at": 0, "seen": 0 }));
    assert_eq!(early.shown_out().1, "that is no message of this form");
    assert!(evening.logged().is_empty());
}

/// Opens a stand beside a performance that never runs.
fn opened(stand: &Stand) -> Result<(Option<Open>, Daemon), OpenError> {
    let show = Arc::new(Show::new(map::load("maps/midwinter.toml", &mut read).book.unwrap()));
    let ports = World::default();
    ports.plug(handspan::ports::Direction::Input, "stage piano", "keys", None);
    let (mut daemon, remote) = Daemon::new(&show, Box::new(ports.open(&wish(&show.book.gear)).unwrap()));
    let observer = Observer::new(&mut daemon, &show, "choir").unwrap();
    observer.begin(Duties::default()).unwrap();
    let handler = Arc::new(RequestHandler::new(remote, Arc::clone(&observer), read, |_| ()));
    let open = handspan::page::open(StandOptions { stand, devices: None }, &mut daemon, &show, handler, |_| ())?;
    Ok((open, daemon))
}

#[test]
fn in_a_network_there_is_none_without_a_passcode() {
    for address in ["0.0.0.0:0", "[::]:0", "192.0.2.1:0"] {
        let listen: SocketAddr = address.parse().unwrap();
        let open = opened(&Stand { listen: Some(listen), ..anybody() });
        assert!(matches!(open, Err(OpenError::NoPasscode(at)) if at == listen), "{address}");
    }
    let (open, _daemon) = opened(&Stand { listen: Some("0.0.0.0:0".parse().unwrap()), ..guarded() }).unwrap();
    let open = open.expect("a stand");
    let link = open.link();
    assert!(link.ends_with(&format!(".local:{}/", open.address().port())), "{link}");
    let here = SocketAddr::from(([127, 0, 0, 1], open.address().port()));
    let mut page = Page::greets(here, Some("nine bells"));
    assert_eq!(page.frame().expect("an answer")["can"], "control");
    assert!(matches!(opened(&Stand { listen: None, ..anybody() }), Ok((None, _))));
}

#[test]
fn where_the_usual_port_is_taken_the_next_free_one_is() {
    // Some port with another free one after it.
    let (taken, port) = loop {
        let taken = std::net::TcpListener::bind(("127.0.0.1", 0)).unwrap();
        let port = taken.local_addr().unwrap().port();
        if port < 60_000 && std::net::TcpListener::bind(("127.0.0.1", port + 1)).is_ok() {
            break (taken, port);
        }
    };
    let at = SocketAddr::from(([127, 0, 0, 1], port));
    let usual = Stand { listen: Some(at), asked: false, ..anybody() };
    let (open, _daemon) = opened(&usual).unwrap();
    let open = open.expect("a stand");
    assert!((port + 1..=port + 9).contains(&open.address().port()));
    assert_eq!(open.link(), format!("http://127.0.0.1:{}/", open.address().port()));
    let refused = opened(&Stand { asked: true, ..usual.clone() }).map(|_| ()).expect_err("refused");
    assert!(matches!(refused, OpenError::Taken(where_) if where_ == at));
    assert!(refused.to_string().contains("another program does"), "{refused}");
    drop(taken);
    assert_eq!(opened(&usual).unwrap().0.expect("a stand").address(), at);
}
