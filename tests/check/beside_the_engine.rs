//! What is found silent is silent when the engine plays it, and nothing else is; and no map makes the check panic.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;
use std::io;
use std::path::Path;
use std::sync::Arc;

use handspan::check::findings;
use handspan::engine::{Engine, Event, Micros, Plan};
use handspan::map::{Book, load};
use handspan::midi::{Channel, Message, Note, U7};
use handspan::music::note;
use proptest::prelude::*;

/// The keyboard's lowest and highest key.
const KEYS: (u8, u8) = (21, 108);

fn name(key: u8) -> String {
    note::name(Note::try_from(key).unwrap(), 4)
}

#[derive(Debug, Clone)]
struct Zone {
    keys: (u8, u8),
    window: (u8, u8),
    only: bool,
    octave: i32,
}

fn zone() -> impl Strategy<Value = Zone> {
    let pair = |range: std::ops::RangeInclusive<u8>| {
        (range.clone(), range).prop_map(|(one, other)| (one.min(other), one.max(other)))
    };
    let window = prop_oneof![Just((1, 127)), pair(1..=127)];
    (pair(10..=120), window, any::<bool>(), -3..=3i32).prop_map(|(keys, window, only, octave)| Zone {
        keys,
        window,
        only,
        octave,
    })
}

/// A set of one song; each zone has a channel of its own.
fn book(zones: &[Zone], curve: &str, key: &str) -> Book {
    let mut gear = format!("[inputs.keyboard]\nport = \"p\"\nkeys = [{}, {}]\n{curve}\n", KEYS.0, KEYS.1);
    gear += "[outputs.keys]\nvirtual = true\n";
    let mut song = "title = \"Snow\"\nkey = \"C\"\n".to_owned();
    for (number, zone) in zones.iter().enumerate() {
        write!(gear, "[sounds.s{number}]\noutput = \"keys\"\nchannel = {}\n", number + 1).unwrap();
        let Zone { keys, window, only, octave } = zone;
        writeln!(song, "[[zone]]\nsound = \"s{number}\"\nexclusive = {only}\noctave = {octave}").unwrap();
        writeln!(song, "keys = [{}, {}]\nvelocity = [{}, {}]", keys.0, keys.1, window.0, window.1).unwrap();
    }
    let set = format!("title = \"Evening\"\ngear = \"gear.toml\"\n[[song]]\nmap = \"song.toml\"\nkey = \"{key}\"\n");
    let mut read = |path: &str| match path {
        "set.toml" => Ok(set.clone().into_bytes()),
        "gear.toml" => Ok(gear.clone().into_bytes()),
        "song.toml" => Ok(song.clone().into_bytes()),
        _ => Err(io::ErrorKind::NotFound.into()),
    };
    load("set.toml", &mut read).book.unwrap()
}

/// What every key does when it is struck with every velocity.
#[derive(Default)]
struct Played {
    /// Zones that sounded on a key.
    sounding: BTreeSet<usize>,
    /// Keys that made a note, in or out of MIDI's range.
    reaching: BTreeSet<u8>,
    /// Velocities that made none, by key.
    silent: BTreeMap<u8, BTreeSet<u8>>,
    out_of_range: u64,
}

fn play(book: &Book) -> Played {
    let mut engine = Engine::new(Arc::new(Plan::new(book)));
    let mut out = engine.out();
    engine.step(Event::Start { entry: 0, order_step: 0 }, Micros(0), &mut out);
    let mut played = Played::default();
    let mut now = 0;
    for key in KEYS.0..=KEYS.1 {
        for velocity in 1..=127 {
            let lost = engine.counts().out_of_range;
            let (channel, note) = (Channel::Ch1, Note::try_from(key).unwrap());
            let velocity_value = U7::try_from(velocity).unwrap();
            out.clear();
            let press = Message::NoteOn { channel, note, velocity: velocity_value };
            engine.step(Event::Message { input: 0, message: press }, Micros(now), &mut out);
            let struck = out.said().filter(|said| said.bytes[0] & 0xF0 == 0x90);
            let struck: Vec<usize> = struck.map(|said| usize::from(said.bytes[0] & 15)).collect();
            if struck.is_empty() && engine.counts().out_of_range == lost {
                played.silent.entry(key).or_default().insert(velocity);
            } else {
                played.reaching.insert(key);
            }
            played.sounding.extend(struck);
            let release = Message::NoteOff { channel, note, velocity: velocity_value };
            engine.step(Event::Message { input: 0, message: release }, Micros(now + 1), &mut out);
            now += 1_000_000;
        }
    }
    played.out_of_range = engine.counts().out_of_range;
    played
}

/// The runs of keys that make no note at all.
fn gaps(played: &Played) -> BTreeSet<String> {
    let mut gaps: Vec<(u8, u8)> = Vec::new();
    for key in (KEYS.0..=KEYS.1).filter(|key| !played.reaching.contains(key)) {
        match gaps.last_mut() {
            Some((_, high)) if *high + 1 == key => *high = key,
            _ => gaps.push((key, key)),
        }
    }
    let words = |(low, high): (u8, u8)| match low == high {
        true => format!("The key {} of the input \"keyboard\" plays nothing.", name(low)),
        false => format!("The keys {} to {} of the input \"keyboard\" play nothing.", name(low), name(high)),
    };
    gaps.into_iter().map(words).collect()
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 64, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn what_is_found_silent_is_silent(
        zones in prop::collection::vec(zone(), 1..6),
        curve in prop::sample::select(vec!["", "curve = { always = 64 }", "curve = { heavier = 50, low = 30, high = 100 }"]),
        key in prop::sample::select(vec!["C", "Eb", "F#"]),
    ) {
        let book = book(&zones, curve, key);
        let played = play(&book);
        let titles: Vec<String> = findings(&book).into_iter().map(|finding| finding.title).collect();
        let unreached: BTreeSet<usize> = (0..zones.len())
            .filter(|zone| titles.iter().any(|title| title.contains(&format!(" reaches the zone \"s{zone}\""))))
            .collect();
        let leaving = titles.iter().any(|title| title.contains("would lie "));
        prop_assert_eq!(leaving, played.out_of_range > 0);
        if !leaving {
            let silent: BTreeSet<usize> = (0..zones.len()).filter(|zone| !played.sounding.contains(zone)).collect();
            prop_assert_eq!(unreached, silent);
        }
        if !played.reaching.is_empty() {
            let said: BTreeSet<String> =
                titles.iter().filter(|title| title.ends_with("play nothing.") || title.ends_with("plays nothing.")).cloned().collect();
            prop_assert_eq!(said, gaps(&played));
        }
        let holes = played.silent.keys().any(|key| played.reaching.contains(key));
        prop_assert_eq!(titles.iter().any(|title| title.contains("No zone takes the velocities")), holes);
    }

    #[test]
    fn changed_maps_never_make_it_panic(
        changes in prop::collection::vec((any::<prop::sample::Index>(), any::<prop::sample::Index>(), prop::sample::select(VALUES)), 1..4),
    ) {
        let mut files = demo();
        for (which, line, value) in changes {
            let path = files.keys().nth(which.index(files.len())).unwrap().clone();
            let text = files[&path].clone();
            let fields: Vec<&str> = text.lines().filter(|line| line.contains(" = ")).collect();
            let line = fields[line.index(fields.len())];
            let field = line.split(" = ").next().unwrap();
            files.insert(path, text.replacen(line, &format!("{field} = {value}"), 1));
        }
        let mut read = |path: &str| {
            files.get(path).map(|text| text.clone().into_bytes()).ok_or_else(|| io::ErrorKind::NotFound.into())
        };
        if let Some(book) = load("maps/midwinter.toml", &mut read).book {
            for finding in findings(&book) {
                prop_assert!(finding.render(&book.sources, false).contains(&finding.title));
            }
        }
    }
}

fn demo() -> BTreeMap<String, String> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut files = BTreeMap::new();
    for folder in ["maps", "maps/songs"] {
        for entry in std::fs::read_dir(root.join(folder)).unwrap() {
            let path = entry.unwrap().path();
            if path.extension().is_some_and(|extension| extension == "toml") {
                let name = path.file_name().unwrap().to_string_lossy();
                files.insert(format!("{folder}/{name}"), std::fs::read_to_string(&path).unwrap());
            }
        }
    }
    files
}

const VALUES: &[&str] = &[
    "0",
    "1",
    "-10",
    "10",
    "16",
    "60",
    "64",
    "127",
    "-127",
    "0.5",
    "true",
    "false",
    "\"C\"",
    "\"F#\"",
    "\"Am\"",
    "\"Ebm\"",
    "\"room\"",
    "\"up\"",
    "\"down\"",
    "\"din\"",
    "\"keyboard\"",
    "\"upper\"",
    "\"grand\"",
    "\"warm\"",
    "\"keys\"",
    "\"pad\"",
    "\"desk\"",
    "\"ignore\"",
    "\"switch\"",
    "\"follow\"",
    "[1, 127]",
    "[1, 1]",
    "[127, 127]",
    "[0, 127]",
    "[0, 0]",
    "[127, 127]",
    "[\"C-1\", \"C0\"]",
    "[\"C8\", \"G9\"]",
    "[\"C3\", \"C4\"]",
    "[\"Verse\"]",
    "[\"Chorus\"]",
    "{ always = 1 }",
    "{ always = 127 }",
    "{ heavier = 100 }",
    "\"songs/weir-gate.toml\"",
    "{ bytes = \"F0 F7\" }",
    "\"next\"",
    "\"toggle\"",
    "\"root-fifth\"",
    "\"chord\"",
    "\"highest\"",
    "\"nearest\"",
    "\"silent\"",
    "\"E | B/D# | %\"",
];
