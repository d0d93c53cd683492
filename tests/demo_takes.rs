//! The takes in `maps/takes` are what the example writes, and they are what their documentation says.

use std::path::Path;

use handspan::midi::decode;
use handspan::midi::file::{TakeKind, read};

#[path = "../examples/demo_takes/hands.rs"]
mod hands;
#[path = "../examples/demo_takes/pieces.rs"]
mod pieces;
#[path = "../examples/demo_takes/takes.rs"]
mod takes;

fn folder() -> std::path::PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("maps/takes")
}

#[test]
fn the_files_are_what_the_example_writes() {
    let mut names = Vec::new();
    for (name, bytes) in takes::all().unwrap() {
        let kept = std::fs::read(folder().join(&name)).unwrap_or_else(|error| panic!("{name}: {error}"));
        assert!(kept == bytes, "{name} is out of date: cargo run --example demo_takes -- maps/takes");
        names.push(name);
    }
    names.sort();
    let mut kept: Vec<String> = std::fs::read_dir(folder())
        .unwrap()
        .map(|entry| entry.unwrap().file_name().into_string().unwrap())
        .filter(|name| name.ends_with(".mid"))
        .collect();
    kept.sort();
    assert_eq!(kept, names);
}

#[test]
fn a_song_takes_less_than_a_minute_and_the_evening_has_enough_to_do() {
    for (name, bytes) in takes::all().unwrap() {
        let take = read(&bytes).unwrap();
        let seconds = take.end / 1_000_000;
        if name == "whole-set.mid" {
            assert!(take.events.len() >= 2_000, "{} events", take.events.len());
        } else {
            assert!((20..=60).contains(&seconds), "{name}: {seconds} s");
        }
    }
}

#[test]
fn every_note_and_the_pedal_come_up_before_the_next_song() {
    for (name, bytes) in takes::all().unwrap() {
        let mut down = std::collections::BTreeSet::new();
        let mut pedal = 0;
        for event in read(&bytes).unwrap().events {
            match event.kind {
                TakeKind::Marker(text) if text.starts_with("song") => {
                    assert!(down.is_empty() && pedal == 0, "{name}, tick {}", event.tick);
                }
                TakeKind::Marker(_) => {}
                TakeKind::Message(bytes) => {
                    assert!(decode(&bytes).is_ok());
                    match bytes[..] {
                        [0x90, note, _] => assert!(down.insert(note), "{name}, tick {}: {note} twice", event.tick),
                        [0x80, note, _] => assert!(down.remove(&note), "{name}, tick {}: {note}", event.tick),
                        [0xB0, 64, value] => pedal = value,
                        _ => {}
                    }
                }
            }
        }
        assert!(down.is_empty() && pedal == 0, "{name}: the end");
    }
}
