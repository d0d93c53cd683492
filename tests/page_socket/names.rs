//! Names that turn the direction of what stands beside them, or command: no frame brings one to the page, and what is
//! shown is enough to press it.

use handspan::map::clean;
use tungstenite::Message;

use crate::evening::{Evening, GEAR, LANTERN, SET, until};
use crate::page::Page;

/// What may stand in a text of a map by its number.
const EVIL: &str = r"\u202e\u2066\u009b\u0085\u2028\u200f\u007f";
/// How it is shown.
const SHOWN: &str = "\u{fffd}\u{fffd}\u{fffd}\u{fffd}\u{fffd}\u{fffd}\u{fffd}";

/// The next frames as they come, up to one of a kind.
fn raw_until(page: &mut Page, kind: &str) -> Vec<String> {
    let mut frames = Vec::new();
    loop {
        let Message::Text(text) = page.socket.read().expect("a frame") else { continue };
        let is_it = serde_json::from_str::<serde_json::Value>(&text).expect("JSON")["kind"] == kind;
        frames.push(text.to_string());
        if is_it {
            return frames;
        }
    }
}

#[test]
fn no_frame_turns_the_direction_of_what_stands_beside_it() {
    let evening = Evening::begin();
    let evil = |text: &str, names: &[&str]| {
        names
            .iter()
            .fold(text.to_owned(), |text, name| text.replace(&format!("\"{name}\""), &format!("\"{name}{EVIL}\"")))
    };
    let files = [
        // Another name of an input or output would wait for the next start.
        ("gear.toml", evil(GEAR, &["desk 21"])),
        ("lantern.toml", evil(LANTERN, &["Lantern", "bed", "Verse", "Chorus", "all"])),
        ("set.toml", evil(SET, &["Tonight", "she counts", "Welcome"])),
    ];
    for (name, text) in files {
        std::fs::write(evening.folder.path().join(name), text).unwrap();
    }
    until("it is loaded", || evening.remote.show().book.set.title != "Tonight");
    let mut page = evening.page();
    let mut frames = raw_until(&mut page, "alive");
    page.say(
        &serde_json::json!({ "do": ["section", format!("Chorus{SHOWN}")], "ask": 5, "at": page.now(), "seen": 1 }),
    );
    frames.extend(raw_until(&mut page, "answer"));
    for kind in ["set", "song", "state", "hand", "answer"] {
        let of_kind = |frame: &&String| frame.contains(&format!("\"kind\":\"{kind}\""));
        assert!(frames.iter().any(|frame| of_kind(&frame)), "no {kind}");
    }
    for frame in &frames {
        assert_eq!(*frame, clean(frame));
    }
    let all = frames.concat();
    for name in ["Tonight", "Welcome", "she counts", "Lantern", "bed", "Verse", "Chorus", "all", "desk 21"] {
        assert!(all.contains(&format!("{name}{SHOWN}")), "{name} is not shown: {all}");
    }
    let answer: serde_json::Value = serde_json::from_str(frames.last().unwrap()).unwrap();
    assert_eq!(answer["done"], true, "{answer}");
}
