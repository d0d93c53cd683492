//! The main path: what is played on the page sounds, what is played elsewhere is seen, what is pressed is done.

use serde_json::json;

use crate::evening::Evening;

#[test]
fn a_key_on_the_page_sounds_and_ends() {
    let evening = Evening::begin();
    let mut page = evening.page();
    page.down(60, 80);
    // C4 of a hand in C is Eb4 tonight, a minor third higher, on the first sound's output and channel.
    assert_eq!(evening.heard(), (0, vec![0x90, 63, 80]));
    let hand = page.frame_where("hand", |hand| hand["down"] != json!([[], []]));
    assert_eq!((&hand["down"], &hand["notes"]), (&json!([[60], []]), &json!([[0, 1, [63]]])));
    page.up(60);
    assert_eq!(evening.heard().1[..2], [0x80, 63]);
    page.frame_where("hand", |hand| hand["down"] == json!([[], []]) && hand["notes"] == json!([]));
    page.say(&json!({ "pedal": true }));
    assert_eq!(evening.heard(), (0, vec![0xB0, 64, 127]));
    // How long that took is told about twice a second.
    loop {
        let frame = page.frame().expect("a frame");
        if frame["latency_us"].as_u64().is_some_and(|latency| latency > 0) {
            break;
        }
        if frame["kind"] == "alive" {
            page.down(60, 80);
            page.up(60);
        }
    }
}

#[test]
fn a_page_plays_as_the_input_that_it_chooses_and_another_page_as_before() {
    let evening = Evening::begin();
    let (mut page, mut other) = (evening.page(), evening.page());
    page.down(60, 80);
    page.frame_where("hand", |hand| hand["down"] == json!([[60], []]));
    // What is held comes up where it was struck.
    page.say(&json!({ "plays_as": "upper" }));
    page.frame_where("hand", |hand| hand["down"] == json!([[], []]));
    page.down(62, 80);
    page.frame_where("hand", |hand| hand["down"] == json!([[], [62]]));
    other.down(64, 80);
    page.frame_where("hand", |hand| hand["down"] == json!([[64], [62]]));
    page.say(&json!({ "plays_as": "nothing of the kind" }));
    page.up(62);
    other.up(64);
    page.frame_where("hand", |hand| hand["down"] == json!([[], []]));
    page.say(&json!({ "plays_as": "keyboard" }));
    page.down(65, 80);
    page.frame_where("hand", |hand| hand["down"] == json!([[65], []]));
}

#[test]
fn what_the_keyboard_plays_is_seen_with_its_chord_in_both_keys() {
    let evening = Evening::begin();
    let mut page = evening.page();
    // A first inversion of A minor: in the room, a minor third higher, Cm over Eb.
    evening.world.play(evening.piano, &[0x92, 60, 80, 0x92, 64, 80, 0x92, 69, 80]);
    let hand = page.frame_where("hand", |hand| hand["down"] == json!([[60, 64, 69], []]));
    assert_eq!(hand["chord"], json!({ "fingers": "Am/C", "room": "Cm/Eb" }));
    assert_eq!(hand["notes"], json!([[0, 1, [63, 67, 72]]]));
    evening.world.play(evening.piano, &[0x82, 69, 0]);
    let hand = page.frame_where("hand", |hand| hand["down"] == json!([[60, 64], []]));
    assert_eq!(hand["chord"], json!({ "fingers": "C", "room": "Eb" }), "root and third are enough of a name");
    evening.world.play(evening.piano, &[0x82, 64, 0]);
    let hand = page.frame_where("hand", |hand| hand["down"] == json!([[60], []]));
    assert_eq!(hand["chord"], json!(null));
}

#[test]
fn where_one_key_plays_a_chord_that_chord_is_named() {
    let evening = Evening::begin();
    let mut page = evening.page();
    page.next("state");
    page.does(&["song", "Nine Bells"]);
    page.does(&["raise-key"]);
    let down = |key: u8| {
        evening.world.play(evening.piano, &[0x92, key, 80]);
        key
    };
    // The degrees of A minor, its fifth in major as in `music::scale`; a semitone higher in the room.
    for (key, fingers, room) in [(45, "Am", "Bbm"), (40, "E", "F"), (36, "C", "Db")] {
        let key = down(key);
        let hand = page.frame_where("hand", |hand| hand["down"] == json!([[key], []]));
        assert_eq!(hand["chord"], json!({ "fingers": fingers, "room": room }));
        evening.world.play(evening.piano, &[0x82, key, 0]);
    }
    let key = down(60);
    let hand = page.frame_where("hand", |hand| hand["down"] == json!([[key], []]));
    assert_eq!(hand["chord"], json!(null), "that key plays itself");
}

#[test]
fn what_is_pressed_is_done_answered_logged_and_shown_to_all() {
    let evening = Evening::begin();
    let (mut page, mut other) = (evening.page(), evening.page());
    page.frame_where("state", |state| state["viewers"] == 2);
    other.next("state");
    assert_eq!(page.does(&["next-section"]), "Chorus (2 of 3), room F.");
    for page in [&mut page, &mut other] {
        let state = page.frame_where("state", |state| state["state"]["song"]["section"]["name"] == "Chorus");
        assert_eq!(state["state"]["song"]["keys"]["room"], "F");
    }
    assert!(evening.logged().iter().any(|line| line == "page 1 at 127.0.0.1: next-section"), "{:?}", evening.logged());
    for (words, field, value) in [
        (&["zone", "bed", "on"][..], "/state/song/zones/1/on", json!(true)),
        (&["raise-key"], "/state/song/keys/transposed_by_hand", json!(1)),
        (&["tonights-key"], "/state/song/keys/transposed_by_hand", json!(0)),
        (&["drone", "on"], "/state/drone", json!(true)),
        (&["song", "nine bells"], "/state/entry/title", json!("Nine Bells")),
        (&["previous-song"], "/state/entry/pause", json!(true)),
        (&["line-up", "Lantern"], "/state/next_song", json!("Lantern")),
        (&["panic"], "/state/drone", json!(false)),
    ] {
        page.does(words);
        page.frame_where("state", |state| state.pointer(field) == Some(&value));
    }
    assert_eq!(page.frame_where("state", |_| true)["next"], "Lantern");
    let (done, words) = page.presses(&["next-verse"], page.seen);
    assert!(!done && words.contains("is no action"), "{words}");
    let (done, words) = page.presses(&["add-song", "/etc/hostname"], page.seen);
    assert!(!done && words.contains("at the computer"), "{words}");
}

#[test]
fn chords_stand_in_both_keys_section_by_section() {
    let evening = Evening::begin();
    let mut page = evening.page();
    // Calculated by hand: D to C is a whole tone down, D to Eb a semitone up; the Chorus lies a whole tone higher still.
    let song = page.next("song");
    let section = |number: usize, part: &str| song["sections"][number][part].clone();
    assert_eq!(section(0, "fingers"), json!([["C", "Am"], ["G/B", "Dm7"], ["E7"]]));
    assert_eq!(section(0, "room"), json!([["Eb", "Cm"], ["Bb/D", "Fm7"], ["G7"]]));
    assert_eq!(section(1, "fingers"), json!([["F"], ["G"]]));
    assert_eq!(section(1, "room"), json!([["Bb"], ["C"]]));
    assert_eq!(section(2, "room"), json!([["F", "Dm"], ["C/E", "Gm7"], ["A7"]]), "the key of the Chorus goes on");
    assert_eq!(section(2, "fingers"), section(0, "fingers"));
    // A semitone more, for all of it: E, and for the Chorus Gb, of which the fourth degree is Cb.
    page.does(&["raise-key"]);
    let song = page.next("song");
    assert_eq!(song["sections"][0]["room"], json!([["E", "C#m"], ["B/D#", "F#m7"], ["G#7"]]));
    assert_eq!(song["sections"][1]["room"], json!([["Cb"], ["Db"]]));
    assert_eq!(song["sections"][0]["fingers"], section(0, "fingers"));
}

#[test]
fn two_hands_on_one_key_lift_it_with_the_last() {
    let evening = Evening::begin();
    let (mut page, mut other) = (evening.page(), evening.page());
    page.down(60, 80);
    assert_eq!(evening.heard(), (0, vec![0x90, 63, 80]));
    other.next("hand");
    other.down(60, 90);
    // The key is struck again under the first hand.
    let mut struck = evening.heard();
    if struck.1[0] == 0x80 {
        struck = evening.heard();
    }
    assert_eq!(struck, (0, vec![0x90, 63, 90]));
    page.up(60);
    page.down(62, 70);
    assert_eq!(evening.heard(), (0, vec![0x90, 65, 70]), "the first has lifted, the second still holds");
    other.up(60);
    assert_eq!(evening.heard().1[..2], [0x80, 63]);
}
