//! What the log tells of pages: which one it was, and never so much of those who come and go that what was played and
//! done this evening is lost.

use serde_json::{Value, json};

use crate::evening::{Evening, guarded, until};
use crate::page::Page;

/// So many of one kind are told one by one before the rest is summed up.
const TOLD: usize = 20;

fn count(lines: &[String], words: &str) -> usize {
    lines.iter().filter(|line| line.contains(words)).count()
}

/// A number that stands before some words of a line.
fn number(line: &str, words: &str) -> usize {
    let before = line.split(words).next().expect("the words");
    before.rsplit(' ').find_map(|word| word.parse().ok()).unwrap_or_else(|| panic!("no number before {words}: {line}"))
}

#[test]
fn a_thousand_visits_leave_the_evening_in_the_log() {
    let mut evening = Evening::with(&guarded());
    let mut plays = Page::admitted(evening.address, Some("nine bells"));
    plays.next("state");
    plays.does(&["next-section"]);
    let (mut came, mut wrong) = (1, 0);
    let mut visit = |passcode: Option<&str>| {
        let answer = Page::greets(evening.address, passcode).frame().expect("an answer");
        let words = answer["words"].as_str().unwrap_or_default();
        came += usize::from(answer["kind"] == "welcome");
        wrong += usize::from(words.contains("not the passcode"));
    };
    // A wrong one makes them all wait, so those that are let in come first.
    for passcode in [Some("lantern"), None, Some("winter")] {
        for round in 0..340 {
            visit(passcode);
            if round % 25 == 0 {
                plays.say(&json!({ "here": plays.now() }));
                plays.next("alive");
            }
        }
    }
    plays.does(&["raise-key"]);
    evening.close();
    let lines = evening.logged();
    assert!(came > 10 * TOLD, "only {came} came");
    assert!(wrong > 0);
    for done in ["page 1 at 127.0.0.1: next-section", "page 1 at 127.0.0.1: raise-key"] {
        assert_eq!(count(&lines, done), 1, "{done}");
    }
    let (connected, disconnected) = (count(&lines, ": connected, "), count(&lines, ": disconnected"));
    // One may come back in the minutes that a busy machine takes for this, and those that are told go once.
    assert!(lines.len() < 4 * TOLD, "{} lines:\n{}", lines.len(), lines.join("\n"));
    assert!(disconnected <= connected, "{connected} came, {disconnected} went");
    let sums = lines.iter().filter(|line| line.contains(" more "));
    let more = sums.map(|line| number(line, " more page")).sum::<usize>();
    assert_eq!(connected + more, came, "nobody is lost:\n{}", lines.join("\n"));
    let more = lines.iter().filter(|line| line.contains("more wrong passcode"));
    let more: usize = more.map(|line| number(line, " more wrong")).sum();
    assert_eq!(count(&lines, ": wrong passcode") + more, wrong);
}

fn greets(page: &mut Page, passcode: &str, device: Option<&str>) -> Value {
    page.greet(Some(passcode), device);
    page.frame().expect("an answer")
}

#[test]
fn a_page_keeps_its_name_when_it_comes_back() {
    let evening = Evening::with(&guarded());
    let logged = |line: &str| until(line, || evening.logged().iter().any(|known| known == line));
    let mut tablet = Page::at(evening.address);
    let token = greets(&mut tablet, "nine bells", None)["device"].as_str().expect("a token").to_owned();
    logged("page 1 at 127.0.0.1: connected, can control");
    // Another one at the same address.
    let viewer = Page::admitted(evening.address, Some("lantern"));
    logged("page 2 at 127.0.0.1: connected, view only");
    drop(tablet);
    logged("page 1 at 127.0.0.1: disconnected");
    drop(viewer);
    logged("page 2 at 127.0.0.1: disconnected");
    let mut viewer = Page::admitted(evening.address, Some("lantern"));
    viewer.next("state");
    let mut tablet = Page::at(evening.address);
    assert_eq!(greets(&mut tablet, "nine bells", Some(&token))["kind"], "welcome");
    tablet.next("state");
    tablet.does(&["next-section"]);
    let lines = evening.logged();
    assert_eq!(
        lines[4..],
        [
            "page 2 at 127.0.0.1: connected, view only",
            "page 1 at 127.0.0.1: connected, can control",
            "page 1 at 127.0.0.1: next-section",
        ]
    );
}

#[cfg(target_os = "linux")]
#[test]
fn a_page_has_its_name_before_it_is_let_in() {
    use std::net::Ipv4Addr;
    let evening = Evening::with(&guarded());
    let wrong = |last| greets(&mut Page::on(Ipv4Addr::new(127, 0, 3, last), evening.address), "winter", None);
    assert_eq!(wrong(7)["kind"], "refused");
    assert_eq!(wrong(8)["kind"], "refused");
    until("the wait is over", || {
        let mut page = Page::on(Ipv4Addr::new(127, 0, 3, 7), evening.address);
        greets(&mut page, "nine bells", None)["kind"] == "welcome"
    });
    assert_eq!(
        evening.logged()[..3],
        [
            "page 1 at 127.0.3.7: wrong passcode",
            "page 2 at 127.0.3.8: wrong passcode",
            "page 1 at 127.0.3.7: connected, can control",
        ]
    );
}
