//! The takes in `maps/takes` are what the example writes, they are what their documentation says, and the maps have what
//! moves the set in them.

use std::path::Path;

use handspan::map::{Action, Does, Press, Song, SongChoice, load};
use handspan::midi::decode;
use handspan::midi::file::{TakeKind, read};

#[path = "../examples/demo_takes/directing.rs"]
mod directing;
#[path = "../examples/demo_takes/hands.rs"]
mod hands;
#[path = "../examples/demo_takes/one_hand.rs"]
mod one_hand;
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

/// A take's key presses as (begin, end, key), and its markers, in microseconds.
struct Played {
    notes: Vec<(u64, u64, u8)>,
    markers: Vec<(u64, String)>,
}

fn played(name: &str) -> Played {
    let takes = takes::all().unwrap();
    let (_, bytes) = takes.iter().find(|(known, _)| known == name).unwrap();
    let mut played = Played { notes: Vec::new(), markers: Vec::new() };
    let mut down = std::collections::BTreeMap::new();
    for event in read(bytes).unwrap().events {
        match event.kind {
            TakeKind::Marker(text) => played.markers.push((event.at, text)),
            TakeKind::Message(bytes) => match bytes[..] {
                [0x90, note, _] => {
                    down.insert(note, event.at);
                }
                [0x80, note, _] => played.notes.push((down.remove(&note).unwrap(), event.at, note)),
                _ => {}
            },
        }
    }
    played.notes.sort_unstable();
    played
}

#[test]
fn one_hand_rolls_its_chords_comes_late_and_finds_a_melody() {
    let Played { notes, .. } = played("frost-on-the-window.mid");
    let held_at = |at: u64| notes.iter().filter(move |(begin, end, _)| *begin < at && *end > at);
    // A chord of more than gather from its first note to its last, as a roll.
    assert!(notes.windows(3).any(|three| (50_000..150_000).contains(&(three[2].0 - three[0].0))));
    // A single note while three keys are held.
    let melody = |(begin, ..): &&(u64, u64, u8)| {
        held_at(*begin).count() == 3
            && !notes.iter().any(|other| other.0 != *begin && other.0.abs_diff(*begin) < 200_000)
    };
    assert!(notes.iter().filter(melody).count() >= 6);
    // Fingers of the chord before that come up up to a fifth of a second after the next was begun.
    let late = |(begin, ..): &&(u64, u64, u8)| {
        held_at(*begin).any(|(old, end, _)| *begin - old > 1_500_000 && (20_000..200_000).contains(&(end - begin)))
    };
    assert!(notes.iter().any(|note| late(&note)));
    // And no hand spans more than a ninth, once late fingers are up.
    for (begin, end, _) in &notes {
        let keys: Vec<u8> = held_at((begin + end) / 2).map(|(.., key)| *key).collect();
        let (low, high) = (keys.iter().min().unwrap(), keys.iter().max().unwrap());
        assert!(high - low <= 14, "{low} to {high}");
    }
}

#[test]
fn one_finger_plays_a_verse_and_the_other_hand_slips() {
    let Played { notes, .. } = played("lamplighters-lullaby.mid");
    let left: Vec<_> = notes.iter().filter(|(.., key)| *key < 60).collect();
    assert!(left.len() >= 30 && left.windows(2).all(|two| two[0].1 <= two[1].0), "one finger at a time");
    // Pitch classes of the black keys, F# among them, which is right in the chorus.
    let black = |key: u8| [1, 3, 6, 8, 10].contains(&(key % 12));
    assert!(notes.iter().any(|(.., key)| (60..84).contains(key) && black(*key)), "a wrong note");
    assert!(notes.iter().any(|(.., key)| *key >= 84 && black(*key)), "a sweep");
}

#[test]
fn the_drone_is_asked_for_and_faded() {
    let Played { markers, .. } = played("whole-set.mid");
    let place = |text: &str| markers.iter().position(|(_, marker)| marker == text).unwrap();
    let last_fade = markers.iter().rposition(|(_, marker)| marker == "do fade").unwrap();
    assert!(place("song 8") < place("do drone") && place("do drone") < place("song 9"));
    assert!(place("song 10") < last_fade && last_fade < place("song 11"));
    assert!(place("song 2") < place("do fade") && place("do fade") < place("song 3"));
}

#[test]
fn what_the_tracks_player_says_stands_between_its_markers() {
    let takes = takes::all().unwrap();
    let (_, bytes) = takes.iter().find(|(name, _)| name == "directing.mid").unwrap();
    let events: Vec<TakeKind> = read(bytes).unwrap().events.into_iter().map(|event| event.kind).collect();
    let is = |event: &TakeKind, words: &str| matches!(event, TakeKind::Marker(text) if text == words);
    let spoken: Vec<_> = events.windows(3).filter(|three| is(&three[0], "from tracks")).collect();
    assert_eq!(spoken.len(), 6);
    for three in spoken {
        assert!(matches!(three[1], TakeKind::Message(_)) && is(&three[2], "from keyboard"), "{three:?}");
    }
    // Only the first song is entered by a marker, and no section.
    assert!(!events.iter().any(|event| matches!(event, TakeKind::Marker(text) if text.starts_with("section"))));
}

#[test]
fn the_demo_shows_what_moves_a_set() {
    let set = Path::new(env!("CARGO_MANIFEST_DIR")).join("maps/midwinter.toml");
    let book = load(set.to_str().unwrap(), &mut |path| std::fs::read(path)).book.unwrap();
    let presses = [Press::Single, Press::Double, Press::Long];
    let cues = || book.gear.cues.iter().chain(book.songs.iter().flat_map(|song| &song.cues));
    for press in presses {
        assert!(cues().any(|cue| cue.when.trigger.press() == Some(press)), "{press:?}");
    }
    assert!(cues().any(|cue| matches!(cue.does, Does::Act(Action::Song(SongChoice::Received)))));
    assert!(cues().any(|cue| cue.while_down && cue.off.is_some() && cue.name.is_some()));
    let replaces = |song: &Song| book.cues_in(Some(song)).len() < book.gear.cues.len() + song.cues.len();
    assert!(book.songs.iter().any(replaces), "a song's own cue in the place of the gear's");
    // The tracks player is heard and spoken to at one port, and nobody plays on it.
    let player = book.gear.inputs.iter().find(|input| !input.play).unwrap();
    let ports = book.gear.outputs.iter().filter_map(|output| output.port.as_ref());
    assert!(ports.map(|port| &port.value).any(|port| *port == player.port.value));
}
