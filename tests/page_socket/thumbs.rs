//! Two thumbs make one step, and what was pressed while the network was away does nothing.

use serde_json::json;

use crate::evening::Evening;

#[test]
fn two_thumbs_at_once_make_one_step() {
    let evening = Evening::begin();
    let mut pages = [evening.page(), evening.page(), evening.page()];
    let mut seen = Vec::new();
    for page in &mut pages {
        let state = page.frame_where("state", |state| state["viewers"] == 3);
        seen.push(state["seen"].as_u64().unwrap());
    }
    for (page, seen) in pages.iter_mut().zip(&seen) {
        page.say(&json!({ "do": ["next-section"], "ask": 1, "at": page.now(), "seen": seen }));
    }
    let answers: Vec<_> = pages.iter_mut().map(|page| page.next("answer")).collect();
    let done = answers.iter().filter(|answer| answer["done"] == true).count();
    assert_eq!(done, 1, "{answers:?}");
    let refused = answers.iter().find(|answer| answer["done"] == false).unwrap();
    assert!(refused["words"].as_str().unwrap().contains("has just moved"), "{refused}");
    assert_eq!(evening.observer.state().song.unwrap().section.unwrap().step, 2);
    // Who has seen where it stands now steps on.
    let page = &mut pages[2];
    page.frame_where("state", |state| state["state"]["song"]["section"]["step"] == 2);
    page.does(&["next-section"]);
    // What names its goal does not depend on where it stood.
    let (done, words) = page.presses(&["section", "Verse"], 0);
    assert!(done, "{words}");
}

#[test]
fn what_moved_from_elsewhere_counts_too() {
    let evening = Evening::begin();
    let mut page = evening.page();
    page.next("state");
    let seen = page.seen;
    evening.remote.give(handspan::daemon::Instruction::Action(handspan::engine::Action::Plain(
        handspan::engine::Plain::NextSection,
    )));
    page.frame_where("state", |state| state["state"]["song"]["section"]["step"] == 2);
    for words in ["next-section", "previous-section", "next-song", "previous-song"] {
        let (done, said) = page.presses(&[words], seen);
        assert!(!done && said.contains("has just moved"), "{words}: {said}");
    }
    let (done, _) = page.presses(&["next-section"], page.seen + 1_000);
    assert!(!done, "nobody has seen that yet");
    let (done, words) = page.presses(&["next-section"], page.seen);
    assert!(done, "{words}");
}

#[test]
fn what_is_old_is_not_done() {
    let evening = Evening::begin();
    let mut page = evening.page();
    page.next("state");
    page.frame_where("alive", |alive| alive["now"].as_f64() > Some(1_700.0));
    let old = page.now() - 1_600.0;
    for words in ["next-section", "panic", "raise-key"] {
        page.say(&json!({ "do": [words], "ask": 5, "at": old, "seen": page.seen }));
        let answer = page.next("answer");
        assert_eq!((&answer["done"], &answer["ask"]), (&json!(false), &json!(5)), "{words}");
    }
    page.say(&json!({ "down": 62, "velocity": 80, "at": old }));
    page.say(&json!({ "pedal": true, "at": old }));
    page.down(60, 80);
    assert_eq!(evening.heard(), (0, vec![0x90, 63, 80]), "the old key and the pedal never sound");
    let state = evening.observer.state();
    assert_eq!(state.song.map(|song| (song.section.unwrap().step, song.keys.transposed_by_hand)), Some((1, 0)));
    assert!(!evening.logged().iter().any(|line| line.starts_with("asks")));
}

#[test]
fn who_asks_without_end_is_not_in_the_others_way() {
    let evening = Evening::begin();
    let (mut greedy, mut page) = (evening.page(), evening.page());
    page.next("state");
    for ask in 0..150 {
        greedy.say(&json!({ "do": ["raise-key"], "ask": ask, "at": greedy.now(), "seen": 0 }));
    }
    // It would be refused if it had to wait longer than a press may be old.
    let (done, words) = page.presses(&["panic"], page.seen);
    assert!(done, "{words}");
    let answers = (0..150).map(|_| greedy.next("answer")["ask"].as_u64().unwrap());
    let answers: std::collections::BTreeSet<u64> = answers.collect();
    assert_eq!(answers.len(), 150, "each is answered, done or not");
}
