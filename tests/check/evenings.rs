//! Whole evenings: what is found in none of them, and what is found when a player makes a mistake in one.
//!
//! Each folder of `tests/evenings` is an evening, in which nothing is found. In the first one each row below makes one
//! small mistake, and says what must be found then, and nothing else.

use std::collections::BTreeMap;
use std::fs;
use std::io;
use std::path::Path;

use handspan::check::findings;
use handspan::map::{Beside, Diagnostic, Loaded, Source, load};

/// The files of an evening by their paths within it.
type Files = BTreeMap<String, String>;

/// An edit: the file, or `*` for all songs, what stands there once (in all songs: wherever it does), and what stands there
/// instead.
type Edit = (&'static str, &'static str, &'static str);

/// A mistake, and what is found: in which file and line, how its sentence begins, a part of what to write instead.
type Mistake = (&'static [Edit], (&'static str, usize), (&'static str, &'static str));

const ROAD: &str = "songs/road.toml";
const BAKER: &str = "songs/baker.toml";
const STAR: &str = "songs/star.toml";
const MILL: &str = "songs/mill.toml";
const HARBOUR: &str = "songs/harbour.toml";
const HOME: &str = "songs/home.toml";
const SET: &str = "set.toml";
const GEAR: &str = "gear.toml";

/// What is read or checked without an error, but may not be meant.
#[rustfmt::skip]
const FOUND: &[Mistake] = &[
    (&[(ROAD, "[\"A0\", \"B2\"]", "[\"A0\", \"D3\"]")],
        (ROAD, 12), ("The zones \"left\" and \"right\" overlap: on the keys C3 to D3", "keys = [\"A0\", \"B2\"]")),
    (&[(ROAD, "name = \"right\"", "name = \"left\"")],
        (ROAD, 14), ("Two zones of this song are called \"left\"", "another name")),
    (&[(ROAD, "[[zone]]\nname = \"left\"", "[[zone]]\nname = \"low\"\nsound = \"bass\"\ninput = \"keyboard\"\nkeys = [\"A0\", \"B2\"]\n[[zone]]\nname = \"left\"")],
        (ROAD, 13), ("The zone \"left\" is written twice", "take one of the two out")),
    (&[(BAKER, "melody_range = [\"A3\", \"B4\"]\n", "")],
        (SET, 18), ("Whether \"The Baker Before Dawn\" is comfortable for \"guest\" cannot be said", "melody_range = ")),
    (&[(SET, "comfortable = [\"A3\", \"C5\"]", "comfortable = [\"F3\", \"C5\"]")],
        (SET, 5), ("\"guest\" would be comfortable with notes beyond", "comfortable = [\"G3\", \"C5\"]")),
    (&[(HARBOUR, "melody_range = [\"A3\", \"C5\"]", "melody_range = [\"A2\", \"C4\"]")],
        (SET, 35), ("The melody goes down to A2 tonight", "an octave lower than it is sung: write melody_range = [\"A3\", \"C5\"]")),
    (&[(GEAR, "port = \"small keys\"", "port = \"Stage Piano\"")],
        (GEAR, 9), ("The inputs \"keyboard\" and \"small\" have one port", "the serial of each")),
    (&[(GEAR, "even = { points = [[1, 40], [64, 80], [127, 110]] }", "even = { always = 120 }")],
        (MILL, 14), ("No touch reaches the zone \"drawbars\"", "write velocity = [120, 120]")),
    (&[(STAR, "| G7 |", "| A7 |")],
        (STAR, 24), ("No finger gives the chord \"A7\"", "write \"G#\" = \"E7\" below [fingers]")),
    (&[(GEAR, "off = { control = [80, 0], channel = 1 }", "off = { control = [80, 127], channel = 1 }")],
        (GEAR, 78), ("This cue never turns anything off", "write in off what ends it")),
    (&[(GEAR, "off = { control = [80, 0], channel = 1 }", "off = { control = [80, 0], channel = 2 }")],
        (GEAR, 78), ("\"off\" goes to channel 2, but the message to channel 1", "write channel = 1 in off")),
    (&[(SET, "map = \"songs/home.toml\"", "map = \"songs/home.toml\"\n[[song]]\nmap = \"songs/road.toml\"")],
        (SET, 39), ("\"The Snowed-in Road\" comes twice under one title", "write title = \"The Snowed-in Road again\"")),
    (&[(GEAR, "[curves]", "[sounds.harp]\noutput = \"piano\"\nchannel = 5\n[curves]")],
        (GEAR, 58), ("No song of the set uses the sound \"harp\"", "name it in a zone")),
    (&[(BAKER, "fade_ms = 2000", "fade_ms = 2")],
        (BAKER, 18), ("A fade of 2 ms is over at once", "fade_ms = 2000")),
    (&[(GEAR, "fade_ms = 3000", "fade_ms = 3")],
        (GEAR, 72), ("A fade of 3 ms is over at once", "fade_ms = 3000")),
    (&[(GEAR, "gather_ms = 45", "gather_ms = 0.045")],
        (GEAR, 1), ("Notes within 0.045 ms make a handful", "gather_ms = 45")),
    (&[(STAR, "on_entering = [", "on_entering = [{ to = \"tracks\", message = { song_select = 3 } }, ")],
        (STAR, 5), ("\"tracks\" chooses this song by the number 4, not 3: pauses are counted too", "a number of its own, here number = 3")),
    (&[(SET, "songs/star.toml", "songs/03-star.toml")],
        ("songs/03-star.toml", 1), ("\"tracks\" chooses this song by the number 4, not 3", "number = 3")),
    (&[(GEAR, "do = \"song\"\nsong = \"received\"", "do = \"song\"\nsong = 3")],
        (GEAR, 98), ("The number 3 leads to the pause \"A reading\"", "write the song's title")),
    (&[(MILL, "[drone]\nsound = \"floor\"\ndegrees = [1, 5]\noctave = 2\nfade_ms = 2500\n", ""), (MILL, "sound = \"grand\"", "sound = \"floor\"")],
        (GEAR, 74), ("This cue has nothing to do: no song of the set has a drone", "give a song a [drone]")),
    (&[(GEAR, "do = \"fade\"\nfade_ms = 3000", "do = \"from-the-top\"")],
        (BAKER, 11), ("The last notes of the zone \"bed\" in \"The Baker Before Dawn\" ring on through \"A reading\"", "do = \"fade\"")),
    (&[(GEAR, "do = \"fade\"\nfade_ms = 3000", "do = \"from-the-top\""), (BAKER, "linger = \"next\"\nfade_ms = 2000\n", ""), (HOME, "name = \"stops\"", "name = \"stops\"\nlinger = \"next\"")],
        (HOME, 10), ("The last notes of the zone \"stops\" in \"Walking Home\" ring on to the end of the evening", "do = \"fade\"")),
    (&[(GEAR, "do = \"fade\"\nfade_ms = 3000", "do = \"from-the-top\""), (BAKER, "linger = \"next\"\nfade_ms = 2000\n", ""), (GEAR, "do = \"drone\"", "do = \"drone\"\nstate = \"on\"")],
        (GEAR, 73), ("This cue turns the drone on, and nothing turns it off", "take state out")),
    (&[(HOME, "[[section]]\n", "[[cue]]\nwhen = { input = \"keyboard\", control = 65 }\ndo = \"send\"\nto = \"desk\"\nmessage = { control = [90, 127], channel = 1 }\nname = \"mute\"\noff = { control = [90, 0], channel = 1 }\n[[section]]\n")],
        (HOME, 15), ("\"mute\" ends by itself as the song is left", "write the cue in the gear")),
    (&[("*", "input = \"small\"\n", ""), ("*", "input = \"keyboard\"\n", "")],
        (GEAR, 8), ("The input \"small\" plays all that \"keyboard\" plays", "input = \"small\" in its own")),
    (&[(GEAR, "[outputs.organ]", "[outputs.\"organ/left\"]"), (GEAR, "output = \"organ\"", "output = \"organ/left\"")],
        (GEAR, 22), ("The output \"organ/left\" cannot give a file its name", "letters, digits")),
    (&[(BAKER, "sound = \"grand\"", "sound = \"grand\"\nkeys = [\"A0\", \"B6\"]"), (BAKER, "within = [", "keys = [\"A0\", \"B6\"]\nwithin = ["), (MILL, "sound = \"grand\"", "sound = \"grand\"\nkeys = [\"A0\", \"B6\"]")],
        (BAKER, 17), ("The keys C7 to G#7 of the input \"keyboard\" play nothing; one more song leaves them out", "keys = [\"A0\", \"G#7\"]")),
];

/// What a map does not take.
#[rustfmt::skip]
const REFUSED: &[Mistake] = &[
    (&[(SET, "key = \"Eb\"", "key = \"eb\"")], (SET, 19), ("\"eb\" is not a key", "did you mean \"Eb\"?")),
    (&[(SET, "key = \"Eb\"", "key = \"E♭\"")], (SET, 19), ("\"E♭\" is not a key", "did you mean \"Eb\"?")),
    (&[(SET, "key = \"Eb\"", "key = \"Eb major\"")], (SET, 19), ("\"Eb major\" is not a key", "did you mean \"Eb\"?")),
    (&[(SET, "key = \"Eb\"", "key = “Eb”")], (SET, 19), ("These quotation marks are a word processor's", "write key = \"Eb\"")),
    (&[(SET, "songs/mill.toml", "songs\\mill.toml")], (SET, 31), ("A path has / between its parts", "write map = \"songs/mill.toml\"")),
    (&[(SET, "songs/mill.toml", "songs/mil.toml")], (SET, 31), ("\"songs/mil.toml\" cannot be read", "did you mean \"songs/mill.toml\"?")),
    (&[(SET, "[[song]]\nmap = \"songs/mill.toml\"", "[song]\nmap = \"songs/mill.toml\"")], (SET, 30), ("There can be several of these", "write [[song]]")),
    (&[(ROAD, "keys = [\"A0\", \"B2\"]", "range = [\"A0\", \"B2\"]")], (ROAD, 12), ("A zone has no field called \"range\"", "did you mean keys?")),
    (&[(ROAD, "tempo = 84", "tempo = 84 bpm")], (ROAD, 3), ("A number is written without a unit", "write tempo = 84")),
    (&[(ROAD, "tempo = 84", "tempo = 84,5")], (ROAD, 3), ("A number has a point before its decimals", "write tempo = 84.5")),
    (&[(ROAD, "tempo = 84", "tempo =\u{a0}84")], (ROAD, 3), ("This is not a plain blank", "write tempo = 84")),
    (&[(BAKER, "level = -8.0", "level = –8.0")], (BAKER, 19), ("This dash is not a minus sign", "write level = -8.0")),
    (&[(BAKER, "level = -8.0", "volume: 100")], (BAKER, 19), ("Between a field and its value stands =", "write volume = 100")),
    (&[(MILL, "D7\"", "D7(b10)\"")], (MILL, 24), ("There is no chord called \"D7(b10)\"", "write D, or D and one of m, 7")),
];

fn folder(name: &str) -> Files {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/evenings").join(name);
    let mut files = Files::new();
    for within in ["", "songs/"] {
        for file in fs::read_dir(root.join(within)).expect("a folder").map(|file| file.expect("a file").path()) {
            if file.is_file() {
                let name = file.file_name().expect("a name").to_string_lossy();
                files.insert(format!("{within}{name}"), fs::read_to_string(&file).expect("text"));
            }
        }
    }
    files
}

/// All that is said of an evening: what is wrong, else what is found.
fn said(files: &Files) -> (Vec<Diagnostic>, Vec<Source>) {
    let mut read = |path: &str| {
        let text = files.get(path).map(|text| text.clone().into_bytes());
        let beside = || files.keys().filter_map(|file| file.strip_prefix("songs/")).map(str::to_owned).collect();
        text.ok_or_else(|| io::Error::new(io::ErrorKind::NotFound, Beside(beside())))
    };
    let Loaded { book, sources, diagnostics } = load("set.toml", &mut read);
    (book.as_ref().map_or(diagnostics, findings), sources)
}

fn shown(found: &[Diagnostic], sources: &[Source]) -> String {
    found.iter().map(|one| format!("{}\n\n", one.render(sources, false))).collect()
}

#[test]
fn nothing_is_found_in_a_good_evening() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/evenings");
    let names = fs::read_dir(root).expect("a folder").map(|name| name.expect("a folder").file_name());
    let names: Vec<String> = names.map(|name| name.to_string_lossy().into_owned()).collect();
    assert!(names.len() >= 4, "{names:?}");
    for name in names {
        let (found, sources) = said(&folder(&name));
        assert!(found.is_empty(), "{name}:\n{}", shown(&found, &sources));
    }
}

/// The evening with these edits.
fn edited(evening: &Files, edits: &[Edit]) -> Files {
    let mut files = evening.clone();
    // The same song in a file with a number.
    files.insert("songs/03-star.toml".to_owned(), files[STAR].clone());
    for (file, right, wrong) in edits {
        if *file == "*" {
            let songs = files.iter_mut().filter(|(name, _)| name.starts_with("songs/"));
            songs.for_each(|(_, text)| *text = text.replace(right, wrong));
        } else {
            let text = files.get_mut(*file).expect("a file");
            assert!(text.contains(right), "{file} has not {right:?}");
            *text = text.replacen(right, wrong, 1);
        }
    }
    files
}

#[test]
fn each_mistake_is_found_and_nothing_else() {
    let evening = folder("lantern-night");
    let mut wrong = String::new();
    for (edits, line, (says, help)) in FOUND.iter().chain(REFUSED) {
        let (found, sources) = said(&edited(&evening, edits));
        let is_it = |one: &Diagnostic| {
            let place = one.spot.and_then(|spot| spot.place(&sources));
            let at = place.is_some_and(|place| (place.file, place.line) == *line);
            at && one.title.starts_with(says) && one.help.as_deref().unwrap_or_default().contains(help)
        };
        // What is done to every song has more than one effect.
        let alone = found.len() == 1 || edits.iter().any(|(file, ..)| *file == "*");
        if !alone || !found.iter().any(is_it) {
            wrong += &format!("== {edits:?} should say at {line:?}: {says} … {help}\n{}", shown(&found, &sources));
        }
    }
    assert!(wrong.is_empty(), "\n{wrong}");
}
