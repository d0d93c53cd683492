//! A keyboard with its zones, drawn as SVG for the page and for paper.
//!
//! The keyboard is a band. Each zone is a *reach* under it, as a technical drawing gives a length: a thin line from the
//! first key's left edge to the last key's right, ticks at its ends, and in a gap of the line its name with where it
//! goes; dashed where it is not in use. Each has a depth of its own, so no two meet.
//!
//! The drawing is right as it is in black on white, without a stylesheet, and carries what a stylesheet and a script
//! need: a key is an element with the classes `key` and `white` or `black`, and `data-key`, its MIDI number; a reach is
//! a group with the class `zone` (and `off` where it is not in use), `data-zone`, its name, and `data-number`, its place
//! among the song's zones from 0. Other classes: `reach` (lines), `edge` (from key to reach), `gap` (behind labels),
//! `label`, `c` (names of the Cs), `fit` (dots), `cue`.

mod labels;
mod marks;

pub(crate) use marks::WIDTH;

use crate::evening::{Keys, Standing, is_in_use, listens, zone_fits};
use crate::map::{Book, Input, Song, StayInKey, Trigger, Zone};
use crate::midi::Note;
use crate::music::note;
use crate::wording::{cues, zones};

/// What is drawn of an input's keyboard.
#[derive(Debug, Clone, PartialEq)]
pub struct Keyboard {
    /// The input's name.
    pub name: String,
    /// Its lowest key, a MIDI number.
    pub low: u8,
    /// Its highest key.
    pub high: u8,
    /// The zones that listen to it, in the order of the song.
    pub reaches: Vec<Reach>,
    /// The keys that are cues' and play nothing, upward.
    pub cues: Vec<CueKey>,
    /// The keys that fit where a zone stays in key, upward.
    pub fits: Vec<Fit>,
}

/// A zone, as far as it reaches over the keys.
#[derive(Debug, Clone, PartialEq)]
pub struct Reach {
    /// Its place among the song's zones, from 0.
    pub number: usize,
    /// Its name.
    pub name: String,
    /// Where it goes, such as `→ keys 1`; its keys where it does not have all; its sections, where it has not all.
    pub goes: String,
    /// Its lowest key.
    pub low: u8,
    /// Its highest key.
    pub high: u8,
    /// Whether keys start it.
    pub in_use: bool,
}

/// A key that does something to the set.
#[derive(Debug, Clone, PartialEq)]
pub struct CueKey {
    /// Its MIDI number.
    pub key: u8,
    /// What it does, in a few words.
    pub does: String,
}

/// A key that fits (rule R12).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Fit {
    /// Its MIDI number.
    pub key: u8,
    /// Whether it fits in every section that is drawn.
    pub always: bool,
}

/// Where a performance stands, for a drawing of this moment.
#[derive(Clone, Copy)]
pub struct Now<'a> {
    /// Where the set stands in the song.
    pub standing: &'a Standing,
    /// Whether a zone, by its place among the song's, is on.
    pub on: &'a dyn Fn(usize) -> bool,
}

impl Keyboard {
    /// An input's keyboard in a song: at this moment, or without one over all its sections, as it begins.
    #[must_use]
    pub fn of(book: &Book, song: &Song, keys: &Keys, input: &Input, now: Option<Now<'_>>) -> Keyboard {
        let mut drawn = Keyboard::bare(book, Some(song), input);
        let listening = song.zones.iter().enumerate().filter(|(_, zone)| listens(zone, input));
        for (number, zone) in listening {
            drawn.reaches.push(drawn.reach(book, song, (number, zone), now));
            drawn.fit(song, keys, zone, now);
        }
        drawn
    }

    /// An input's keyboard with its cues only: those of a song, or without one the gear's.
    #[must_use]
    pub fn bare(book: &Book, song: Option<&Song>, input: &Input) -> Keyboard {
        let (low, high) = (input.keys.0 as u8, input.keys.1 as u8);
        let mut cues: Vec<CueKey> = Vec::new();
        for cue in book.cues_in(song).into_iter().filter(|cue| cue.when.input.value == input.name.value) {
            // What has a channel of its own is no key under the hand.
            let Trigger::Key { key, channel: None, .. } = cue.when.trigger else { continue };
            let does = cues::does(&cue.does, None, cue.name.as_deref());
            match cues.iter_mut().find(|known| known.key == key) {
                Some(known) => known.does = format!("{}, {does}", known.does),
                None if (low..=high).contains(&key) => cues.push(CueKey { key, does }),
                None => {}
            }
        }
        cues.sort_by_key(|cue| cue.key);
        Keyboard { name: input.name.value.clone(), low, high, reaches: Vec::new(), cues, fits: Vec::new() }
    }

    fn reach(&self, book: &Book, song: &Song, (number, zone): (usize, &Zone), now: Option<Now<'_>>) -> Reach {
        let (low, high) = zone.keys.value;
        let mut words: Vec<String> = book.gear.sound(&zone.sound.value).map(zones::goes).into_iter().collect();
        if (low as u8) > self.low || (high as u8) < self.high {
            words.push(span(low, high));
        }
        if (high as u8) < self.low || (low as u8) > self.high {
            words.push("outside this keyboard".to_owned());
        }
        let in_use = match now {
            None => {
                words.extend(zone.sections.as_ref().map(|sections| {
                    let names: Vec<&str> = sections.iter().map(|section| section.value.as_str()).collect();
                    format!("in {}", names.join(", "))
                }));
                zone.on
            }
            Some(now) => is_in_use(song, zone, now.standing.section, (now.on)(number)),
        };
        if !in_use {
            words.push(if now.is_some_and(|now| (now.on)(number)) { "not here" } else { "off" }.to_owned());
        }
        let (low, high) = (low as u8, high as u8);
        Reach { number, name: zone.name.clone(), goes: words.join(", "), low, high, in_use }
    }

    /// Adds the keys that fit in a zone which stays in key.
    fn fit(&mut self, song: &Song, keys: &Keys, zone: &Zone, now: Option<Now<'_>>) {
        if zone.stay_in_key == StayInKey::Off {
            return;
        }
        let (section, fingers) = match now {
            Some(Now { standing, .. }) => (Some(standing.section), keys.fingers_at(standing)),
            None => (None, keys.play_in),
        };
        let fits = zone_fits(song, zone, section, fingers.tonic());
        let (low, high) = zone.keys.value;
        for key in (low as u8).max(self.low)..=(high as u8).min(self.high) {
            let taken = self.cues.iter().any(|cue| cue.key == key) || self.fits.iter().any(|fit| fit.key == key);
            if !taken && fits.somewhere.contains(key) {
                self.fits.push(Fit { key, always: fits.everywhere.contains(key) });
            }
        }
        self.fits.sort_by_key(|fit| fit.key);
    }

    /// The keyboard in words, for those who do not see it.
    #[must_use]
    pub fn words(&self) -> String {
        let mut words = vec![format!("{}, {} to {}", self.name, key_name(self.low), key_name(self.high))];
        words.extend(self.reaches.iter().map(Reach::words));
        words.extend(self.cues.iter().map(|cue| format!("key {}: {}", key_name(cue.key), cue.does)));
        words.join("; ")
    }
}

impl Reach {
    /// The reach in words.
    fn words(&self) -> String {
        format!("zone {} from {} to {} {}", self.name, key_name(self.low), key_name(self.high), self.goes)
    }
}

/// A key's name, middle C being C4.
pub(crate) fn key_name(key: u8) -> String {
    Note::try_from(key).map(|key| note::name(key, 4)).unwrap_or_default()
}

/// A range of keys by name: `A0–B2`, or the name of a single one.
pub(crate) fn span(low: Note, high: Note) -> String {
    if low == high { note::name(low, 4) } else { format!("{}–{}", note::name(low, 4), note::name(high, 4)) }
}
