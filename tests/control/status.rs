//! How it stands, as JSON: the form that `docs/status.md` promises, and that it is true.

use std::path::Path;
use std::time::Instant;

use handspan::daemon::control::{self, Ask, Outcome};
use handspan::daemon::state::State;
use tempfile::TempDir;

use crate::evening::{Evening, PATIENCE};

/// The first block of this kind in the page on the form.
fn documented() -> String {
    let page = std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("docs/status.md")).unwrap();
    let (_, rest) = page.split_once("```json\n{\n").expect("an example");
    format!("{{\n{}", rest.split_once("```").expect("its end").0)
}

#[test]
fn the_form_is_as_documented() {
    let set = Path::new(env!("CARGO_MANIFEST_DIR")).join("maps/midwinter.toml");
    let evening = Evening::of(TempDir::new().unwrap(), &set.display().to_string(), "handspan");
    let say = |words: &str| {
        let words = words.split(' ').map(str::to_owned).collect();
        let answer = control::ask(&evening.run(), "handspan", Ask::Do { words }).unwrap();
        assert_eq!(answer.outcome, Outcome::Done, "{}", answer.words);
    };
    say("song carry the light");
    say("next-section");
    say("raise-key");
    say("song-key Snow at the Weir Gate Eb");
    // One of the song's sends comes 200 ms after its entry, and is refused like the others: nothing is connected.
    let deadline = Instant::now() + PATIENCE;
    let state = loop {
        let state = control::ask(&evening.run(), "handspan", Ask::Status).unwrap().state.unwrap();
        if state.counts.refused == 6 || Instant::now() > deadline {
            break state;
        }
    };
    assert!(is_a_time(&state.running_since), "{}", state.running_since);
    let mut shown = state;
    shown.running_since = "2026-12-19T19:30:00+01:00".to_owned();
    shown.set.file = "maps/midwinter.toml".to_owned();
    let shown = serde_json::to_string_pretty(&shown).unwrap();
    assert_eq!(format!("{shown}\n"), documented());
    assert!(serde_json::from_str::<State>(&shown).is_ok());
}

#[test]
fn it_is_true_whatever_happens() {
    let evening = Evening::begin();
    let zones = |state: &State| {
        let song = state.song.as_ref().expect("a song");
        song.zones.iter().map(|zone| (zone.name.clone(), zone.on, zone.in_use)).collect::<Vec<_>>()
    };
    let named = |name: &str, on, in_use| (name.to_owned(), on, in_use);
    let state = evening.state();
    assert_eq!(zones(&state), [named("grand", true, true), named("bed", false, false)]);
    assert_eq!((state.inputs[0].connected, state.outputs[0].connected, state.drone), (true, false, false));
    evening.done("zone bed");
    evening.done("drone on");
    let state = evening.state();
    assert_eq!((zones(&state), state.drone), (vec![named("grand", true, true), named("bed", true, true)], true));
    // A pause keeps the zones as they are; entering the song again does not.
    evening.done("next-song");
    let state = evening.state();
    assert_eq!((zones(&state)[1].1, state.entry.pause, state.song.unwrap().position), (true, true, 1));
    evening.done("previous-song");
    assert!(!zones(&evening.state())[1].1);
    evening.done("panic");
    assert!(!evening.state().drone);
    // Cables and listeners.
    let listener = evening.world.listen(0);
    evening.world.input_gone(0);
    let settled = |there: &dyn Fn(&State) -> bool| {
        let deadline = std::time::Instant::now() + crate::evening::PATIENCE;
        while !there(&evening.state()) {
            assert!(std::time::Instant::now() < deadline, "{:?}", evening.state());
            std::thread::yield_now();
        }
    };
    settled(&|state| !state.inputs[0].connected && state.outputs[0].connected);
    evening.world.unplug(listener);
    evening.world.input_back(0);
    settled(&|state| state.inputs[0].connected && !state.outputs[0].connected);
    // What is left out.
    evening.world.overrun();
    evening.world.fill(0, true);
    evening.world.message(0, &[0x90, 60, 90]);
    settled(&|state| state.counts.overruns == 1 && state.counts.refused > 0);
    evening.world.fill(0, false);
}

/// Whether a time is written as `2026-12-19T19:30:00+01:00` is.
fn is_a_time(text: &str) -> bool {
    let fits = |(found, wanted): (u8, u8)| match wanted {
        b'0' => found.is_ascii_digit(),
        b'+' => found == b'+' || found == b'-',
        _ => found == wanted,
    };
    let form = "0000-00-00T00:00:00+00:00";
    text.len() == form.len() && text.bytes().zip(form.bytes()).all(fits)
}
