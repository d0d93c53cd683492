//! `play --no-ports` and `try SET`: the page is keyboard and loudspeaker.

use std::fs;
use std::thread;
use std::time::{Duration, Instant};

use serde_json::{Value, json};
use tempfile::TempDir;

use crate::page::{PATIENCE, Page};
use crate::running::{Running, run};

/// Two inputs on one device, a virtual output, and one that is another program's port.
const GEAR: &str = "[inputs.keyboard]\nport = \"stage piano\"\nchannel = 1\nplay = true\n\
                    [inputs.pedals]\nport = \"stage piano\"\nchannel = 2\nplay = false\noptional = true\n\
                    [outputs.piano]\nvirtual = true\n[outputs.pad]\nport = \"a synth\"\n\
                    [sounds.grand]\noutput = \"piano\"\nchannel = 1\nprogram = 1\n\
                    [sounds.warm]\noutput = \"pad\"\nchannel = 2\nprogram = 90\n";
const SONG: &str = "title = \"Lantern\"\nkey = \"D\"\nplay_in = \"C\"\n[[zone]]\nsound = \"grand\"\n\
                    [[zone]]\nsound = \"warm\"\noctave = -1\n";
const SET: &str = "title = \"Tonight\"\ngear = \"gear.toml\"\n[[song]]\nmap = \"songs/lantern.toml\"\n";

fn maps(stand: &str) -> TempDir {
    let folder = TempDir::new().expect("a folder");
    fs::create_dir(folder.path().join("songs")).expect("a folder");
    let gear = format!("{GEAR}{stand}");
    for (name, text) in [("gear.toml", gear.as_str()), ("songs/lantern.toml", SONG), ("set.toml", SET)] {
        fs::write(folder.path().join(name), text).expect("a map");
    }
    folder
}

/// Plays a C on the page; the messages that begin notes, as the outputs get them.
pub fn plays_a_c(page: &mut Page, notes: usize) -> Vec<Value> {
    page.say(&json!({ "sound": true }));
    page.next("state");
    page.down(60, 80);
    let mut begun = Vec::new();
    while begun.len() < notes {
        let sent = page.next("sent");
        let on = |message: &&Value| message[1][0].as_u64().is_some_and(|status| status & 0xF0 == 0x90);
        begun.extend(sent["messages"].as_array().expect("a list").iter().filter(on).cloned());
    }
    page.up(60);
    page.frame_where("hand", |hand| hand["notes"] == json!([]));
    begun
}

fn sounds_on_both_outputs(page: &mut Page) {
    let state = page.next("state")["state"].clone();
    for kind in ["inputs", "outputs"] {
        let all = state[kind].as_array().expect("a list");
        assert!(all.len() == 2 && all.iter().all(|port| port["connected"] == true), "{state}");
    }
    let begun = plays_a_c(page, 2);
    assert_eq!(begun, [json!([0, [0x90, 62, 80]]), json!([1, [0x91, 50, 80]])]);
}

#[test]
fn a_set_is_played_on_the_page_with_nothing_connected() {
    let folder = maps("[stand]\nlisten = \"127.0.0.1:0\"\n");
    let playing = Running::begin(folder.path(), &["play", "set.toml", "--no-ports", "--log", "evening.log"]);
    playing.says("no ports are opened: the page plays as keyboard, and sounds what the outputs get");
    let mut page = playing.page();
    sounds_on_both_outputs(&mut page);
    // It is a performance as any other.
    let (code, out, err) = run(folder.path(), &["status"]);
    assert!(code == 0 && out.contains("Lantern"), "{out}{err}");
    playing.end();
    assert!(fs::read_to_string(folder.path().join("evening.log")).expect("a log").contains("no ports are opened"));
    let state = fs::read_dir(folder.path().join("state/handspan")).map_or(0, |all| {
        all.filter(|entry| entry.as_ref().is_ok_and(|entry| entry.path().extension().is_some())).count()
    });
    assert_eq!(state, 0, "nothing of it is kept for a restart");
}

#[test]
fn in_a_network_the_page_asks_for_its_passcode() {
    let folder = maps("[stand]\nlisten = \"0.0.0.0:0\"\npasscode = \"seven grey herons\"\n");
    let playing = Running::begin(folder.path(), &["play", "set.toml", "--no-ports"]);
    let link = playing.says("/#play");
    let (_, port) = link.trim_end_matches("/#play").rsplit_once(':').expect("a port");
    let at = ([127, 0, 0, 1], port.parse().expect("a number")).into();
    playing.says("nothing on it is encrypted");
    assert_eq!(Page::greets(at, None).frame().expect("an answer")["kind"], "refused");
    let mut page = Page::admitted(at, Some("seven grey herons"));
    sounds_on_both_outputs(&mut page);
    playing.end();
}

#[test]
fn without_ports_and_page_there_is_nothing_to_play_on() {
    let folder = maps("[stand]\nlisten = \"off\"\n");
    let (code, _, err) = run(folder.path(), &["play", "set.toml", "--no-ports"]);
    assert_eq!(code, 1, "{err}");
    assert!(err.contains("listen = \"off\""), "{err}");
    let (code, _, err) = run(folder.path(), &["play", "set.toml", "--no-ports", "--backend", "portable"]);
    assert_eq!(code, 2, "{err}");
}

#[test]
fn a_tryout_of_the_own_set_is_for_this_machine_alone() {
    // Where the stand of the evening is does not matter.
    for stand in
        ["", "[stand]\nlisten = \"off\"\n", "[stand]\nlisten = \"0.0.0.0:7340\"\npasscode = \"seven grey herons\"\n"]
    {
        let folder = maps(stand);
        let playing = Running::begin(folder.path(), &["try", "set.toml"]);
        let address = playing.address();
        assert!(address.ip().is_loopback(), "{address}");
        let mut page = Page::admitted(address, stand.contains("passcode").then_some("seven grey herons"));
        sounds_on_both_outputs(&mut page);
        playing.end();
    }
}

#[test]
fn a_tryout_answers_do_and_status_where_no_performance_is_meant() {
    let folder = maps("");
    let folder = folder.path();
    let tryout = Running::begin(folder, &["try", "set.toml"]);
    tryout.says("Play it yourself");
    let (code, out, err) = run(folder, &["status"]);
    assert!(code == 0 && out.starts_with("try plays Tonight ("), "{out}{err}");
    let (code, out, err) = run(folder, &["do", "raise-key"]);
    assert_eq!((code, out.as_str()), (0, "Room Eb, +1 from tonight's key.\n"), "{err}");
    // A second one does not take the first one's place.
    let second = Running::begin(folder, &["try", "set.toml"]);
    second.says("Another `try` runs");
    second.end();
    let playing = Running::begin(folder, &["play", "set.toml", "--no-ports"]);
    playing.says("/#play");
    let meant = |arguments: &[&str]| run(folder, arguments).1;
    assert!(meant(&["status"]).starts_with("handspan plays Tonight ("), "the performance is meant");
    assert!(meant(&["status", "--name", "try"]).starts_with("try plays Tonight ("));
    playing.end();
    tryout.end();
    assert_eq!(run(folder, &["status"]).0, 1);
}

#[test]
fn what_is_refused_is_in_the_log_with_what_was_asked_and_why() {
    let folder = maps("[stand]\nlisten = \"127.0.0.1:0\"\n");
    let folder = folder.path();
    let playing = Running::begin(folder, &["play", "set.toml", "--no-ports", "--log", "evening.log"]);
    playing.says("/#play");
    for (words, why) in [
        (&["next-song"][..], "The set ends here: there is no next song."),
        (&["song-key", "Lantern", "H"], "\"H\" is no key: H is B here, and B is Bb, write \"B\"."),
        (&["nxt-song"], "\"nxt-song\" is no action: did you mean \"next-song\"?"),
    ] {
        let (code, _, err) = run(folder, &[&["do"], words].concat());
        assert!(code > 0 && err.contains(why), "{err}");
        let line = format!("control socket: \"{}\" was refused: {why}\n", words.join(" "));
        // It is written by a thread of its own.
        let log = || fs::read_to_string(folder.join("evening.log")).expect("a log");
        let until = Instant::now() + PATIENCE;
        while !log().contains(&line) {
            assert!(Instant::now() < until, "{line} is not in\n{}", log());
            thread::sleep(Duration::from_millis(5));
        }
    }
    playing.end();
}

#[test]
fn a_fault_in_a_saved_map_is_told_with_its_place_until_it_is_mended_or_taken_back() {
    for arguments in [&["try", "set.toml"][..], &["play", "set.toml", "--no-ports"]] {
        let folder = maps("[stand]\nlisten = \"127.0.0.1:0\"\n");
        let song = folder.path().join("songs/lantern.toml");
        let playing = Running::begin(folder.path(), arguments);
        let mut page = playing.page();
        page.next("state");
        for mended in [SONG.to_owned(), format!("{SONG}level = -6.0\n")] {
            fs::write(&song, format!("{SONG}levle = -6.0\n")).expect("saved");
            playing.says("The saved maps were not loaded");
            playing.says("songs/lantern.toml, line 9");
            let words = |state: &Value| state["trouble"]["words"].as_str().unwrap_or_default().to_owned();
            let is_told = |state: &Value| {
                state["trouble"]["is"] == "now"
                    && words(state).contains("not loaded")
                    && words(state).contains("songs/lantern.toml, line 9: ")
            };
            page.frame_where("state", is_told);
            fs::write(&song, mended).expect("saved");
            playing.says("The saved maps are in order again.");
            page.frame_where("state", |state| state["trouble"]["is"] == "over");
        }
        playing.end();
    }
}

#[test]
fn any_take_is_shown_beside_what_the_own_set_makes_of_it() {
    let folder = maps("");
    let take = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("maps/takes/weir-gate.mid");
    let take = take.to_str().expect("a path");
    let (code, out, err) = run(folder.path(), &["try", "set.toml", take]);
    assert_eq!(code, 0, "{err}");
    let (_, lantern) = out.split_once("\nLantern\n").expect("its song");
    assert!(lantern.contains("room D, fingers C") && lantern.contains("the hand"), "{out}");
    assert!(lantern.contains("piano") && lantern.contains("pad") && lantern.contains("every one ended"), "{out}");
    let demo = std::path::Path::new(env!("CARGO_MANIFEST_DIR")).join("maps");
    let paths =
        ["midwinter.toml", "takes/whole-set.mid"].map(|name| demo.join(name).to_str().expect("a path").to_owned());
    let (code, out, err) = run(folder.path(), &["try", &paths[0], &paths[1]]);
    assert_eq!(code, 0, "{err}");
    let (_, mended) = out.split_once("\nFrost on the Window\n").expect("its second song");
    let rows = mended.split("the hand ").nth(1).expect("a table");
    assert!(
        rows.lines().take(8).filter(|row| row.contains(" on ")).count() > 3,
        "each song is shown from its first keys on: {rows}"
    );
    let (code, _, err) = run(folder.path(), &["try", "set.toml", take, "--input", "organ"]);
    assert!(code == 2 && err.contains("it has \"keyboard\""), "{err}");
    let (code, _, err) = run(folder.path(), &["try", "set.toml", "set.toml"]);
    assert!(code == 2 && err.contains("set.toml"), "{err}");
    let (code, _, _) = run(folder.path(), &["try", "set.toml", "--out", "demo"]);
    assert_eq!(code, 2, "the folder is the demo's");
}
