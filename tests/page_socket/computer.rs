//! What is done about the page at the computer: the program's own `handspan do` against a performance with an open page.

use assert_cmd::Command;
use handspan::daemon::control::{self, ControlSocket, NameLock};
use handspan::daemon::requests::RequestHandler;
use std::net::TcpStream;
use std::sync::Arc;

use crate::evening::{Evening, guarded, read, until};
use crate::page::Page;

/// An evening whose page can be reached at the computer, as `play` opens both.
struct Computer {
    // Closed first.
    _control: ControlSocket,
    evening: Evening,
}

impl Computer {
    fn of(evening: Evening) -> Computer {
        let log = Arc::clone(&evening.log);
        let asked = move |words: &str| log.lock().unwrap().push(words.to_owned());
        let handler = RequestHandler::new(evening.remote.clone(), Arc::clone(&evening.observer), read, asked);
        let name_lock = NameLock::take(&evening.folder.path().join("run/handspan"), "choir").unwrap();
        let control = control::open(name_lock, handler.with_page(evening.requests())).unwrap();
        Computer { _control: control, evening }
    }

    /// Runs `handspan do`: exit code, results and messages.
    fn does(&self, word: &str) -> (i32, String, String) {
        let folder = self.evening.folder.path();
        let mut command = Command::cargo_bin("handspan").expect("the program");
        let output = command.env("XDG_RUNTIME_DIR", folder.join("run")).args(["do", word]).output().expect("it runs");
        let text = |bytes| String::from_utf8(bytes).expect("text");
        (output.status.code().expect("no signal ended it"), text(output.stdout), text(output.stderr))
    }

    fn logged(&self, line: &str) {
        let lines = self.evening.logged();
        assert_eq!(lines.iter().filter(|known| *known == line).count(), 1, "{line}: {lines:?}");
    }
}

/// What is said to a greeting, first of all.
fn greeted(computer: &Computer, passcode: &str) -> serde_json::Value {
    Page::greets(computer.evening.address, Some(passcode)).frame().expect("an answer")
}

#[test]
fn page_forget_waits_takes_away_all_waits() {
    let computer = Computer::of(Evening::with(&guarded()));
    // Until one has to wait for so long that it cannot be over by itself before the program has run.
    let mut wait = 0;
    until("the wait is long", || {
        let refused = greeted(&computer, "winter");
        let is_wrong = refused["words"].as_str().is_some_and(|words| words.contains("not the passcode"));
        wait = if is_wrong { refused["wait_ms"].as_u64().expect("a number") } else { wait };
        wait >= 8_000
    });
    let said = "Nobody waits for a wrong passcode any longer.\n";
    assert_eq!(greeted(&computer, "nine bells")["kind"], "refused");
    assert_eq!(computer.does("page-forget-waits"), (0, said.to_owned(), String::new()));
    assert_eq!(greeted(&computer, "nine bells")["kind"], "welcome");
    computer.logged("control socket: page-forget-waits");
}

#[test]
fn page_disconnect_asks_every_page_again() {
    let computer = Computer::of(Evening::with(&guarded()));
    let address = computer.evening.address;
    let mut pages = [Page::admitted(address, Some("nine bells")), Page::admitted(address, Some("lantern"))];
    let (ran, notes) = computer.evening.while_playing(|| computer.does("page-disconnect"));
    let said = "All pages are disconnected; each is asked for the passcode again.\n";
    assert_eq!(ran, (0, said.to_owned(), String::new()));
    assert!(notes > 0);
    for page in &mut pages {
        assert_eq!(page.shown_out(), (4001, "say the passcode again".to_owned()));
    }
    computer.logged("control socket: page-disconnect");
    Page::waits(address, Some("nine bells")).next("state");
}

#[test]
fn page_close_closes_the_page_until_the_next_start() {
    let computer = Computer::of(Evening::with(&guarded()));
    let mut page = Page::admitted(computer.evening.address, Some("nine bells"));
    page.next("state");
    let said = "The page is closed until the next start.\n";
    assert_eq!(computer.does("page-close"), (0, said.to_owned(), String::new()));
    assert_eq!(page.shown_out().1, "the end");
    until("nobody listens", || TcpStream::connect(computer.evening.address).is_err());
    computer.logged("control socket: page-close");
    computer.evening.music();
    // What is not about the page goes on, and the page stays closed.
    assert_eq!(computer.does("next-section").0, 0);
    assert_eq!(computer.does("page-close").0, 0);
    let (code, out, error) = computer.does("page-open");
    assert_eq!((code, out.as_str()), (2, ""));
    assert!(error.contains("\"page-open\" is no action"), "{error}");
}
