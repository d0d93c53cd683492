//! Another user of this machine at a page without a passcode: everything but writing the set's file.

use std::net::TcpStream;

use handspan::map::Stand;
use rustix::process::Uid;
use rustix::thread::set_thread_res_uid;

use crate::evening::{Evening, GEAR, PATIENCE, anybody, until};
use crate::page::{Page, knock_on};

/// Who owns nothing, on every system.
const NOBODY: u32 = 65_534;

const NOT_YOUR_FILE: &str = "The set is saved by the user who plays it, or with a passcode: handspan do save-set.";

/// A connection of another user. A thread alone can become one, and a socket belongs to whom its thread was.
fn connect_as_another(evening: &Evening) -> TcpStream {
    let address = evening.address;
    let connecting = std::thread::spawn(move || {
        let nobody = Uid::from_raw(NOBODY);
        let become_another = set_thread_res_uid(nobody, nobody, nobody);
        become_another
            .expect("this test must be run as root: it has to connect as another user, which nobody else may");
        TcpStream::connect(address).expect("somebody listens")
    });
    let stream = connecting.join().expect("another user may connect");
    stream.set_read_timeout(Some(PATIENCE)).unwrap();
    stream.set_write_timeout(Some(PATIENCE)).unwrap();
    stream
}

/// A page of another user that has said nothing yet.
fn page_of_another(evening: &Evening) -> Page {
    let host = evening.address.to_string();
    let socket = knock_on(connect_as_another(evening), &host, Some(&format!("http://{host}"))).expect("let in");
    Page::over(socket)
}

fn greets(mut page: Page, passcode: Option<&str>) -> Page {
    page.greet(passcode, None);
    assert_eq!(page.frame().expect("a frame")["kind"], "welcome");
    page.next("state");
    page
}

#[test]
fn the_sets_file_is_written_for_the_user_who_plays_alone() {
    let evening = Evening::begin();
    let set = || std::fs::read_to_string(evening.folder.path().join("set.toml")).unwrap();
    let before = set();
    let mut other = greets(page_of_another(&evening), None);
    // It may play and change the evening, for this run.
    other.does(&["song-key", "Lantern", "F"]);
    let (done, said) = other.presses(&["save-set"], other.seen);
    assert_eq!((done, said.as_str()), (false, NOT_YOUR_FILE));
    assert_eq!(set(), before);
    assert!(!evening.folder.path().join("set.toml.bak").exists());
    let asked = |words: &str| evening.logged().iter().any(|line| line.ends_with(words));
    assert!(asked("song-key \"Lantern\" F") && !asked("save-set"), "{:?}", evening.logged());
    // The user's own browser on the same stand may.
    let mut own = greets(Page::at(evening.address), None);
    own.does(&["save-set"]);
    assert!(set().contains("key = \"F\""), "{}", set());
}

#[test]
fn with_the_passcode_it_is_written_for_another_user_too() {
    let passcode = |words: &str| Some(words.to_owned());
    let guarded =
        Stand { passcode: passcode("nine bells"), viewing_passcode: passcode("behind the lamp"), ..anybody() };
    let evening = Evening::with(&guarded);
    // The file says the same, so that what is read again keeps the passcodes.
    let stand = "[stand]\npasscode = \"nine bells\"\nviewing_passcode = \"behind the lamp\"\n";
    std::fs::write(evening.folder.path().join("gear.toml"), format!("{GEAR}{stand}")).unwrap();
    until("it is loaded", || evening.remote.show().book.gear.stand.passcode.is_some());
    let mut other = greets(page_of_another(&evening), Some("nine bells"));
    other.does(&["song-key", "Lantern", "F"]);
    other.does(&["save-set"]);
    assert!(std::fs::read_to_string(evening.folder.path().join("set.toml")).unwrap().contains("key = \"F\""));
}
