//! The demo maps load without a word, show every field of a zone, and no damage to them makes the loader panic.

use std::collections::BTreeMap;
use std::path::Path;
use std::{fs, io};

use handspan::evening::chords_of;
use handspan::map::{
    Book, Curve, Does, Drone, Level, Linger, Loaded, MapKind, Pedal, Plays, SendMessage, StayInKey, json_schema, load,
};
use handspan::music::chord::Bar;
use proptest::prelude::*;

const SET: &str = "maps/midwinter.toml";

/// The files below `maps`, by the path that the loader asks for.
fn demo() -> BTreeMap<String, Vec<u8>> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let mut files = BTreeMap::new();
    for folder in ["maps", "maps/songs"] {
        for entry in fs::read_dir(root.join(folder)).unwrap().map(Result::unwrap) {
            if entry.file_type().unwrap().is_file() {
                let name = entry.file_name().into_string().unwrap();
                files.insert(format!("{folder}/{name}"), fs::read(entry.path()).unwrap());
            }
        }
    }
    files
}

fn load_from(files: &BTreeMap<String, Vec<u8>>) -> Loaded {
    load(SET, &mut |path| files.get(path).cloned().ok_or_else(|| io::ErrorKind::NotFound.into()))
}

/// What holds of every loading, however broken the files are.
fn check_promises(loaded: &Loaded) {
    assert_eq!(loaded.book.is_none(), loaded.diagnostics.iter().any(|found| found.level == Level::Error));
    for found in &loaded.diagnostics {
        assert!(!found.title.is_empty());
        assert!(found.render(&loaded.sources, false).contains(&found.title));
        let _ = found.render(&loaded.sources, true);
        let _ = serde_json::to_string(&found.listed(&loaded.sources)).unwrap();
    }
}

#[test]
fn the_demo_loads_without_a_word() {
    let loaded = load_from(&demo());
    assert!(loaded.diagnostics.is_empty(), "{:?}", loaded.diagnostics);
    let book = loaded.book.unwrap();
    assert_eq!(book.sources.len(), 2 + book.songs.len());
    // The gear for loopback ports is to take the other one's place.
    assert_eq!(book.sources.len() + 1, demo().len(), "a demo map is in no set");
    assert!(book.set.entries.iter().any(|entry| entry.song.is_none()));
    let first = book.set.entries.first().and_then(|entry| entry.song);
    assert_eq!(book.set.entries.last().and_then(|entry| entry.song), first, "the encore is read once");
}

#[test]
fn a_title_of_megabytes_is_said_in_a_few_lines() {
    let mut files = demo();
    let song = "title = \"".to_owned() + &"é".repeat(1 << 20) + "\"\nkey = \"C\"\n[[zone]]\nsound = \"grand\"\n";
    files.insert("maps/songs/weir-gate.toml".to_owned(), song.into_bytes());
    let loaded = load_from(&files);
    check_promises(&loaded);
    let said: Vec<String> = loaded.diagnostics.iter().map(|found| found.render(&loaded.sources, false)).collect();
    let long = said.iter().find(|said| said.contains("\"title\" has 1048576 letters: there is room for 200.")).unwrap();
    assert!(long.contains("songs/weir-gate.toml, line 1\n") && long.len() < 1_000, "{long}");
    assert!(said.iter().all(|said| said.len() < 1_000));
}

#[test]
fn files_are_looked_for_beside_the_set_and_each_is_read_once() {
    let files = demo();
    let mut asked = Vec::new();
    load(SET, &mut |path| {
        asked.push(path.to_owned());
        files.get(path).cloned().ok_or_else(|| io::ErrorKind::NotFound.into())
    });
    assert_eq!(asked[..3], [SET, "maps/gear.toml", "maps/songs/weir-gate.toml"]);
    let mut once = asked.clone();
    once.sort();
    once.dedup();
    assert_eq!(once.len(), asked.len());
}

#[test]
fn the_demo_shows_every_field_of_a_zone() {
    let files = demo();
    let mut fields: Vec<&str> = files
        .iter()
        .filter(|(path, _)| path.contains("/songs/"))
        .flat_map(|(_, text)| std::str::from_utf8(text).unwrap().split("\n[[zone]]").skip(1))
        .flat_map(|zone| zone.split("\n[").next().unwrap_or_default().lines())
        .filter_map(|line| line.split_once(" = ").map(|(field, _)| field.trim()))
        .filter(|field| !field.starts_with('#'))
        .collect();
    fields.sort_unstable();
    fields.dedup();
    let expected = [
        "bend",
        "controls",
        "curve",
        "exclusive",
        "fade_ms",
        "follow_key",
        "input",
        "keys",
        "level",
        "linger",
        "min_keys",
        "name",
        "octave",
        "on",
        "one_key_chord",
        "pedal",
        "pedals_from",
        "plays",
        "sections",
        "sound",
        "stay_in_key",
        "transpose",
        "velocity",
        "velocity_by",
        "volume",
        "within",
    ];
    assert_eq!(fields, expected);
}

#[test]
fn the_demo_shows_what_helps_one_hand() {
    let book = load_from(&demo()).book.unwrap();
    let zones = || book.songs.iter().flat_map(|song| &song.zones);
    for plays in [Plays::RootFifth, Plays::Chord, Plays::Lowest] {
        assert!(zones().any(|zone| zone.plays == plays), "{plays:?}");
    }
    assert!(zones().any(|zone| zone.plays == Plays::AsPressed && zone.linger == Linger::Next));
    assert!(zones().any(|zone| zone.linger == Linger::Toggle && zone.fade > 0));
    for stay in [StayInKey::Nearest, StayInKey::Silent] {
        assert!(zones().any(|zone| zone.stay_in_key == stay), "{stay:?}");
    }
    // The drone goes from one song to another in another key, with a pause between them.
    let entries: Vec<_> = book.set.entries.iter().map(|entry| entry.song.map(|song| &book.songs[song])).collect();
    let drones = |song: &Option<&handspan::map::Song>| song.is_some_and(|song| song.drone.is_some());
    let carried = entries.windows(3).any(|three| {
        let keys = |at: usize| three[at].map(|song| song.key.value);
        drones(&three[0]) && three[1].is_none() && drones(&three[2]) && keys(0) != keys(2)
    });
    assert!(carried);
    let fingers = book.songs.iter().filter(|song| !song.fingers.is_empty());
    assert!(fingers.flat_map(|song| &song.zones).any(|zone| zone.one_key_chord));
    assert!(book.songs.iter().any(|song| song.sections.iter().any(|section| section.chords.is_some())));
}

#[test]
fn values_arrive_as_written() {
    let book = load_from(&demo()).book.unwrap();
    assert_eq!((book.gear.gather, book.gear.early), (45_000, 30_000));
    let upper = &book.gear.inputs[1];
    assert_eq!((u8::from(upper.keys.0), u8::from(upper.keys.1)), (36, 84));
    assert_eq!(upper.renumber.iter().map(|(a, b)| (u8::from(*a), u8::from(*b))).collect::<Vec<_>>(), [(7, 11)]);
    assert_eq!(book.gear.inputs[0].curve, Some(Curve::Bent { heavier: -26, low: 1.0, high: 127.0 }));
    let grand = &book.gear.sounds[0];
    assert_eq!((grand.channel.number(), grand.program.map(u8::from)), (1, Some(0)));
    let messages = || {
        book.deeds().filter_map(|deed| match &deed.does {
            Does::Send { message, .. } => Some(message),
            Does::Act(_) => None,
        })
    };
    let system = |wanted: &[u8], starting| {
        messages().any(|m| matches!(m, SendMessage::System { bytes, starts } if bytes == wanted && *starts == starting))
    };
    // Machine control numbers: RP-013; the layout of locate is from memory. Others: MIDI 1.0 Detailed
    // Specification 4.2.1 p. 29 (song select), p. 30 (start, stop), p. 57 (master volume).
    assert!(system(&[0xF0, 0x7F, 0x7F, 0x06, 0x02, 0xF7], true));
    assert!(system(&[0xF0, 0x7F, 0x7F, 0x06, 0x44, 0x06, 0x01, 0, 0, 0, 0, 0, 0xF7], true));
    assert!(system(&[0xFA], true) && system(&[0xFC], true));
    assert!(system(&[0xF3, 2], false));
    assert!(system(&[0xF0, 0x7F, 0x7F, 0x04, 0x01, 0x00, 0x60, 0xF7], false));
    assert!(messages().any(|m| matches!(m, SendMessage::Program { bank: Some(_), .. })));
    assert!(messages().any(|m| matches!(m, SendMessage::Note { length: 250_000, .. })));
    assert!(messages().any(|m| matches!(m, SendMessage::Control { .. })));
}

/// A set of one song that says this below its title and key D.
fn one_song(rest: &str) -> Book {
    let song = format!("title = \"Snow\"\nkey = \"D\"\n{rest}");
    let mut read = |path: &str| match path {
        "set.toml" => Ok(b"title = \"Evening\"\ngear = \"gear.toml\"\n[[song]]\nmap = \"song.toml\"\n".to_vec()),
        "gear.toml" => Ok(b"[inputs.keyboard]\nport = \"piano\"\n[outputs.keys]\nvirtual = true\n\
            [sounds.grand]\noutput = \"keys\"\nchannel = 1\n[sounds.floor]\noutput = \"keys\"\nchannel = 2\n"
            .to_vec()),
        _ => Ok(song.clone().into_bytes()),
    };
    let loaded = load("set.toml", &mut read);
    let said: Vec<String> = loaded.diagnostics.iter().map(|found| found.render(&loaded.sources, false)).collect();
    loaded.book.unwrap_or_else(|| panic!("{}", said.join("\n\n")))
}

#[test]
fn a_zone_leaves_the_keys_alone_unless_told_otherwise() {
    let zone = &one_song("[[zone]]\nsound = \"grand\"\n").songs[0].zones[0];
    assert_eq!((zone.plays, zone.linger, zone.stay_in_key), (Plays::AsPressed, Linger::Off, StayInKey::Off));
    assert_eq!((zone.one_key_chord, zone.min_keys, zone.fade, zone.pedal), (false, 3, 0, Pedal::Follow));
    assert!(!zone.plays.derives());
}

#[test]
fn what_plays_and_lingers_says_how_many_keys_and_which_pedal() {
    let words = [
        ("root", Plays::Root, 3),
        ("root-fifth", Plays::RootFifth, 3),
        ("chord", Plays::Chord, 3),
        ("lowest", Plays::Lowest, 1),
        ("highest", Plays::Highest, 1),
    ];
    for (word, plays, min_keys) in words {
        let book = one_song(&format!("[[zone]]\nsound = \"grand\"\nplays = \"{word}\"\nwithin = [\"C3\", \"B3\"]\n"));
        let zone = &book.songs[0].zones[0];
        assert_eq!((zone.plays, zone.min_keys, zone.pedal), (plays, min_keys, Pedal::Ignore));
        assert!(plays.derives());
    }
    let zones = [
        ("linger = \"next\"\nfade_ms = 1500", Linger::Next, 1_500_000, Pedal::Ignore),
        ("linger = \"toggle\"\nfade_ms = 0.5", Linger::Toggle, 500, Pedal::Ignore),
        ("linger = \"next\"\npedal = \"follow\"", Linger::Next, 0, Pedal::Follow),
        ("linger = \"next\"\npedal = \"switch\"", Linger::Next, 0, Pedal::Switch),
    ];
    for (fields, linger, fade, pedal) in zones {
        let book = one_song(&format!("[[zone]]\nsound = \"grand\"\n{fields}\n"));
        let zone = &book.songs[0].zones[0];
        assert_eq!((zone.linger, zone.fade, zone.pedal), (linger, fade, pedal), "{fields}");
    }
    let book = one_song("[[zone]]\nsound = \"grand\"\nplays = \"highest\"\nmin_keys = 10\nstay_in_key = \"silent\"\n");
    assert_eq!((book.songs[0].zones[0].min_keys, book.songs[0].zones[0].stay_in_key), (10, StayInKey::Silent));
}

#[test]
fn fingers_are_keys_of_any_octave() {
    let book = one_song(
        "[[zone]]\nsound = \"grand\"\none_key_chord = true\n[fingers]\nB = \"G/B\"\n\"F#\" = \"D7\"\nFb = \"Em\"\n",
    );
    let song = &book.songs[0];
    let fingers: Vec<(u8, String)> =
        song.fingers.iter().map(|finger| (finger.key, finger.chord.value.to_string())).collect();
    assert_eq!(fingers, [(11, "G/B".to_owned()), (6, "D7".to_owned()), (4, "Em".to_owned())]);
    assert!(song.zones[0].one_key_chord);
}

#[test]
fn a_drone_counts_octaves_as_its_file_does() {
    let drone = |fields: &str| {
        let book = one_song(&format!("[[zone]]\nsound = \"grand\"\n[drone]\nsound = \"floor\"\n{fields}\n"));
        let Drone { degrees, octave, velocity, fade, .. } = book.songs[0].drone.clone().unwrap();
        (degrees, octave, velocity, fade)
    };
    assert_eq!(drone("degrees = [5, 1]\noctave = 3"), (vec![5, 1], 3, 64, 0));
    assert_eq!(drone("degrees = [1]\noctave = 0\nvelocity = 127\nfade_ms = 2000"), (vec![1], 0, 127, 2_000_000));
    let book = one_song(
        "middle_c = \"C3\"\ndrone = { sound = \"floor\", degrees = [1], octave = 2 }\n[[zone]]\nsound = \"grand\"\n",
    );
    assert_eq!(book.songs[0].drone.as_ref().map(|drone| drone.octave), Some(3));
}

#[test]
fn a_section_has_its_own_chords_or_those_of_the_section_that_it_is_like() {
    let book = one_song(
        "[[zone]]\nsound = \"grand\"\n[[section]]\nname = \"Verse\"\nchords = \"| D | A/C# Bm | % |\"\n[[section]]\nname = \"Chorus\"\n\
         [[section]]\nname = \"Third\"\nlike = \"Second\"\n[[section]]\nname = \"Second\"\nlike = \"Verse\"\nkey = \"E\"\n\
         [[section]]\nname = \"Last\"\nlike = \"Verse\"\nchords = \"G\"\n",
    );
    let song = &book.songs[0];
    let chords = |section: usize| -> Option<String> {
        let bar = |bar: &Bar| bar.written(|chord| chord.to_string()).collect::<Vec<String>>().join(" ");
        let bars = chords_of(song, section);
        (!bars.is_empty()).then(|| bars.iter().map(bar).collect::<Vec<_>>().join(" | "))
    };
    let verse = Some("D | A/C# Bm | A/C# Bm".to_owned());
    assert_eq!([0, 1, 2, 3].map(chords), [verse.clone(), None, verse.clone(), verse]);
    assert_eq!((chords(4), chords(5)), (Some("G".to_owned()), None));
}

/// One damage to a text.
fn damaged(text: &[u8], at: usize, length: usize, new: &[u8]) -> Vec<u8> {
    let at = at % (text.len() + 1);
    let end = (at + length).min(text.len());
    [&text[..at], new, &text[end..]].concat()
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 300, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn random_bytes_never_make_it_panic(set in any::<Vec<u8>>(), gear in any::<Vec<u8>>(), song in "(?s).{0,200}") {
        check_promises(&load_from(&BTreeMap::from([(SET.to_owned(), set)])));
        let mut files = demo();
        files.insert("maps/gear.toml".to_owned(), gear);
        files.insert("maps/songs/weir-gate.toml".to_owned(), song.into_bytes());
        check_promises(&load_from(&files));
    }

    #[test]
    fn damaged_maps_never_make_it_panic(
        damages in prop::collection::vec(
            (any::<prop::sample::Index>(), any::<usize>(), 0usize..12, prop::sample::select(WORDS)),
            1..5,
        ),
    ) {
        let mut files = demo();
        for (which, at, length, word) in damages {
            let path = files.keys().nth(which.index(files.len())).unwrap().clone();
            let text = damaged(&files[&path], at, length, word.as_bytes());
            files.insert(path, text);
        }
        check_promises(&load_from(&files));
    }

    #[test]
    fn swapped_values_never_make_it_panic(which in any::<prop::sample::Index>(), line in any::<prop::sample::Index>(), value in prop::sample::select(VALUES)) {
        let mut files = demo();
        let path = files.keys().nth(which.index(files.len())).unwrap().clone();
        let text = String::from_utf8(files[&path].clone()).unwrap();
        let fields: Vec<&str> = text.lines().filter(|line| line.contains(" = ")).collect();
        let line = fields[line.index(fields.len())];
        let field = line.split(" = ").next().unwrap();
        files.insert(path, text.replacen(line, &format!("{field} = {value}"), 1).into_bytes());
        check_promises(&load_from(&files));
    }
}

const WORDS: &[&str] = &[
    "",
    " ",
    "\n",
    "\"",
    "[",
    "]",
    "[[",
    "{",
    "}",
    "=",
    ",",
    "#",
    "\u{0}",
    "\r\n",
    "ü",
    "雪",
    "[[zone]]\n",
    "[[cue]]\nwhen = { input = \"keyboard\", control = 67 }\n",
    "do = \"song\"\nsong = \"received\"\n",
    "number = 3\n",
    "[[section]]\n",
    "[[song]]\n",
    "like = \"Verse\"\n",
    "0",
    "-1",
    "1e400",
    "nan",
    "128",
    "true",
    "\"\"",
    "'''",
    "1979-05-27",
    "key",
    "sound = \"grand\"\n",
    "[inputs.x]\n",
    "🎹\t",
];

const VALUES: &[&str] = &[
    "0",
    "-1",
    "127",
    "128",
    "9223372036854775807",
    "9223372036854775808",
    "0x7F",
    "1e308",
    "inf",
    "-inf",
    "nan",
    "0.5",
    "true",
    "\"\"",
    "\"C\"",
    "\"Cm\"",
    "\"C-1\"",
    "\"G9\"",
    "\"Verse\"",
    "[]",
    "[[]]",
    "[0, 127]",
    "[127, 0]",
    "[\"G9\", \"C-1\"]",
    "[[1, 1], [2, 2]]",
    "{}",
    "{ lighter = 0 }",
    "{ always = 1 }",
    "1979-05-27T07:32:00Z",
    "[1, [2, [3, [4]]]]",
    "\"gear.toml\"",
    "\"midwinter.toml\"",
    "\"../maps/midwinter.toml\"",
    "\"/\"",
    "\"..\"",
    "\"next\"",
    "\"toggle\"",
    "\"root\"",
    "\"chord\"",
    "\"nearest\"",
    "\"D | A/C# | %\"",
    "\"é | 雪 || %\"",
];

#[test]
fn deep_nesting_is_refused_without_a_panic() {
    for open in ["[", "{ a = ", "[["] {
        let text = format!("title = {}", open.repeat(20_000));
        let found = load_from(&BTreeMap::from([(SET.to_owned(), text.into_bytes())]));
        assert!(found.book.is_none() && !found.diagnostics.is_empty());
    }
}

#[test]
fn more_than_can_be_numbered_is_refused() {
    let mut set = "title = \"Evening\"\ngear = \"gear.toml\"\n".to_owned();
    (0..256).for_each(|song| set.push_str(&format!("[[song]]\nmap = \"{song}.toml\"\n")));
    let gear = "[inputs.keyboard]\nport = \"piano\"\n[outputs.keys]\nvirtual = true\n[sounds.grand]\noutput = \"keys\"\nchannel = 1\n";
    let song = format!("title = \"Snow\"\nkey = \"D\"\n{}", "[[zone]]\nsound = \"grand\"\n".repeat(256));
    let mut read = |path: &str| match path {
        "set.toml" => Ok(set.as_bytes().to_vec()),
        "gear.toml" => Ok(gear.as_bytes().to_vec()),
        _ => Ok(song.clone().into_bytes()),
    };
    let loaded = load("set.toml", &mut read);
    assert!(loaded.book.is_none());
    assert_eq!(loaded.diagnostics.len(), 1);
    assert!(loaded.diagnostics[0].title.contains("more than 65535 zones"), "{}", loaded.diagnostics[0].title);
}

#[test]
fn more_than_can_be_told_to_be_on_is_refused() {
    let gear = "[inputs.keyboard]\nport = \"piano\"\n[outputs.keys]\nvirtual = true\n[sounds.grand]\noutput = \"keys\"\nchannel = 1\n";
    let cue = "[[cue]]\nwhen = { input = \"keyboard\", control = 66 }\ndo = \"send\"\nto = \"keys\"\n\
               message = { control = [20, 127], channel = 9 }\noff = { control = [20, 0], channel = 9 }\n";
    let zone = "[[zone]]\nsound = \"grand\"\n";
    let refused = |zones: usize, cues: usize| {
        let song = format!("title = \"Snow\"\nkey = \"D\"\n{}{}", zone.repeat(zones), cue.repeat(cues));
        let mut read = |path: &str| match path {
            "set.toml" => Ok(b"title = \"Evening\"\ngear = \"gear.toml\"\n[[song]]\nmap = \"song.toml\"\n".to_vec()),
            "gear.toml" => Ok(gear.as_bytes().to_vec()),
            _ => Ok(song.clone().into_bytes()),
        };
        load("set.toml", &mut read).diagnostics.iter().map(|fault| fault.title.clone()).collect::<Vec<_>>()
    };
    assert_eq!(refused(256, 1024), [""; 0]);
    assert_eq!(refused(257, 0), ["A song has at most 256 zones, this one has 257."]);
    assert_eq!(refused(1, 1025), ["The gear and the songs up to this one have more than 1024 cues with off."]);
}

#[test]
fn the_schemas_of_the_documents_are_those_that_the_program_prints() {
    for (kind, name) in [(MapKind::Gear, "gear"), (MapKind::Song, "song"), (MapKind::Set, "set")] {
        let path = format!("maps/schema/{name}.json");
        let kept = std::fs::read_to_string(&path).unwrap_or_default();
        assert!(kept == json_schema(kind), "{path} is out of date: handspan schema {name} > {path}");
    }
}
