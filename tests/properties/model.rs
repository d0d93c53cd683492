//! A second, slow and plain telling of rules R1–R5, straight from the maps as written: which notes must sound after
//! each event; and of R7 and R17, which pedals and bends may. It shares no table with the engine.

use std::collections::{BTreeMap, BTreeSet};

use handspan::evening::plays_in;
use handspan::map::{Action, Book, Deed, Does, Zone};

use crate::listener::{Listener, Wire};

/// (input, channel, key)
pub type Pressed = (usize, u8, u8);

/// Which notes sound and who owns them.
#[derive(Debug, Default)]
pub struct Model {
    owners: BTreeMap<Wire, BTreeSet<Pressed>>,
    off_zones: BTreeSet<(usize, usize)>,
}

/// Where the set stands, in the maps' own terms.
#[derive(Debug, Clone, Copy)]
pub struct Where {
    pub entry: Option<usize>,
    pub section: usize,
    pub shift: i32,
}

impl Model {
    /// On entering a song its zones are on as written, then as the lists say: the song's, the entry's, that of the first
    /// section.
    pub fn entered(&mut self, book: &Book, entry: usize) {
        self.as_written(book, entry);
        let song = &book.songs[book.set.entries[entry].song.expect("a song")];
        self.listed(book, entry, &song.on_entering);
        self.listed(book, entry, &book.set.entries[entry].on_entering);
        self.listed(book, entry, &song.sections[0].on_entering);
    }

    /// A list turns zones of the song of an entry.
    pub fn listed(&mut self, book: &Book, entry: usize, list: &[Deed]) {
        let song = book.set.entries[entry].song.expect("a song");
        for deed in list {
            let Does::Act(Action::Zone { name, on: Some(on) }) = &deed.does else { continue };
            for (number, _) in book.songs[song].zones.iter().enumerate().filter(|(_, zone)| zone.name == name.value) {
                if *on {
                    self.off_zones.remove(&(song, number));
                } else {
                    self.off_zones.insert((song, number));
                }
            }
        }
    }

    /// The zones of a song are on as written.
    pub fn as_written(&mut self, book: &Book, entry: usize) {
        let song = book.set.entries[entry].song.expect("a song");
        for (number, zone) in book.songs[song].zones.iter().enumerate() {
            if zone.on {
                self.off_zones.remove(&(song, number));
            } else {
                self.off_zones.insert((song, number));
            }
        }
    }

    /// Zones of a name are turned the other way than the first of them stands.
    pub fn turned(&mut self, book: &Book, entry: usize, name: &str) {
        let song = book.set.entries[entry].song.expect("a song");
        let named: Vec<usize> = book.songs[song]
            .zones
            .iter()
            .enumerate()
            .filter(|(_, zone)| zone.name == name)
            .map(|(number, _)| number)
            .collect();
        let on = named.first().is_some_and(|first| self.off_zones.contains(&(song, *first)));
        for number in named {
            if on {
                self.off_zones.remove(&(song, number));
            } else {
                self.off_zones.insert((song, number));
            }
        }
    }

    pub fn press(&mut self, book: &Book, place: Where, key: Pressed, velocity: u8) {
        self.release(key);
        let Some(entry) = place.entry else { return };
        let song_number = book.set.entries[entry].song.expect("a song");
        let song = &book.songs[song_number];
        for (number, zone) in song.zones.iter().enumerate() {
            if self.off_zones.contains(&(song_number, number)) || !plays_in(song, zone, place.section) {
                continue;
            }
            if !takes(book, zone, key, Some(velocity)) {
                continue;
            }
            let pitch = pitch(zone, key.2, place.shift);
            if (0..128).contains(&pitch) {
                let sound =
                    book.gear.sounds.iter().find(|sound| sound.name.value == zone.sound.value).expect("a sound");
                let output = book.gear.outputs.iter().position(|output| output.name.value == sound.output.value);
                let wire = (output.expect("an output"), sound.channel.index(), pitch as u8);
                self.owners.entry(wire).or_default().insert(key);
            }
            if zone.exclusive {
                break;
            }
        }
    }

    pub fn release(&mut self, key: Pressed) {
        self.owners.retain(|_, owners| {
            owners.remove(&key);
            !owners.is_empty()
        });
    }

    pub fn release_input(&mut self, input: usize) {
        self.owners.retain(|_, owners| {
            owners.retain(|owner| owner.0 != input);
            !owners.is_empty()
        });
    }

    pub fn release_all(&mut self) {
        self.owners.clear();
    }

    pub fn sounding(&self) -> BTreeSet<Wire> {
        self.owners.keys().copied().collect()
    }
}

/// Whether a zone takes a key, of any velocity where none is given.
pub fn takes(book: &Book, zone: &Zone, key: Pressed, velocity: Option<u8>) -> bool {
    let input = &book.gear.inputs[key.0];
    let curved = |velocity: f64| input.curve.as_ref().map_or(velocity, |curve| curve.at(velocity)).round();
    let window = f64::from(zone.velocity.value.0)..=f64::from(zone.velocity.value.1);
    zone.input.as_ref().is_none_or(|name| name.value == input.name.value)
        && (zone.keys.value.0 as u8..=zone.keys.value.1 as u8).contains(&key.2)
        && velocity.is_none_or(|velocity| window.contains(&curved(f64::from(velocity)).clamp(1.0, 127.0)))
}

/// A velocity after the input's curve (rule R6).
pub fn curved(book: &Book, input: usize, velocity: u8) -> u8 {
    let curve = book.gear.inputs[input].curve.as_ref();
    curve.map_or(f64::from(velocity), |curve| curve.at(f64::from(velocity))).round().clamp(1.0, 127.0) as u8
}

/// The note of a key, of any number (rule R4).
pub fn pitch(zone: &Zone, key: u8, shift: i32) -> i32 {
    let mut pitch = i32::from(key) + 12 * zone.octave + zone.transpose + if zone.follow_key { shift } else { 0 };
    if let Some(range) = &zone.within {
        while pitch < i32::from(range.value.0 as u8) {
            pitch += 12;
        }
        while pitch > i32::from(range.value.1 as u8) {
            pitch -= 12;
        }
    }
    pitch
}

/// What the player's feet and hands hold at each input.
#[derive(Debug, Default)]
pub struct Feet {
    /// (input, channel, pedal), where it is not up.
    pedals: BTreeSet<(usize, u8, u8)>,
    /// Inputs that are bent.
    bent: BTreeSet<usize>,
    /// Inputs with channel pressure.
    pressed: BTreeSet<usize>,
}

impl Feet {
    /// An input says something.
    pub fn heard(&mut self, input: usize, bytes: [u8; 3]) {
        let channel = bytes[0] & 15;
        match (bytes[0] & 0xF0, bytes[1], bytes[2]) {
            (0xB0, pedal @ 64..=69, 0) => {
                self.pedals.remove(&(input, channel, pedal));
            }
            (0xB0, pedal @ 64..=69, _) => {
                self.pedals.insert((input, channel, pedal));
            }
            // RP-015.
            (0xB0, 121, _) => {
                self.pedals.retain(|(i, c, pedal)| (*i, *c) != (input, channel) || *pedal > 67);
                self.bent.remove(&input);
                self.pressed.remove(&input);
            }
            (0xD0, 0, _) => {
                self.pressed.remove(&input);
            }
            (0xD0, ..) => {
                self.pressed.insert(input);
            }
            (0xE0, 0, 64) => {
                self.bent.remove(&input);
            }
            (0xE0, ..) => {
                self.bent.insert(input);
            }
            _ => {}
        }
    }

    /// An input is lost.
    pub fn lost(&mut self, input: usize) {
        self.pedals.retain(|pedal| pedal.0 != input);
        self.bent.remove(&input);
        self.pressed.remove(&input);
    }

    /// No pedal is heard down without a foot on such a pedal, and nothing bent or pressed without a hand.
    pub fn assert_behind(&self, listener: &Listener) {
        for (_, _, heard) in &listener.pedals {
            assert!(self.pedals.iter().any(|(_, _, pedal)| pedal == heard), "pedal {heard} hangs");
        }
        assert!(listener.bends.is_empty() || !self.bent.is_empty(), "bends hang: {:?}", listener.bends);
        let pressures = &listener.pressures;
        assert!(pressures.is_empty() || !self.pressed.is_empty(), "pressures hang: {pressures:?}");
    }
}
