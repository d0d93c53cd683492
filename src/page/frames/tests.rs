//! What a page gets where the fingers play in the room's key.

use std::io;

use super::hand::on_one_key;
use super::song::SongFrame;
use crate::daemon::Show;
use crate::engine::{Action, Engine, Event, Micros, Plain, Snapshot};
use crate::map::load;

const SONG: &str = "title = \"Snow\"\nkey = \"D\"\nplay_in = \"room\"\n[[zone]]\nsound = \"grand\"\nstay_in_key = \"nearest\"\n\
                    keys = [\"C4\", \"B4\"]\n[[zone]]\nname = \"finger\"\nsound = \"grand\"\none_key_chord = true\nkeys = [\"A0\", \"B3\"]\n\
                    [[section]]\nname = \"Verse\"\n[[section]]\nname = \"Last\"\nkey = \"E\"\n";

fn show() -> Show {
    let mut read = |path: &str| match path {
        "set.toml" => Ok(b"title = \"Evening\"\ngear = \"gear.toml\"\n[[song]]\nmap = \"snow.toml\"\n".to_vec()),
        "gear.toml" => Ok(b"[inputs.keyboard]\nport = \"p\"\n[outputs.keys]\nvirtual = true\n\
                            [sounds.grand]\noutput = \"keys\"\nchannel = 1\n"
            .to_vec()),
        "snow.toml" => Ok(SONG.as_bytes().to_vec()),
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
    let chord = on_one_key(1 << key, show, snapshot).expect("a chord");
    let chord = serde_json::to_value(chord).expect("a frame");
    ["fingers", "room"].map(|whose| chord[whose].as_str().expect("a name").to_owned())
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
