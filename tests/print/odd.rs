//! Sets that nobody plays, each with something that a page may stumble over.

use std::fmt::Write;
use std::io;

use handspan::map::Book;

/// The files of a set.
pub struct Maps {
    gear: String,
    songs: Vec<String>,
    /// Lines below each song of the set.
    entries: Vec<String>,
    title: String,
    /// The number of its song, where it has one.
    pub number: Option<u8>,
}

/// A set whose song has a number of its own.
pub fn numbered() -> Maps {
    Maps { number: Some(17), ..one(gear("A0", "C8", ""), song("Snow", ZONE)) }
}

impl Maps {
    pub fn book(&self) -> Book {
        let mut set = format!("title = {}\ngear = \"gear.toml\"\n", quoted(&self.title));
        for (number, lines) in self.entries.iter().enumerate() {
            let _ = write!(set, "[[song]]\nmap = \"{}.toml\"\n{lines}\n", number % self.songs.len());
        }
        super::book("set.toml", |path| {
            let text = match path {
                "set.toml" => Some(&set),
                "gear.toml" => Some(&self.gear),
                _ => path.strip_suffix(".toml").and_then(|number| self.songs.get(number.parse::<usize>().ok()?)),
            };
            let number = self.number.filter(|_| path == "0.toml").map(|number| format!("number = {number}\n"));
            text.map(|text| format!("{}{text}", number.unwrap_or_default()).into_bytes())
                .ok_or_else(|| io::ErrorKind::NotFound.into())
        })
    }
}

/// As TOML has a text in quotes.
pub fn quoted(text: &str) -> String {
    let mut quoted = String::from("\"");
    for letter in text.chars() {
        match letter {
            '"' | '\\' => quoted.extend(['\\', letter]),
            '\0'..='\x1F' | '\x7F' => {
                let _ = write!(quoted, "\\u{:04X}", letter as u32);
            }
            _ => quoted.push(letter),
        }
    }
    quoted + "\""
}

fn gear(low: &str, high: &str, more: &str) -> String {
    format!(
        "[inputs.keyboard]\nport = \"a piano\"\nkeys = [\"{low}\", \"{high}\"]\nplay = true\n[outputs.out]\nvirtual = true\n\
         [sounds.grand]\noutput = \"out\"\nchannel = 1\nprogram = 1\n{more}"
    )
}

fn song(title: &str, more: &str) -> String {
    format!("title = {}\nkey = \"Ebm\"\nplay_in = \"Am\"\ntempo = 61.7\nmeter = \"12/16\"\n{more}", quoted(title))
}

fn one(gear: String, song: String) -> Maps {
    Maps { gear, songs: vec![song], entries: vec![String::new()], title: "An evening".to_owned(), number: None }
}

const ZONE: &str = "[[zone]]\nsound = \"grand\"\n";
const AWKWARD: &str = "<&\"'>]]> ${x} &amp; --> <script>";

pub fn sets() -> Vec<(&'static str, Maps)> {
    // As long as a title may be, and a remark five times that.
    let long = "And the snow came down over the weir and the gate ".repeat(4);
    let glued = "Donaudampfschifffahrtsgesellschaft".repeat(6)[..200].to_owned();
    let titled = |title: &str| {
        let mut maps = one(gear("A0", "C8", ""), song(title, ZONE));
        maps.title = title.to_owned();
        maps.entries = vec![format!("remark = {}\ntitle = {}", quoted(&title.repeat(5)), quoted(title))];
        maps
    };
    vec![
        ("a long title", titled(&long)),
        ("a title without spaces", titled(&glued)),
        ("a title of signs", titled(AWKWARD)),
        ("a title from right to left", titled("שלום על החלון · سلام")),
        ("a title of pictures", titled("❄️🎹 Frost 👨‍👩‍👧 冬の夜")),
        ("a title with what XML cannot hold", titled("bell \u{7} and null \u{0} and turned \u{202E}back")),
        ("88 keys", one(gear("A0", "C8", ""), song("Many", ZONE))),
        ("25 keys", one(gear("C3", "C5", ""), song("Few", ZONE))),
        ("one black key", one(gear("F#3", "F#3", ""), song("One", ZONE))),
        ("128 keys", one(gear("C-1", "G9", ""), song("All", ZONE))),
        ("zones of one key", narrow()),
        ("40 zones", many(40)),
        ("80 zones", many(80)),
        ("names of signs", signs(AWKWARD)),
        ("long names", signs(&glued[..180])),
        ("long words", signs(&long[..180])),
        ("many cues on keys", cued()),
        ("crowded bars", chorded()),
        ("200 sections", long_song()),
        (
            "200 songs",
            Maps {
                entries: vec!["remark = \"and on\"".to_owned(); 200],
                ..one(gear("A0", "C8", ""), song("Snow", ZONE))
            },
        ),
        ("letters of many scripts", titled("Κανών Зимний вечер Ẩm Ђурђевдан Café e\u{301}\u{323} سلام ½ ♩")),
    ]
}

/// A zone on each key, at both ends of the keyboard and outside it.
fn narrow() -> Maps {
    let mut zones = String::new();
    for (number, key) in ["A0", "Bb0", "C4", "F#4", "B7", "C8", "E0", "G9"].iter().enumerate() {
        let _ =
            write!(zones, "[[zone]]\nname = \"number {number}\"\nsound = \"grand\"\nkeys = [\"{key}\", \"{key}\"]\n");
    }
    one(gear("A0", "C8", ""), song("Narrow", &zones))
}

fn many(count: usize) -> Maps {
    let mut zones = String::new();
    for number in 0..count {
        let (low, high) = (21 + number / 2, 60 + number / 2);
        let curve =
            ["curve = { lighter = 66 }", "curve = { always = 90 }", "level = -7.5", "velocity = [30, 31]"][number % 4];
        let on = if number % 3 == 0 { "false" } else { "true" };
        let _ = write!(
            zones,
            "[[zone]]\nname = \"zone {number}\"\nsound = \"grand\"\nkeys = [{low}, {high}]\n{curve}\non = {on}\n"
        );
    }
    one(gear("A0", "C8", ""), song("Many zones", &zones))
}

/// Every name that a map gives is this one.
fn signs(name: &str) -> Maps {
    let name = quoted(name);
    let gear = format!(
        "[inputs.{name}]\nport = {name}\nplay = true\ncurve = {name}\n[outputs.{name}]\nport = {name}\n[sounds.{name}]\n\
         output = {name}\nchannel = 16\nlabel = {name}\n[curves]\n{name} = {{ points = [[1, 40], [64, 80], [127, 110]] }}\n\
         [[cue]]\nwhen = {{ input = {name}, note = \"C8\" }}\ndo = \"send\"\nto = {name}\nmessage = {{ control = [1, 2], \
         channel = 1 }}\noff = {{ control = [1, 0], channel = 1 }}\nname = {name}\n"
    );
    let song = format!(
        "title = {name}\nkey = \"C\"\norder = [{name}, {name}]\n[[zone]]\nname = {name}\nsound = {name}\ninput = {name}\n\
         sections = [{name}]\nkeys = [\"C4\", \"D4\"]\ncurve = {name}\n[[section]]\nname = {name}\nremark = {name}\nchords = \"C | F\"\n\
         on_entering = [{{ to = {name}, message = {{ program = 1, channel = 1 }} }}]\n"
    );
    let entries = vec![format!("title = {name}\nremark = {name}\nsinger = {name}")];
    let mut maps = Maps { gear, songs: vec![song], entries, title: name.clone(), number: None };
    let singers = format!("[singers.{name}]\nrange = [\"G3\", \"D5\"]\n");
    maps.entries[0].push_str(&format!("\n{singers}"));
    maps
}

/// A cue on each of the upper keys and some below, with words of all lengths.
fn cued() -> Maps {
    let mut cues = String::new();
    for key in [21, 22, 23, 40, 41, 60].into_iter().chain(90..=108) {
        let does = ["do = \"next-section\"", "do = \"song\"\nsong = 1", "do = \"panic\""][key % 3];
        let _ = write!(cues, "[[cue]]\nwhen = {{ input = \"keyboard\", note = {key} }}\n{does}\n");
        if key % 4 == 0 {
            let _ = write!(
                cues,
                "[[cue]]\nwhen = {{ input = \"keyboard\", note = {key}, press = \"long\" }}\ndo = \"drone\"\n"
            );
        }
    }
    one(gear("A0", "C8", &cues), song("Cues", ZONE))
}

fn chorded() -> Maps {
    let bar = "F#m7b5/C# Abmmaj7/Eb Gm(add9)/Bb D7sus4 C#m7b5/G#";
    let sections = format!(
        "{ZONE}[[section]]\nname = \"All\"\nchords = \"{bar} {bar} | {bar} | Am\"\n[[section]]\nname = \"Two\"\n\
         chords = \"Am Em | F C | Dm7/C G7 | Am\"\n[[section]]\nname = \"Lifted\"\nlike = \"All\"\nkey = \"Fm\"\n"
    );
    one(gear("A0", "C8", ""), song("Chords", &sections))
}

fn long_song() -> Maps {
    let mut sections = ZONE.to_owned();
    for number in 0..200 {
        let _ = write!(
            sections,
            "[[section]]\nname = \"Verse {number}\"\nchords = \"Am | Dm | E7 | Am\"\nremark = \"on\"\n"
        );
    }
    one(gear("A0", "C8", ""), song("Long", &sections))
}
