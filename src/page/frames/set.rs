//! The set and the gear, as a page lists them.

use serde::Serialize;

use crate::check;
use crate::daemon::Show;
use crate::evening::{Keys, Melody, Suits};
use crate::map::{Book, Entry, Input, Song};
use crate::midi::Note;
use crate::music::{Key, note};
use crate::wording;

/// The set.
#[derive(Debug, Serialize)]
pub(in crate::page) struct Set<'a> {
    title: &'a str,
    remark: Option<&'a str>,
    /// What `check` finds in it, each in words.
    findings: Vec<String>,
    entries: Vec<EntryFrame<'a>>,
    inputs: Vec<InputFrame<'a>>,
    outputs: Vec<&'a str>,
    plays_as: Option<&'a str>,
    /// The names of all notes where no key is meant, black keys as sharps.
    notes: Vec<String>,
}

#[derive(Debug, Serialize)]
struct EntryFrame<'a> {
    position: usize,
    title: &'a str,
    pause: bool,
    /// The room's key on entering it, and the fingers' key.
    room: Option<String>,
    fingers: Option<String>,
    remark: Option<&'a str>,
    /// The twelve keys that the room may hear on entering it, each with the shift that it would have and whom it suits.
    keys: Vec<(String, i32, Option<String>)>,
}

#[derive(Debug, Serialize)]
struct InputFrame<'a> {
    name: &'a str,
    low: u8,
    high: u8,
    plays: bool,
}

impl Set<'_> {
    /// The set of a show; the page plays as this input.
    pub fn of(show: &Show, plays_as: Option<usize>) -> Set<'_> {
        let gear = &show.book.gear;
        let input = |input: &'_ Input| (input.keys.0 as u8, input.keys.1 as u8);
        Set {
            title: &show.book.set.title,
            remark: show.book.set.remark.as_deref(),
            findings: findings(&show.book),
            entries: show.book.set.entries.iter().enumerate().map(|(number, entry)| one(show, number, entry)).collect(),
            inputs: gear
                .inputs
                .iter()
                .map(|known| {
                    let (low, high) = input(known);
                    InputFrame { name: &known.name.value, low, high, plays: known.play }
                })
                .collect(),
            outputs: gear.outputs.iter().map(|output| output.name.value.as_str()).collect(),
            notes: (0..128).filter_map(|key| Some(note::name(Note::try_from(key).ok()?, 4))).collect(),
            plays_as: plays_as.and_then(|number| gear.inputs.get(number)).map(|input| input.name.value.as_str()),
        }
    }
}

/// The findings of a set are read, not counted: so many are enough.
const MOST_FINDINGS: usize = 30;

fn findings(book: &Book) -> Vec<String> {
    let found = check::findings(book);
    found
        .iter()
        .take(MOST_FINDINGS)
        .map(|finding| wording::page::finding(&finding.listed(&book.sources), &book.sources))
        .collect()
}

fn one<'a>(show: &'a Show, number: usize, entry: &'a Entry) -> EntryFrame<'a> {
    let song = entry.song.and_then(|song| show.book.songs.get(song));
    let keys = song.map(|song| Keys::of(&show.book, entry, song));
    let shift = |song: &Song, key: Key| Keys::tonight_in(&show.book, entry, song, key).shift;
    let melody = song.and_then(|song| Melody::of(entry, song));
    let suits = |key: Key| -> Option<String> {
        let melody = melody.as_ref()?;
        let singers = show.book.set.singers_of(entry);
        let suits: Vec<(&str, Suits)> =
            singers.map(|(_, singer)| (singer.called.as_str(), melody.suits(key, singer))).collect();
        (!suits.is_empty()).then(|| wording::keys::suits(&suits))
    };
    let choices = song.zip(keys).map_or_else(Vec::new, |(song, keys)| {
        keys.choices().iter().map(|key| (key.to_string(), shift(song, *key), suits(*key))).collect()
    });
    EntryFrame {
        position: number + 1,
        title: show.plan.title(number),
        pause: entry.song.is_none(),
        room: keys.map(|keys| keys.tonight.to_string()),
        fingers: keys.map(|keys| keys.play_in.to_string()),
        remark: entry.remark.as_deref(),
        keys: choices,
    }
}
