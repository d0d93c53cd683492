//! Cues of the demo, and one beside them, fired by what a foot does to the left pedal.

use std::sync::Arc;

use super::super::demo;
use super::*;
use crate::engine::Plan;
use crate::map;
use crate::midi::file::{Writer, read};
use crate::midi::tempo::Division;

fn book(cues: &str) -> Book {
    let file = |path: &str| demo::FILES.iter().find(|(name, _)| *name == path).map(|(_, bytes)| bytes.to_vec());
    let mut with_cues = |path: &str| {
        let mut bytes = file(path).ok_or_else(|| std::io::Error::from(std::io::ErrorKind::NotFound))?;
        if path == "gear.toml" {
            bytes.extend_from_slice(cues.as_bytes());
        }
        Ok(bytes)
    };
    map::load(demo::SET, &mut with_cues).book.expect("the demo loads")
}

/// What fires as these come in, at milliseconds: markers, and values of controller 67.
fn lines(cues: &str, events: &[Event]) -> Vec<String> {
    let book = book(cues);
    // 500 ticks a quarter at 120 a minute: a tick is a millisecond.
    let bytes: Vec<_> = events.iter().map(|(_, event)| event.map(|value| [0xB0, 67, value])).collect();
    let mut writer = Writer::new(Division::quarter(500).expect("a division"));
    for ((tick, _), event) in events.iter().zip(&bytes) {
        match event {
            Ok(message) => writer.message(*tick, message),
            Err(marker) => writer.marker(*tick, marker),
        }
    }
    let take = read(&writer.finish(5000).expect("a take")).expect("a take");
    let rehearsal = Rehearsal::new(&Arc::new(Plan::new(&book)), &take, 0, 0);
    let fired = fired(&book, &rehearsal);
    fired.iter().map(|fired| fired.line(&book, &rehearsal).trim().to_owned()).collect()
}

type Event = (u64, Result<u8, &'static str>);
const SINGLE: &str = "[[cue]]\nwhen = { input = \"keyboard\", control = 67 }\ndo = \"next-section\"\n";

#[test]
fn a_press_that_may_become_another_is_known_later() {
    // Up before a long press is one: known when no second one can follow.
    let once = [(1000, Ok(127)), (1100, Ok(0))];
    assert_eq!(lines(SINGLE, &once), ["1.40 s  keyboard: control 67 once, 0.4 s ago → next section"]);
    assert!(lines("", &once).is_empty());
    let twice = [(1000, Ok(127)), (1100, Ok(0)), (1300, Ok(127)), (1350, Ok(0))];
    let line = "1.30 s  keyboard: control 67 twice → next song: Frost on the Window";
    assert_eq!(lines(SINGLE, &twice), [line]);
    let long = [(1000, Ok(127)), (3000, Ok(0))];
    assert_eq!(lines(SINGLE, &long), ["1.70 s  keyboard: control 67 held for 0.7 s → drone: nothing changes"]);
}

#[test]
fn of_two_cues_at_once_each_is_told_what_it_did() {
    let once = [(1000, Ok(127)), (1100, Ok(0))];
    let drone = SINGLE.replace("next-section", "drone");
    let [section, drone]: [String; 2] = lines(&format!("{SINGLE}{drone}"), &once).try_into().expect("two cues");
    assert_eq!(section, "1.40 s  keyboard: control 67 once, 0.4 s ago → next section");
    assert_eq!(drone, "1.40 s  keyboard: control 67 once, 0.4 s ago → drone: nothing changes");
}

#[test]
fn what_never_fires_is_not_told() {
    let too_soon: [Event; 3] = [(100, Ok(127)), (200, Ok(0)), (300, Ok(127))];
    let put_back: [Event; 4] =
        [(1000, Err("lost keyboard")), (2000, Err("found keyboard")), (2400, Ok(127)), (2450, Ok(0))];
    let bounces: [Event; 4] = [(1000, Ok(127)), (1020, Ok(0)), (1050, Ok(127)), (1100, Ok(0))];
    for events in [&too_soon[..], &put_back, &bounces] {
        assert!(lines("", events).is_empty(), "{events:?}");
    }
    assert_eq!(lines(SINGLE, &bounces).len(), 1, "one press");
}

#[test]
fn in_a_song_its_own_cue_counts_and_in_a_pause_the_gears() {
    let long = |song| [(1000, Err(song)), (2000, Ok(127)), (3000, Ok(0))];
    assert_eq!(lines("", &long("song 2")), ["2.70 s  keyboard: control 67 held for 0.7 s → fade"]);
    let double = [(1000, Err("song 13")), (2000, Ok(127)), (2100, Ok(0)), (2300, Ok(127)), (2400, Ok(0))];
    assert_eq!(lines("", &double), ["2.30 s  keyboard: control 67 twice → next song: nothing changes"]);
    assert_eq!(lines("", &long("song 4")), ["2.70 s  keyboard: control 67 held for 0.7 s → drone: nothing changes"]);
}
