//! What is said of a hand whose notes alone would tell something else.

use std::sync::Arc;

use super::*;
use crate::engine::Plan;
use crate::map::load;
use crate::midi::file::{Writer, read};
use crate::midi::tempo::Division;

/// A set of one song in F; its zones and what it does are `song`. There are two sounds, on channels 1 and 2 of `keys`.
fn book(song: &str) -> Book {
    let mut read = |path: &str| match path {
        "set.toml" => Ok(b"title = \"Evening\"\ngear = \"gear.toml\"\n[[song]]\nmap = \"song.toml\"\n".to_vec()),
        "gear.toml" => Ok(b"[inputs.keyboard]\nport = \"piano\"\nplay = true\n[outputs.keys]\nvirtual = true\n\
            [sounds.grand]\noutput = \"keys\"\nchannel = 1\n[sounds.warm]\noutput = \"keys\"\nchannel = 2\n"
            .to_vec()),
        _ => Ok(format!("title = \"Snow\"\nkey = \"F\"\n{song}").into_bytes()),
    };
    load("set.toml", &mut read).book.expect("the maps load")
}

/// What happens at a millisecond: a marker, or a message.
type Event<'a> = (u64, Result<[u8; 3], &'a str>);

fn on(at: u64, key: u8) -> Event<'static> {
    (at, Ok([0x90, key, 90]))
}

fn off(at: u64, key: u8) -> Event<'static> {
    (at, Ok([0x80, key, 64]))
}

/// Each moment between the start and the end: what it is, what the hand did, and its rows beside that.
fn told(song: &str, events: &[Event<'_>]) -> Vec<(MomentKind, String, Vec<String>)> {
    let book = book(song);
    // 500 ticks a quarter at 120 a minute: a tick is a millisecond.
    let mut writer = Writer::new(Division::quarter(500).expect("a division"));
    for (tick, event) in events {
        match event {
            Ok(message) => writer.message(*tick, message),
            Err(marker) => writer.marker(*tick, marker),
        }
    }
    let take = read(&writer.finish(5000).expect("a take")).expect("a take");
    let rehearsal = Rehearsal::new(&Arc::new(Plan::new(&book)), &take, 0, 0);
    let all = moments(&book, &rehearsal, &take, 0);
    let inner = &all[1..all.len() - 1];
    inner.iter().map(|moment| (moment.kind, moment.hand.clone(), rows(moment, &[0]))).collect()
}

/// What the hand did, of the moments of one kind.
fn hands(kind: MomentKind, song: &str, events: &[Event<'_>]) -> Vec<String> {
    let told = told(song, events).into_iter();
    told.filter(|(is, _, _)| *is == kind).map(|(_, hand, _)| hand).collect()
}

const GRAND: &str = "[[zone]]\nsound = \"grand\"\n";

#[test]
fn the_key_that_stay_in_key_chose_is_said_wherever_its_note_goes() {
    let song = "[[zone]]\nsound = \"warm\"\nstay_in_key = \"nearest\"\nwithin = [\"C2\", \"C3\"]\n";
    assert_eq!(hands(MomentKind::WrongKey, song, &[on(100, 66), off(200, 66)]), ["on Gb4 90 (as F4)"]);
    assert_eq!(hands(MomentKind::Key, song, &[on(100, 65), off(200, 65)]), ["on F4 90"]);
}

#[test]
fn a_key_is_silent_only_where_no_zone_takes_it() {
    let silent = |sound: &str| format!("[[zone]]\nname = \"bells\"\nsound = \"{sound}\"\nstay_in_key = \"silent\"\n");
    let events = [on(100, 66), off(200, 66)];
    assert_eq!(hands(MomentKind::SilentKey, &silent("warm"), &events), ["on Gb4 90 (silent)"]);
    for sound in ["warm", "grand"] {
        assert_eq!(hands(MomentKind::Key, &format!("{}{GRAND}", silent(sound)), &events), ["on Gb4 90"], "{sound}");
    }
}

#[test]
fn a_toggle_lets_go_though_another_zone_strikes_at_its_place() {
    let toggle = "[[zone]]\nname = \"long\"\nsound = \"grand\"\nlinger = \"toggle\"\n";
    let events = [on(100, 65), off(200, 65), on(300, 65), off(400, 65)];
    let song = format!("{toggle}[[zone]]\nsound = \"grand\"\ntranspose = 7\n");
    assert_eq!(hands(MomentKind::Key, &song, &events), ["on F4 90", "on F4 90 (lets go)"]);
}

#[test]
fn a_chord_is_said_for_the_key_that_struck_it() {
    let chords = "[[zone]]\nname = \"finger\"\nsound = \"grand\"\none_key_chord = true\n";
    let events = [on(100, 60), on(110, 65), off(400, 60), off(400, 65)];
    // Of keys struck within gather only the first counts.
    assert_eq!(hands(MomentKind::Key, &format!("{chords}{GRAND}"), &events), ["on C4 90 (C)", "on F4 90"]);
}

#[test]
fn what_is_decided_is_named_by_its_keys_and_else_by_the_root_that_was_chosen() {
    let root = "[[zone]]\nsound = \"warm\"\nplays = \"root\"\nwithin = [\"C2\", \"C3\"]\n";
    let chord = |keys: [u8; 3]| keys.map(|key| on(100, key));
    assert_eq!(hands(MomentKind::Decision, root, &chord([60, 64, 67])), ["(C)"]);
    // Its major seventh counts more than being the lowest (R11).
    assert_eq!(hands(MomentKind::Decision, root, &chord([60, 61, 62])), ["(root Db)"]);
}

#[test]
fn a_late_finger_is_one_with_which_the_engine_decides() {
    let song =
        format!("{GRAND}[[zone]]\nsound = \"warm\"\nplays = \"chord\"\nwithin = [\"C3\", \"C4\"]\nlinger = \"next\"\n");
    let first = [60, 64, 67].map(|key| on(100, key));
    // Above keys that are all down it may be a tune, until the first of them comes up (R11).
    let second = [69, 72, 76].map(|key| on(1000, key));
    let events = [&first[..], &second, &[off(1080, 67), off(1500, 69)]].concat();
    assert_eq!(hands(MomentKind::LateFinger, &song, &events), ["off G4 64 (late)"]);
    assert_eq!(hands(MomentKind::Decision, &song, &events).len(), 1);
}

#[test]
fn only_a_fade_is_called_one() {
    let list = "on_entering = [{ to = \"keys\", after_ms = 500, message = { control = [11, 64], channel = 2 } }]\n";
    let song = format!("{list}{GRAND}");
    assert!(hands(MomentKind::Fade, &song, &[on(100, 60), off(900, 60)]).is_empty());
    let lingers = "[[zone]]\nsound = \"warm\"\nlinger = \"next\"\n";
    let fades = hands(MomentKind::Fade, lingers, &[on(100, 60), off(200, 60), (300, Err("do fade 100"))]);
    assert_eq!(fades, ["(fading)"; 5]);
}

#[test]
fn notes_are_spelled_in_the_keys_of_the_section() {
    let song = format!(
        "play_in = \"room\"\n{GRAND}[[section]]\nname = \"Verse\"\n[[section]]\nname = \"Last\"\nkey = \"E\"\n"
    );
    let told = told(&song, &[on(100, 68), off(200, 68), (300, Err("section Last")), on(400, 68), off(500, 68)]);
    let keys = told.iter().filter(|(kind, _, _)| *kind == MomentKind::Key);
    let spelled: Vec<String> =
        keys.map(|(_, _, rows)| rows[0].split_whitespace().collect::<Vec<_>>().join(" ")).collect();
    assert_eq!(spelled, ["0.100 s on Ab4 90 1: on Ab4 90", "0.400 s on G#4 90 1: on G#4 90"]);
}

#[test]
fn a_note_ends_as_it_began_though_the_key_has_changed() {
    let song = format!(
        "play_in = \"room\"\n{GRAND}[[section]]\nname = \"Verse\"\n[[section]]\nname = \"Last\"\nkey = \"E\"\n"
    );
    let told = told(&song, &[on(100, 68), (300, Err("section Last")), off(400, 68), on(500, 68), off(600, 68)]);
    let words = |row: &str| row.split_whitespace().collect::<Vec<_>>().join(" ");
    let notes: Vec<String> = told.iter().map(|(_, _, rows)| words(&rows[0])).filter(|row| row.contains("4 ")).collect();
    assert_eq!(
        notes,
        [
            "0.100 s on Ab4 90 1: on Ab4 90",
            "0.400 s off Ab4 64 1: off Ab4 64",
            "0.500 s on G#4 90 1: on G#4 90",
            "0.600 s off G#4 64 1: off G#4 64",
        ]
    );
}

#[test]
fn chords_and_notes_are_spelled_as_the_section_writes_them() {
    // In F alone they would be Db and Ab; the third of the chart's A7 is a C#, and its E7 has a G#.
    let song = format!(
        "{GRAND}[[zone]]\nsound = \"warm\"\nplays = \"root\"\n\
         [[section]]\nname = \"Verse\"\nchords = \"F | A7/C# | E7\"\n"
    );
    let events = [on(100, 61), on(101, 64), on(102, 69), on(700, 68), off(900, 61), off(900, 64), off(900, 69)];
    let told = told(&song, &events);
    let (_, hand, rows) = &told[0];
    assert_eq!((hand.as_str(), rows[0].split("1: ").nth(1)), ("on C#4 90", Some("on C#4 90")));
    assert_eq!(hands(MomentKind::Decision, &song, &events)[0], "(A/C#)");
    assert!(told.iter().any(|(_, hand, _)| hand == "on G#4 90"));
}
