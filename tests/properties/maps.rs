//! Random maps that are valid, as text, so that the loader is part of what is tested.

use std::fmt::Write as _;
use std::io;

use handspan::map::{self, Book};
use proptest::prelude::*;

use crate::cues::{self, Cue, Named};
use crate::hands::{Drone, Hand, chord, drone, hand};

pub const INPUTS: usize = 2;
/// The last is `cues::LAMPS`.
pub const OUTPUTS: usize = 3;
pub const KEYS: [&str; 12] = ["C", "Db", "D", "Eb", "E", "F", "F#", "G", "Ab", "A", "Bb", "B"];
const MINOR_KEYS: [&str; 12] = ["Cm", "C#m", "Dm", "Ebm", "Em", "Fm", "F#m", "Gm", "G#m", "Am", "Bbm", "Bm"];
const SECTIONS: [&str; 3] = ["Verse", "Chorus", "Last"];
/// Output and channel, from 0, of each sound. The last is there for drones alone.
pub const PLACES: [(usize, u8); 4] = [(0, 0), (0, 1), (1, 2), (1, 3)];

/// What is drawn for a zone; text is made of it by [`Zone::text`].
#[derive(Debug, Clone)]
pub struct Zone {
    sound: usize,
    input: Option<usize>,
    feet: Option<usize>,
    keys: (u8, u8),
    window: (u8, u8),
    by_handful: bool,
    only: bool,
    transpose: i32,
    octave: i32,
    follow_key: bool,
    within: Option<(u8, u8)>,
    section: Option<usize>,
    pedal: usize,
    controls: usize,
    bend: bool,
    level: i32,
    on: bool,
    hand: Hand,
}

/// What is drawn for a song.
#[derive(Debug, Clone)]
pub struct Song {
    key: usize,
    minor: bool,
    zones: Vec<Zone>,
    /// The key of the last section.
    last: usize,
    /// Chords of the sections.
    chords: [Option<usize>; 3],
    /// What keys play instead of the chord on their degree.
    fingers: Vec<(usize, usize)>,
    drone: Option<Drone>,
    tempo: Option<u16>,
    /// What is done on entering and leaving, each with its moment.
    lists: Vec<(usize, Item)>,
    cues: Vec<Cue>,
}

/// Something that a list has done, besides what is sent.
#[derive(Debug, Clone, Copy)]
enum Item {
    Zone(usize, bool),
    Drone(bool),
    Fade(u16),
}

/// The moments of a song: entering and leaving it, then entering each section.
const MOMENTS: usize = 2 + SECTIONS.len();

/// What is drawn for a set.
#[derive(Debug, Clone)]
pub struct Drawn {
    pub songs: Vec<Song>,
    /// Songs with tonight's key and play-in key.
    pub tonight: Vec<(usize, usize, usize)>,
    pub gather: u16,
    pub early: u16,
    /// Whether zones look at velocity by the handful.
    pub handfuls: bool,
    /// Whether hands are helped: all that rules R10–R15 tell.
    pub hands: bool,
    /// Cues of the gear.
    pub cues: Vec<Cue>,
    /// Whether there are cues, and a clock of ours.
    pub has_cues: bool,
}

fn pair(low: u8, high: u8, least: u8) -> impl Strategy<Value = (u8, u8)> {
    (low..=high - least).prop_flat_map(move |first| (Just(first), first + least..=high))
}

fn zone() -> impl Strategy<Value = Zone> {
    let place = (0..3usize, prop::option::weighted(0.4, 0..INPUTS), prop::option::weighted(0.2, 0..INPUTS));
    let taken = (
        prop_oneof![Just((0, 127)), pair(0, 127, 0)],
        prop_oneof![3 => Just((1, 127)), 1 => pair(1, 127, 0)],
        prop::bool::weighted(0.3),
        prop::bool::weighted(0.2),
    );
    let pitch = (-14..=14i32, -2..=2i32, prop::bool::weighted(0.8), prop::option::weighted(0.2, pair(0, 127, 11)));
    let rest = (
        prop::option::weighted(0.4, 0..SECTIONS.len()),
        0..4usize,
        0..3usize,
        any::<bool>(),
        -12..=6i32,
        prop::bool::weighted(0.9),
    );
    (place, taken, pitch, rest, hand()).prop_map(|(place, taken, pitch, rest, hand)| Zone {
        sound: place.0,
        input: place.1,
        feet: place.2,
        keys: taken.0,
        window: taken.1,
        by_handful: taken.2,
        only: taken.3,
        transpose: pitch.0,
        octave: pitch.1,
        follow_key: pitch.2,
        within: pitch.3,
        section: rest.0,
        pedal: rest.1,
        controls: rest.2,
        bend: rest.3,
        level: rest.4,
        on: rest.5,
        hand,
    })
}

fn song() -> impl Strategy<Value = Song> {
    let zones = prop::collection::vec(zone(), 1..6);
    let chords = prop::array::uniform3(prop::option::weighted(0.6, 0..10usize));
    let fingers = prop::collection::vec((0..12usize, 0..10usize), 0..5);
    let drone = prop::option::weighted(0.6, drone());
    let keys = (0..12usize, any::<bool>(), 0..12usize);
    let lists = prop_oneof![Just(Vec::new()), prop::collection::vec((0..MOMENTS, item()), 1..6)];
    let directed = (prop::option::of(20..400u16), lists, cues::cues());
    (keys, zones, chords, fingers, drone, directed).prop_map(
        |((key, minor, last), zones, chords, fingers, drone, (tempo, lists, cues))| Song {
            key,
            minor,
            zones,
            last,
            chords,
            fingers,
            drone,
            tempo,
            lists,
            cues,
        },
    )
}

fn item() -> impl Strategy<Value = Item> {
    prop_oneof![
        3 => (0..6usize, any::<bool>()).prop_map(|(zone, on)| Item::Zone(zone, on)),
        2 => any::<bool>().prop_map(Item::Drone),
        1 => (0..300u16).prop_map(Item::Fade),
    ]
}

/// Random sets of one to three songs.
pub fn drawn() -> impl Strategy<Value = Drawn> {
    let songs = prop::collection::vec(song(), 1..4);
    let tonight = prop::collection::vec((0..3usize, 0..12usize, 0..12usize), 1..5);
    let times = (prop_oneof![2 => Just(45u16), 1 => Just(0), 1 => 1..200u16], prop_oneof![Just(0u16), 1..200u16]);
    let all = (songs, tonight, times, any::<bool>(), cues::cues(), any::<bool>());
    all.prop_map(|(mut songs, tonight, (gather, early), handfuls, mut cues, has_cues)| {
        cues::numbered(&mut cues, 0);
        songs.iter_mut().zip(1..).for_each(|(song, file)| cues::numbered(&mut song.cues, file));
        Drawn { songs, tonight, gather, early, handfuls, hands: true, cues, has_cues }
    })
}

impl Zone {
    fn text(&self, drawn: &Drawn, may_fade: bool) -> String {
        let mut text = format!(
            "[[zone]]\nname = \"zone {}\"\nsound = \"s{}\"\nkeys = [{}, {}]\nvelocity = [{}, {}]\nexclusive = {}\ntranspose = {}\n\
             octave = {}\nfollow_key = {}\ncontrols = {}\nbend = \"{}\"\nlevel = {}.5\non = {}\n",
            self.sound,
            self.sound,
            self.keys.0,
            self.keys.1,
            self.window.0,
            self.window.1,
            self.only,
            self.transpose,
            self.octave,
            self.follow_key,
            ["\"follow\"", "\"ignore\"", "[1, 11]"][self.controls],
            if self.bend { "follow" } else { "ignore" },
            self.level,
            self.on,
        );
        if let Some(input) = self.input {
            let _ = writeln!(text, "input = \"i{input}\"");
        }
        if let Some(feet) = self.feet {
            let _ = writeln!(text, "pedals_from = \"i{feet}\"");
        }
        if let Some(pedal) = ["follow", "ignore", "switch"].get(self.pedal) {
            let _ = writeln!(text, "pedal = \"{pedal}\"");
        }
        let needed = (drawn.hands && self.hand.needs_range()).then_some((48, 71));
        if let Some((low, high)) = self.within.or(needed) {
            let _ = writeln!(text, "within = [{low}, {high}]");
        }
        if let Some(section) = self.section {
            let _ = writeln!(text, "sections = [\"{}\"]", SECTIONS[section]);
        }
        if drawn.handfuls && self.by_handful {
            text.push_str("velocity_by = \"handful\"\n");
        }
        if drawn.hands {
            text.push_str(&self.hand.text(may_fade));
        }
        text
    }
}

/// What songs send on entering and leaving, and in a section.
const NOTE: &str = "{ to = \"o0\", after_ms = 20, message = { note = [60, 90], channel = 1, length_ms = 300 } }";
const END: &str = "{ to = \"o1\", after_ms = 20, message = { note = [62, 80], channel = 3, length_ms = 5 } }";
const OFF: &str = "{ to = \"o0\", after_ms = 20, message = { control = [123, 0], channel = 2 } }";

fn on_off(on: bool) -> &'static str {
    if on { "on" } else { "off" }
}

impl Song {
    /// What is done at a moment, as a list of a map.
    fn list(&self, moment: usize, drawn: &Drawn, sends: &[&str]) -> String {
        let item = |item: &Item| match *item {
            Item::Zone(zone, on) => {
                Some(format!("\"zone zone {} {}\"", self.zones[zone % self.zones.len()].sound, on_off(on)))
            }
            Item::Drone(true) if self.drone.is_none() => None,
            Item::Drone(on) => Some(format!("\"drone {}\"", on_off(on))).filter(|_| drawn.hands),
            Item::Fade(time) => Some(format!("\"fade {time}\"")).filter(|_| drawn.hands),
        };
        let items = self.lists.iter().filter(|(at, _)| *at == moment).filter_map(|(_, drawn)| item(drawn));
        let all: Vec<String> = items.chain(sends.iter().map(|send| (*send).to_owned())).collect();
        format!("[{}]", all.join(", "))
    }

    fn key(&self, number: usize) -> &'static str {
        if self.minor { MINOR_KEYS[number] } else { KEYS[number] }
    }

    fn text(&self, drawn: &Drawn, title: &str) -> String {
        let mut text = format!("title = \"Song {title}\"\nkey = \"{}\"\n", self.key(self.key));
        if let Some(tempo) = self.tempo.filter(|_| drawn.has_cues) {
            let _ = writeln!(text, "tempo = {tempo}");
        }
        let _ = writeln!(text, "on_entering = {}", self.list(0, drawn, &[NOTE]));
        let _ = writeln!(text, "on_leaving = {}", self.list(1, drawn, &[END]));
        let drone = self.drone.filter(|_| drawn.hands);
        for zone in &self.zones {
            let goes_on = |other: &Zone| other.sound == zone.sound && !other.hand.lingers();
            let drones = drone.is_some_and(|drone| drone.sound == zone.sound);
            text.push_str(&zone.text(drawn, !drones && !self.zones.iter().any(goes_on)));
        }
        for (number, section) in SECTIONS.iter().enumerate() {
            let _ = writeln!(text, "[[section]]\nname = \"{section}\"");
            let sends: &[&str] = if *section == "Chorus" { &[OFF] } else { &[] };
            let _ = writeln!(text, "on_entering = {}", self.list(2 + number, drawn, sends));
            if let Some(first) = self.chords[number].filter(|_| drawn.hands) {
                let _ = writeln!(text, "chords = \"{} | {} {}\"", chord(first), chord(3 * first + 1), chord(first + 2));
            }
        }
        let _ = writeln!(text, "key = \"{}\"", self.key(self.last));
        if drawn.hands && !self.fingers.is_empty() {
            text.push_str("[fingers]\n");
            for (index, (key, played)) in self.fingers.iter().enumerate() {
                if !self.fingers[..index].iter().any(|(other, _)| other == key) {
                    let _ = writeln!(text, "\"{}\" = \"{}\"", KEYS[*key], chord(*played));
                }
            }
        }
        if let Some(drone) = drone {
            text.push_str(&drone.text(!self.zones.iter().any(|zone| zone.sound == drone.sound)));
        }
        text.push_str(&self.cues_text(drawn, &self.cues));
        text
    }

    /// Cues that name this song's zones and keys.
    fn cues_text(&self, drawn: &Drawn, cues: &[Cue]) -> String {
        let named = Named {
            entries: drawn.tonight.len(),
            key: &|number| self.key(number),
            zone: &|number| format!("zone {}", self.zones[number % self.zones.len()].sound),
            sections: SECTIONS,
        };
        cues.iter().filter(|_| drawn.has_cues).map(|cue| cue.text(&named)).collect()
    }
}

impl Drawn {
    /// Changes something, as a player does who edits a map during the rehearsal.
    pub fn edit(&mut self, how: usize) {
        let index = how / 8 % self.songs.len();
        let song = &mut self.songs[index];
        let zones = &mut song.zones;
        let zone = how / 16 % zones.len();
        match how % 13 {
            0 if zones.len() > 1 => drop(zones.remove(zone)),
            1 => {
                let copy = zones[zone].clone();
                zones.push(copy);
            }
            2 => zones[zone].transpose = 3 - zones[zone].transpose,
            3 => zones[zone].sound = (zones[zone].sound + 1) % 3,
            4 => zones[zone].pedal = (zones[zone].pedal + 1) % 3,
            5 => self.tonight.rotate_left(1),
            6 if self.tonight.len() > 1 => drop(self.tonight.remove(how / 32 % self.tonight.len())),
            7 => zones[zone].hand = zones[zone].hand.edited(),
            8 => song.drone = None,
            9 => drop(song.cues.pop()),
            10 => self.cues.iter_mut().take(how / 32 % 4).for_each(|cue| *cue = cue.edited()),
            11 => song.cues.iter_mut().take(how / 32 % 4).for_each(|cue| *cue = cue.edited()),
            _ => song.key = (song.key + 1) % 12,
        }
    }

    /// The same in ways that the telling of rules R10–R14 covers: one song whose zones are in use throughout, nothing
    /// fades, and the keys of a chord stay MIDI's notes before `within`.
    pub fn for_one_hand(mut self) -> Drawn {
        self.songs.truncate(1);
        self.tonight.truncate(1);
        for zone in &mut self.songs[0].zones {
            (zone.section, zone.on, zone.hand) = (None, true, zone.hand.without_fade());
            if zone.hand.needs_range() {
                (zone.keys, zone.octave, zone.transpose) = ((45, 80), zone.octave.signum(), zone.transpose / 2);
            }
        }
        self.songs[0].drone = self.songs[0].drone.map(Drone::without_fade);
        self.songs[0].lists.retain_mut(|(_, item)| match item {
            Item::Zone(..) => false,
            Item::Drone(_) => true,
            Item::Fade(time) => {
                *time = 0;
                true
            }
        });
        Drawn { handfuls: false, early: 0, has_cues: false, ..self }
    }

    fn file(&self, path: &str) -> Option<String> {
        match path {
            "set.toml" => {
                let mut text = "title = \"Drawn\"\ngear = \"gear.toml\"\n".to_owned();
                for (song, key, play_in) in &self.tonight {
                    let number = song % self.songs.len();
                    let song = &self.songs[number];
                    let _ = write!(text, "[[song]]\nmap = \"{number}.toml\"\nkey = \"{}\"\n", song.key(*key));
                    let _ = writeln!(text, "play_in = \"{}\"", song.key(*play_in));
                }
                text.push_str("[[song]]\ntitle = \"Pause\"\n");
                let first = self.tonight[0].0 % self.songs.len();
                // A pause turns the zones of whatever song it follows.
                let _ = writeln!(text, "on_entering = {}", self.songs[first].list(MOMENTS - 1, self, &[]));
                Some(text)
            }
            "gear.toml" => {
                let mut text = format!("gather_ms = {}\nearly_ms = {}\n", self.gather, self.early);
                for input in 0..INPUTS {
                    let _ = write!(text, "[inputs.i{input}]\nport = \"p{input}\"\nplay = true\n");
                }
                text.push_str("curve = { lighter = 37 }\nrenumber = { 30 = 31 }\n");
                let clock =
                    |output| if self.has_cues { ["pass_clock = true\n", "send_clock = true\n"][output] } else { "" };
                let _ = write!(text, "[outputs.o0]\nvirtual = true\n{}", clock(0));
                let _ = write!(text, "[outputs.o1]\nvirtual = true\n{}[outputs.lamps]\nvirtual = true\n", clock(1));
                for (sound, (output, channel)) in PLACES.iter().enumerate() {
                    let _ = write!(text, "[sounds.s{sound}]\noutput = \"o{output}\"\nchannel = {}\n", channel + 1);
                    let _ = writeln!(text, "program = {}\nvolume = {}", sound + 1, 90 + sound);
                }
                let first = self.tonight[0].0 % self.songs.len();
                text.push_str(&self.songs[first].cues_text(self, &self.cues));
                Some(text)
            }
            _ => {
                let song = path.strip_suffix(".toml")?.parse::<usize>().ok()?;
                Some(self.songs.get(song)?.text(self, path))
            }
        }
    }

    /// The set, loaded.
    pub fn book(&self) -> Book {
        let mut read =
            |path: &str| self.file(path).map(String::into_bytes).ok_or_else(|| io::ErrorKind::NotFound.into());
        let loaded = map::load("set.toml", &mut read);
        let faults: Vec<String> = loaded.diagnostics.iter().map(|f| f.render(&loaded.sources, false)).collect();
        loaded.book.unwrap_or_else(|| panic!("drawn maps are valid, but:\n{}", faults.join("\n")))
    }
}
