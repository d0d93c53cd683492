//! What is told after maps were saved: the page, the status and the restart know what the engine knows.

use handspan::daemon::state::State;
use std::sync::Arc;
use std::time::Instant;

use handspan::daemon::persist::{self, Beginning, SavedState};
use handspan::daemon::{Daemon, Show, wish};
use handspan::engine::CueId;
use handspan::map;
use handspan::ports::Direction;
use handspan::ports::memory::World;
use tempfile::TempDir;

use crate::evening::{Evening, GEAR, LANTERN, PATIENCE, read};

const SET: &str = "title = \"Tonight\"\ngear = \"gear.toml\"\n[[song]]\nmap = \"lantern.toml\"\n";

/// A cue that sends `value` to controller `number` and 0 at its second press.
fn cue(control: u8, number: u8, name: &str) -> String {
    format!(
        "[[cue]]\nwhen = {{ input = \"keyboard\", control = {control} }}\ndo = \"send\"\nto = \"keys\"\n\
         message = {{ control = [{number}, 127], channel = 9 }}\noff = {{ control = [{number}, 0], channel = 9 }}\n{name}"
    )
}

fn begin(gear: &str) -> Evening {
    let folder = TempDir::new().unwrap();
    for (name, text) in [("gear.toml", gear), ("lantern.toml", LANTERN), ("set.toml", SET)] {
        std::fs::write(folder.path().join(name), text).unwrap();
    }
    let path = folder.path().join("set.toml").display().to_string();
    let evening = Evening::of(folder, &path, "choir");
    evening.music(1);
    evening
}

fn zones(state: &State) -> Vec<(String, bool, bool)> {
    let song = state.song.as_ref().expect("a song");
    song.zones.iter().map(|zone| (zone.name.clone(), zone.on, zone.in_use)).collect()
}

#[test]
fn a_cue_stays_on_when_one_before_it_leaves_the_gear() {
    let lamp = cue(67, 21, "name = \"lamp\"\n");
    let evening = begin(&format!("{GEAR}{}{lamp}", cue(66, 20, "name = \"talkback\"\n")));
    assert!(evening.press(66).contains(&vec![0xB8, 20, 127]));
    assert!(evening.press(67).contains(&vec![0xB8, 21, 127]));
    assert_eq!(evening.state().cues, ["talkback", "lamp"]);
    evening.forget_reports();
    std::fs::write(evening.file("gear.toml"), format!("{GEAR}{lamp}")).unwrap();
    evening.maps();
    assert_eq!(evening.state().cues, ["lamp"]);
    assert!(evening.press(67).contains(&vec![0xB8, 21, 0]), "its second press says its off");
    assert_eq!(evening.state().cues, [""; 0]);
}

#[test]
fn another_song_at_the_current_position_has_its_own_zones() {
    let evening = begin(GEAR);
    assert_eq!(zones(&evening.state()), [("grand".to_owned(), true, true), ("bed".to_owned(), false, false)]);
    let other = LANTERN.replace("name = \"bed\"\n", "name = \"strings\"\n").replace("on = false\n", "");
    std::fs::write(evening.file("other.toml"), other).unwrap();
    evening.forget_reports();
    std::fs::write(evening.file("set.toml"), evening.text("set.toml").replace("lantern.toml", "other.toml")).unwrap();
    evening.maps();
    assert_eq!(zones(&evening.state()), [("grand".to_owned(), true, true), ("strings".to_owned(), true, true)]);
}

/// What is kept for a restart, once that is so.
fn kept_when(evening: &Evening, so: impl Fn(&SavedState) -> bool) -> SavedState {
    let deadline = Instant::now() + PATIENCE;
    loop {
        match persist::read(&evening.file("run/kept.json")) {
            Some(kept) if so(&kept) => return kept,
            kept => assert!(Instant::now() < deadline, "never kept: {kept:?}"),
        }
        std::thread::yield_now();
    }
}

#[test]
fn a_nameless_cue_that_a_saved_map_renumbered_goes_off_after_a_kill() {
    let second = cue(67, 21, "");
    let evening = begin(&format!("{GEAR}{}{second}", cue(66, 20, "")));
    assert!(evening.press(66).contains(&vec![0xB8, 20, 127]));
    assert!(evening.press(66).contains(&vec![0xB8, 20, 0]));
    assert!(evening.press(67).contains(&vec![0xB8, 21, 127]));
    kept_when(&evening, |kept| kept.cues == [(CueId(1), String::new())]);
    evening.forget_reports();
    std::fs::write(evening.file("gear.toml"), format!("{GEAR}{second}")).unwrap();
    evening.maps();
    let kept = kept_when(&evening, |kept| kept.cues == [(CueId(0), String::new())]);

    let set = evening.file("set.toml").display().to_string();
    let show = Arc::new(Show::new(map::load(&set, &mut read).book.unwrap()));
    let beginning = Beginning::after(Some(kept), &show);
    assert!(matches!(beginning, Beginning::GoOn(_)));
    let world = World::default();
    world.plug(Direction::Input, "stage piano", "keys", None);
    let (daemon, remote) = Daemon::new(&show, Box::new(world.open(&wish(&show.book.gear)).unwrap()));
    remote.stop();
    daemon.run(&beginning);
    let cues: Vec<Vec<u8>> = world
        .take_sent()
        .into_iter()
        .map(|(_, bytes)| bytes)
        .filter(|bytes| bytes[0] == 0xB8 && [20, 21].contains(&bytes[1]))
        .collect();
    assert_eq!(cues, [vec![0xB8, 21, 0]]);
}
