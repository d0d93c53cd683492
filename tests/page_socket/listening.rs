//! Pages that hear what the outputs get, see troubles, and learn of saved maps.

use serde_json::{Value, json};

use crate::evening::{Evening, LANTERN, PATIENCE, guarded, until};

fn messages(said: &Value) -> Vec<Value> {
    said["messages"].as_array().unwrap().clone()
}

#[test]
fn who_wants_to_hear_gets_what_the_outputs_get() {
    let evening = Evening::begin();
    let (mut hears, mut deaf) = (evening.page(), evening.page());
    hears.say(&json!({ "sound": true }));
    // It is answered after it was heard.
    hears.next("state");
    hears.presses(&["zone", "bed", "on"], 0);
    hears.frame_where("state", |state| state["state"]["song"]["zones"][1]["on"] == true);
    evening.world.play(evening.piano, &[0x92, 60, 80]);
    let mut got = Vec::new();
    while got.len() < 2 {
        let said = hears.next("sent");
        assert_eq!(said["lost"], false);
        got.extend(messages(&said).into_iter().filter(|message| message[1][0].as_u64().unwrap() & 0xF0 == 0x90));
    }
    assert_eq!(got, [json!([0, [0x90, 63, 80]]), json!([1, [0x94, 63, 80]])]);
    hears.say(&json!({ "sound": false }));
    hears.presses(&["tap"], 0);
    evening.world.play(evening.piano, &[0x82, 60, 0]);
    loop {
        let frame = hears.frame().unwrap();
        assert_ne!(frame["kind"], "sent", "it wants none any longer");
        if frame["kind"] == "hand" && frame["notes"] == json!([]) {
            break;
        }
    }
    loop {
        let frame = deaf.frame().unwrap();
        assert_ne!(frame["kind"], "sent");
        if frame["kind"] == "hand" && frame["notes"] == json!([]) {
            break;
        }
    }
}

#[test]
fn who_may_control_sees_what_arrives() {
    let evening = Evening::with(&guarded());
    let mut watches = crate::page::Page::admitted(evening.address, Some("nine bells"));
    let mut views = crate::page::Page::admitted(evening.address, Some("lantern"));
    for page in [&mut watches, &mut views] {
        page.say(&json!({ "received": true }));
        page.next("alive");
        page.next("alive");
    }
    evening.world.play(evening.piano, &[0xB2, 64, 127, 0xB2, 64, 126, 0xB2, 64, 0, 0x92, 60, 80]);
    let mut lines = Vec::new();
    while lines.len() < 3 {
        lines.extend(watches.next("received")["lines"].as_array().unwrap().clone());
    }
    assert_eq!(
        lines,
        [
            json!({ "words": "keyboard: control 64 is 127: the right pedal (channel 3)", "when": "when = { input = \"keyboard\", control = 64 }" }),
            json!({ "words": "keyboard: control 64 is 0: the right pedal (channel 3)", "when": "when = { input = \"keyboard\", control = 64 }" }),
            json!({ "words": "keyboard: note C4, velocity 80 (channel 3)", "when": "when = { input = \"keyboard\", note = 60 }" }),
        ]
    );
    watches.say(&json!({ "received": false }));
    watches.next("alive");
    watches.next("alive");
    evening.world.play(evening.piano, &[0x92, 64, 80]);
    for page in [&mut watches, &mut views] {
        loop {
            let frame = page.frame().unwrap();
            assert_ne!(frame["kind"], "received");
            if frame["kind"] == "hand" && frame["down"][0] == json!([60, 64]) {
                break;
            }
        }
    }
}

#[test]
fn who_begins_to_hear_gets_what_sounds() {
    let evening = Evening::begin();
    let (mut page, mut later) = (evening.page(), evening.page());
    evening.world.play(evening.piano, &[0x92, 60, 80]);
    page.frame_where("hand", |hand| hand["notes"] != json!([]));
    for page in [&mut page, &mut later] {
        page.say(&json!({ "sound": true }));
        let begun = messages(&page.next("sent"));
        assert_eq!(begun.last(), Some(&json!([0, [0x90, 63, 80]])), "{begun:?}");
    }
    evening.world.play(evening.piano, &[0x82, 60, 0]);
    for page in [&mut page, &mut later] {
        page.frame_where("sent", |said| messages(said).contains(&json!([0, [0x80, 63, 0]])));
    }
}

#[test]
fn what_could_not_be_told_is_said_to_be_lost() {
    let evening = Evening::begin();
    let mut page = evening.page();
    page.say(&json!({ "sound": true }));
    page.next("state");
    page.presses(&["panic"], 0);
    page.does(&["zone", "bed", "on"]);
    // Far more at once than is kept for a look.
    let flood: Vec<u8> = (0..300_000_u32).flat_map(|value| [0xB2, 1, (value % 128) as u8]).collect();
    let lost = |page: &mut crate::page::Page| {
        evening.world.play(evening.piano, &flood);
        page.frame_where("sent", |said| said["lost"] == true || messages(said).len() < 4096)["lost"] == true
    };
    until("something was lost", || lost(&mut page));
    // The rest of the flood may drown a note or two.
    let heard = |page: &mut crate::page::Page| {
        evening.world.play(evening.piano, &[0x92, 60, 80, 0x82, 60, 0]);
        messages(&page.next("sent")).contains(&json!([0, [0x90, 63, 80]]))
    };
    until("a note is heard again", || heard(&mut page));
}

#[test]
fn troubles_are_told_in_words_until_they_are_over() {
    let evening = Evening::begin();
    let mut page = evening.page();
    assert_eq!(page.next("state")["trouble"], json!(null));
    evening.world.unplug(evening.piano);
    let gone = page.frame_where("state", |state| !state["trouble"].is_null());
    let words = "keyboard is not connected: its notes have ended, its pedals are up. Plug it in again.";
    assert_eq!(gone["trouble"]["words"], words);
    assert!(gone["trouble"]["ago_ms"].as_u64().unwrap() < PATIENCE.as_millis() as u64);
    assert_eq!(gone["state"]["inputs"][0]["connected"], false);
    // Somebody who comes later learns of it too.
    let mut later = evening.page();
    assert_eq!(later.frame_where("state", |_| true)["trouble"]["words"], words);
    evening.world.plug(handspan::ports::Direction::Input, "stage piano", "keys", None);
    let back = page.frame_where("state", |state| state["trouble"]["words"] != words);
    assert_eq!(back["trouble"]["words"], "keyboard is connected again.");
    evening.world.overrun();
    page.frame_where("state", |state| {
        state["trouble"]["words"] == "The system lost messages on their way here: the notes of all keys were ended."
            && state["state"]["counts"]["overruns"] == 1
    });
}

#[test]
fn saved_maps_are_shown_again() {
    let evening = Evening::begin();
    let mut page = evening.page();
    assert_eq!(page.next("set")["entries"][0]["room"], "Eb");
    page.next("state");
    let path = evening.folder.path().join("lantern.toml");
    std::fs::write(&path, LANTERN.replace("key = \"D\"\n", "key = \"Z\"\n")).unwrap();
    page.frame_where("state", |state| {
        let words =
            "The saved maps were not loaded: the set goes on as before. lantern.toml, line 2: \"Z\" is not a key.";
        state["trouble"]["words"] == words
    });
    std::fs::write(&path, LANTERN.replace("\"Lantern\"", "\"Lantern and Snow\"").replace("D Bm", "D G")).unwrap();
    assert_eq!(page.next("set")["entries"][0]["title"], "Lantern and Snow");
    let song = page.next("song");
    assert_eq!((&song["title"], &song["sections"][0]["fingers"][0]), (&json!("Lantern and Snow"), &json!(["C", "F"])));
    page.frame_where("state", |state| state["trouble"]["words"] == "The saved maps are in order again.");
    // The input hears another channel from now on, and the page plays on that.
    let gear = evening.folder.path().join("gear.toml");
    std::fs::write(&gear, crate::evening::GEAR.replace("channel = 3", "channel = 4")).unwrap();
    page.next("set");
    page.down(62, 80);
    assert_eq!(evening.heard(), (0, vec![0x90, 65, 80]));
}
