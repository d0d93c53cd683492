//! Cues arrive as written, and those of a song replace the gear's.

use std::io;

use crate::map::{Action, Book, ClockCommand, Cue, Does, Plain, Press, SendMessage, SongChoice, Trigger, Word, load};
use crate::midi::machine_control::Transport;
use crate::midi::{Channel, U7};

/// A set of these songs, each the text after its title and key, and these entries.
fn small(gear: &str, entries: &str, songs: &[&str]) -> Book {
    let mut read = |path: &str| {
        match path {
        "set.toml" => Ok(format!("title = \"Evening\"\ngear = \"gear.toml\"\n{entries}").into_bytes()),
        "gear.toml" => Ok(format!(
            "[inputs.keyboard]\nport = \"p\"\nplay = true\n[outputs.keys]\nvirtual = true\n[sounds.grand]\noutput = \"keys\"\nchannel = 1\n{gear}"
        )
        .into_bytes()),
        _ => {
            let song = path.parse::<usize>().ok().and_then(|number| songs.get(number));
            song.map(|song| format!("key = \"D\"\n{song}").into_bytes()).ok_or_else(|| io::ErrorKind::NotFound.into())
        }
    }
    };
    let loaded = load("set.toml", &mut read);
    let said: Vec<String> = loaded.diagnostics.iter().map(|found| found.render(&loaded.sources, false)).collect();
    loaded.book.unwrap_or_else(|| panic!("{}", said.join("\n")))
}

#[test]
fn a_songs_cue_replaces_the_gears_on_the_same_event() {
    let cue = |when: &str, does: &str| format!("[[cue]]\nwhen = {{ input = \"keyboard\", {when} }}\ndo = \"{does}\"\n");
    let gear = [
        cue("control = 67", "next-song"),
        cue("control = 67, press = \"double\"", "panic"),
        cue("control = 67, press = \"single\"", "tap"),
        cue("control = 67, channel = 1", "resend-sounds"),
    ];
    let own = format!("title = \"Snow\"\n{}{}", cue("control = 66", "raise-key"), cue("control = 67", "lower-key"));
    let entries = "[[song]]\nmap = \"0\"\n[[song]]\nmap = \"1\"\n";
    let book = small(&gear.concat(), entries, &[&own, "title = \"Ice\""]);
    let plain = |cue: &&Cue| match &cue.does {
        Does::Act(Action::Plain(plain)) => *plain,
        other => panic!("{other:?}"),
    };
    let does = |song: Option<usize>| -> Vec<Plain> {
        book.cues_in(song.map(|song| &book.songs[song])).iter().map(plain).collect()
    };
    assert_eq!(does(Some(0)), [Plain::Panic, Plain::ResendSounds, Plain::RaiseKey, Plain::LowerKey]);
    let all = [Plain::NextSong, Plain::Panic, Plain::Tap, Plain::ResendSounds];
    assert_eq!(does(Some(1)), all);
    assert_eq!(does(None), all);
}

#[test]
fn cues_arrive_as_written() {
    let gear = r#"
[outputs.click]
virtual = true
send_clock = true
[[cue]]
when = { input = "keyboard", note = "C8", channel = 16, press = "long" }
do = "fade"
[[cue]]
when = { input = "keyboard", control = 67, reversed = true, press = "either" }
do = "fade"
fade_ms = 0.5
[[cue]]
when = { input = "keyboard", program = 128 }
do = "song"
song = 1
[[cue]]
when = { input = "keyboard", song_select = "any" }
do = "line-up"
song = "received"
[[cue]]
when = { input = "keyboard", clock = "continue" }
do = "zone"
zone = "grand"
state = "off"
[[cue]]
when = { input = "keyboard", transport = "stop" }
do = "drone"
[[cue]]
when = { input = "keyboard", control = 1 }
do = "send"
to = "keys"
message = { control = [80, 127], channel = 1 }
off = { control = [80, 0], channel = 1 }
name = "talkback"
while_down = true
"#;
    let book = small(gear, "[[song]]\nmap = \"0\"\n", &["title = \"Snow\"\n[[zone]]\nsound = \"grand\"\n"]);
    let cues = &book.gear.cues;
    let seven = |number| U7::new(number).unwrap();
    let when: Vec<Trigger> = cues.iter().map(|cue| cue.when.trigger).collect();
    let expected = [
        Trigger::Key { key: 108, channel: Some(Channel::Ch16), press: Press::Long },
        Trigger::Control { number: seven(67), channel: None, press: Press::Either, reversed: true },
        Trigger::Program { program: Some(seven(127)), channel: None },
        Trigger::SongSelect(None),
        Trigger::Clock(ClockCommand::Continue),
        Trigger::Transport(Transport::Stop),
        Trigger::Control { number: seven(1), channel: None, press: Press::Single, reversed: false },
    ];
    assert_eq!(when, expected);
    assert_eq!(cues[0].does, Does::Act(Action::Fade(2_000_000)));
    assert_eq!(cues[1].does, Does::Act(Action::Fade(500)));
    assert!(matches!(&cues[2].does, Does::Act(Action::Song(SongChoice::Number(number))) if number.value == 1));
    assert_eq!(cues[3].does, Does::Act(Action::LineUp(SongChoice::Received)));
    assert!(matches!(&cues[4].does, Does::Act(Action::Zone { name, on: Some(false) }) if name.value == "grand"));
    assert_eq!(cues[5].does, Does::Act(Action::Drone(None)));
    let talkback = &cues[6];
    let control = |value| SendMessage::Control { channel: Channel::Ch1, number: seven(80), value: seven(value) };
    assert!(matches!(&talkback.does, Does::Send { to, message } if to.value == "keys" && *message == control(127)));
    assert_eq!(talkback.off.as_ref().map(|off| &off.message), Some(&control(0)));
    assert_eq!((talkback.name.as_deref(), talkback.while_down), (Some("talkback"), true));
    assert!(cues[..6].iter().all(|cue| !cue.while_down && cue.off.is_none() && cue.name.is_none()));
    assert_eq!(book.gear.outputs.iter().map(|output| output.send_clock).collect::<Vec<_>>(), [false, true]);
}

#[test]
fn the_examples_of_the_guide_can_be_written_so() {
    let guide = include_str!("../../../docs/maps.md");
    let (_, cues) = guide.split_once("\n## Cues\n").unwrap();
    let (cues, _) = cues.split_once("\n## ").unwrap();
    let examples: Vec<&str> = cues.split("```toml\n").skip(1).filter_map(|rest| rest.split("```").next()).collect();
    assert!(examples.len() >= 4);
    let ports = "[inputs.tracks]\nport = \"t\"\nplay = false\n[inputs.pedals]\nport = \"b\"\nplay = false\n\
                 [outputs.desk]\nvirtual = true\n";
    let gear = format!("{ports}{}", examples.concat());
    let song = "title = \"Snow\"\n[[zone]]\nsound = \"grand\"\n[[section]]\nname = \"Chorus\"\n";
    let book = small(&gear, "[[song]]\nmap = \"0\"\n", &[song]);
    assert_eq!(book.gear.cues.len(), examples.iter().map(|example| example.matches("[[cue]]").count()).sum::<usize>());
    for word in Word::known().chain([super::super::allowed::SEND]) {
        assert!(cues.contains(&format!("`\"{word}\"`")), "docs/maps.md lacks the action {word} among what a cue does");
    }
}
