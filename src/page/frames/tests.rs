//! What a page gets where the fingers play in the room's key.

use std::io;

use super::hand::{chords, names};
use super::next::Next;
use super::song::SongFrame;
use crate::daemon::Show;
use crate::engine::{Action, Engine, Event, Micros, Plain, Snapshot};
use crate::map::load;

const SONG: &str = "title = \"Snow\"\nkey = \"D\"\nplay_in = \"room\"\n[[zone]]\nsound = \"grand\"\nstay_in_key = \"nearest\"\n\
                    keys = [\"C4\", \"B4\"]\n[[zone]]\nname = \"finger\"\nsound = \"grand\"\none_key_chord = true\nkeys = [\"A0\", \"B3\"]\n\
                    [[section]]\nname = \"Verse\"\n[[section]]\nname = \"Last\"\nkey = \"E\"\n";

fn show() -> Show {
    show_of(SONG)
}

fn show_of(song: &str) -> Show {
    let again = if song.contains("key = \"Dm\"") { "Em" } else { "Eb" };
    let set = format!(
        "title = \"Evening\"\ngear = \"gear.toml\"\n[[song]]\nmap = \"snow.toml\"\n\
         [[song]]\nmap = \"snow.toml\"\ntitle = \"Again\"\nkey = \"{again}\"\n"
    );
    let mut read = |path: &str| match path {
        "set.toml" => Ok(set.clone().into_bytes()),
        "gear.toml" => Ok(b"[inputs.keyboard]\nport = \"p\"\n[outputs.keys]\nvirtual = true\n\
                            [sounds.grand]\noutput = \"keys\"\nchannel = 1\n"
            .to_vec()),
        "snow.toml" => Ok(song.as_bytes().to_vec()),
        _ => Err(io::ErrorKind::NotFound.into()),
    };
    Show::new(load("set.toml", &mut read).book.expect("the maps load"))
}

/// Where the set is after these actions.
fn after(show: &Show, actions: &[Action]) -> Snapshot {
    let mut engine = Engine::new(show.plan.clone());
    let mut out = engine.out();
    engine.step(Event::Start { entry: 0, order_step: 0 }, Micros::ZERO, &mut out);
    for action in actions {
        engine.step(Event::Action(*action), Micros::ZERO, &mut out);
    }
    engine.snapshot()
}

/// The keys that have a dot in the drawing of the keyboard.
fn dots(show: &Show, snapshot: &Snapshot) -> Vec<u8> {
    let song = serde_json::to_value(SongFrame::of(show, snapshot)).expect("a frame");
    let svg = song["keyboards"][0]["svg"].as_str().expect("a drawing");
    svg.split("data-fit=\"")
        .skip(1)
        .map(|rest| rest.split('"').next().expect("a key").parse().expect("a key"))
        .collect()
}

/// The chord on a key, for the fingers and for the room.
fn chord(show: &Show, snapshot: &Snapshot, key: u8) -> [String; 2] {
    let (fingers, room) = chords(1 << key, show, snapshot).expect("a chord");
    [fingers.to_string(), room.to_string()]
}

#[test]
fn fingers_in_the_rooms_key_follow_section_keys_in_what_is_drawn_and_named() {
    // R5, R12, R13.
    let show = show();
    let verse = after(&show, &[]);
    assert_eq!(dots(&show, &verse), [61, 62, 64, 66, 67, 69, 71]);
    assert_eq!(chord(&show, &verse, 43), ["G", "G"]);
    let last = after(&show, &[Action::Plain(Plain::NextSection)]);
    assert_eq!(dots(&show, &last), [61, 63, 64, 66, 68, 69, 71]);
    assert_eq!(chord(&show, &last, 44), ["G#m", "G#m"]);
    // What is added by hand leaves the fingers where they are.
    let raised = after(&show, &[Action::Plain(Plain::NextSection), Action::Plain(Plain::RaiseKey)]);
    assert_eq!(dots(&show, &raised), dots(&show, &last));
    assert_eq!(chord(&show, &raised, 44), ["G#m", "Am"]);
}

/// The chord on these keys for fingers and room, and the names of these notes.
fn spelled(show: &Show, held: &[u8], notes: &[u8]) -> ([String; 2], String) {
    let set = |keys: &[u8]| keys.iter().fold(0, |set, key| set | 1u128 << key);
    let snapshot = after(show, &[]);
    let held = chords(set(held), show, &snapshot);
    let names = names(set(notes), held.map(|(_, room)| room), show, &snapshot.standing);
    let (fingers, room) = held.expect("a chord");
    ([fingers.to_string(), room.to_string()], names.join(" "))
}

#[test]
fn what_is_held_and_what_sounds_is_spelled_by_section_chord_and_key() {
    let in_key = |key: &str| show_of(&format!("title = \"Snow\"\nkey = \"{key}\"\n[[zone]]\nsound = \"grand\"\n"));
    let a_over_c_sharp = [49, 57, 64];
    let (chords, names) = spelled(&in_key("C"), &a_over_c_sharp, &a_over_c_sharp);
    assert_eq!((chords[1].as_str(), names.as_str()), ("A/C#", "C#3 A3 E4"));
    assert_eq!(spelled(&in_key("Dm"), &[57, 61, 64, 67], &[49, 61]).1, "C#3 C#4");
    assert_eq!(spelled(&in_key("Gb"), &[59, 63, 66], &[59]).1, "Cb4");
    // A pad that still sounds the chord before.
    assert_eq!(spelled(&in_key("C"), &[60, 64, 67], &[56, 59, 64]).1, "G#3 B3 E4");
    let section = "[[section]]\nname = \"Verse\"\nchords = \"E | Bb7 B7\"\n";
    let chart = |play_in: &str| {
        show_of(&format!("title = \"Snow\"\nkey = \"E\"\n{play_in}[[zone]]\nsound = \"grand\"\n{section}"))
    };
    assert_eq!(spelled(&chart(""), &[58, 62, 65, 68], &[46]), (["Bb7", "Bb7"].map(str::to_owned), "Bb2".to_owned()));
    let (chords, names) = spelled(&chart("play_in = \"C\"\n"), &[54, 58, 61, 64], &[46]);
    assert_eq!((chords, names), (["Gb7", "Bb7"].map(str::to_owned), "Bb2".to_owned()));
}

#[test]
fn what_comes_next_shows_its_key_and_where_a_section_goes() {
    let song = format!("{SONG}[[section]]\nname = \"End\"\nkey = \"C\"\n");
    let show = show_of(&song);
    let next = |actions: &[Action]| serde_json::to_value(Next::of(&show, &after(&show, actions))).expect("a frame");
    let on = Action::Plain(Plain::NextSection);
    let raise = Action::Plain(Plain::RaiseKey);
    let ahead = |actions: &[Action]| next(actions)["next_section_key"].clone();
    assert_eq!(ahead(&[]), "rises to E");
    assert_eq!(ahead(&[raise]), "rises to F");
    assert_eq!(ahead(&[on]), "falls to C");
    assert!(ahead(&[on, on]).is_null());
    let first = next(&[]);
    assert_eq!((&first["next"], &first["next_key"]), (&"Again".into(), &"Eb".into()));
    assert!(next(&[Action::Plain(Plain::NextSong)])["next_key"].is_null());
}
