//! Whatever cues are written: they are read or reported, never both, and no finding on them panics.

use std::collections::BTreeSet;
use std::fmt::Write as _;
use std::io;

use handspan::check::findings;
use handspan::evening::{entry_numbered, number_of};
use handspan::map::load;
use proptest::prelude::*;

const WHEN: [&str; 14] = [
    "note = \"C8\"",
    "note = 60, channel = 16",
    "note = 127, press = \"either\"",
    "note = 0",
    "control = 64",
    "control = 67",
    "control = 67, press = \"double\"",
    "control = 67, press = \"long\"",
    "control = 80, reversed = true",
    "program = \"any\"",
    "program = 128, channel = 2",
    "song_select = \"any\"",
    "clock = \"start\"",
    "transport = \"stop\"",
];

const DO: [&str; 17] = [
    "do = \"next-song\"",
    "do = \"previous-song\"",
    "do = \"song\"\nsong = \"received\"",
    "do = \"song\"\nsong = 2",
    "do = \"line-up\"\nsong = 128",
    "do = \"line-up\"\nsong = \"ice\"",
    "do = \"next-section\"",
    "do = \"section\"\nsection = \"Verse\"",
    "do = \"key\"\nkey = \"Em\"",
    "do = \"zone\"\nzone = \"grand\"\nstate = \"on\"",
    "do = \"drone\"",
    "do = \"fade\"",
    "do = \"send\"\nto = \"tracks\"\nmessage = { program = 3, channel = 2 }",
    "do = \"send\"\nto = \"tracks\"\nmessage = { clock = \"start\" }\noff = { note = [\"C8\", 1], channel = 1 }",
    "do = \"tap\"",
    "do = \"panic\"\nwhile_down = true",
    "do = \"applause\"",
];

fn cues() -> impl Strategy<Value = String> {
    let input = prop::sample::select(vec!["keyboard", "player"]);
    let cue = (input, prop::sample::select(&WHEN[..]), prop::sample::select(&DO[..]));
    prop::collection::vec(cue, 0..7).prop_map(|cues| {
        cues.iter().fold(String::new(), |mut text, (input, when, does)| {
            write!(text, "[[cue]]\nwhen = {{ input = \"{input}\", {when} }}\n{does}\n").unwrap();
            text
        })
    })
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 256, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn cues_are_read_or_reported(
        gear in cues(),
        own in cues(),
        numbers in prop::sample::select(vec![("", ""), ("number = 2\n", "number = 128\n"), ("number = 1\n", "")]),
        entries in prop::collection::vec(prop::sample::select(vec!["map = \"snow\"", "map = \"ice\"", "title = \"Tea\""]), 0..6),
    ) {
        let entries: String = entries.iter().map(|entry| format!("[[song]]\n{entry}\n")).collect();
        let mut read = |path: &str| Ok(match path {
            "set.toml" => format!("title = \"Evening\"\ngear = \"gear.toml\"\n[[song]]\nmap = \"snow\"\n{entries}"),
            "gear.toml" => format!(
                "[inputs.keyboard]\nport = \"p\"\nkeys = [\"C2\", \"C7\"]\nrenumber = {{ 80 = 81 }}\nplay = true\n\
                 [inputs.player]\nport = \"tracks\"\nchannel = 1\nplay = false\n[outputs.tracks]\nport = \"tracks\"\n\
                 [sounds.grand]\noutput = \"tracks\"\nchannel = 1\n{gear}"
            ),
            "snow" => format!("title = \"Snow\"\nkey = \"D\"\n{}[[zone]]\nsound = \"grand\"\n{own}", numbers.0),
            "ice" => format!(
                "title = \"Ice\"\nkey = \"Em\"\n{}[[zone]]\nsound = \"grand\"\n[[section]]\nname = \"Verse\"\n",
                numbers.1
            ),
            _ => return Err(io::ErrorKind::NotFound.into()),
        }.into_bytes());
        let loaded = load("set.toml", &mut read);
        for fault in &loaded.diagnostics {
            prop_assert!(fault.help.is_some(), "{}", fault.title);
            prop_assert!(fault.render(&loaded.sources, false).contains(&fault.title));
        }
        let Some(book) = loaded.book else { return Ok(()) };
        let written = gear.matches("[[cue]]").count() + own.matches("[[cue]]").count();
        prop_assert_eq!(book.gear.cues.len() + book.songs.iter().map(|song| song.cues.len()).sum::<usize>(), written);
        for song in &book.songs {
            let all = book.cues_in(Some(song));
            let of_gear = |spot| book.gear.cues.iter().any(|cue| cue.spot == spot);
            for cue in all.iter().filter(|cue| of_gear(cue.spot)) {
                prop_assert!(!song.cues.iter().any(|own| own.when.is_same(&cue.when)));
            }
            prop_assert!(song.cues.iter().all(|own| all.iter().any(|cue| cue.spot == own.spot)));
        }
        let chosen: BTreeSet<u8> = (0..book.set.entries.len()).filter_map(|entry| number_of(&book, entry)).collect();
        for number in 0..=255 {
            prop_assert_eq!(entry_numbered(&book, number).is_some(), chosen.contains(&number));
        }
        let found = findings(&book);
        for finding in &found {
            prop_assert!(finding.render(&book.sources, false).contains(&finding.title));
        }
        let mut told: Vec<_> = found.iter().map(|finding| (finding.spot, &finding.title)).collect();
        told.sort();
        told.dedup();
        prop_assert_eq!(told.len(), found.len(), "a finding is told twice");
    }
}
