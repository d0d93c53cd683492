//! What is under the hand: keys that are down, the chord that they make, the notes that sound.

use serde::Serialize;

use crate::daemon::{LiveView, Show};
use crate::engine::Snapshot;
use crate::evening::{Keys, Standing, chord_on, is_in_use};
use crate::map::{Song, Zone};
use crate::midi::Note;
use crate::music::chord::{self, NamedChord};
use crate::music::{Chord, Classes, Key};

/// What is under the hand.
#[derive(Debug, PartialEq, Serialize)]
pub(in crate::page) struct Hand {
    pub now: u64,
    /// Keys that are down, for each input.
    down: Vec<Vec<u8>>,
    chord: Option<ChordFrame>,
    /// What sounds: number of the output from 0, channel from 1, notes.
    notes: Vec<(usize, u8, Vec<u8>)>,
    /// The names of these notes, as they are written at this moment.
    names: Vec<Vec<String>>,
}

#[derive(Debug, PartialEq, Serialize)]
pub(super) struct ChordFrame {
    fingers: String,
    room: String,
}

impl Hand {
    /// What can be seen now.
    pub fn of(view: &LiveView, show: &Show, snapshot: &Snapshot, now: u64) -> Hand {
        let inputs = 0..show.plan.inputs();
        let together = inputs.clone().fold(0, |keys, input| keys | view.keys_down(input));
        let places = (0..show.plan.outputs()).flat_map(|output| (0..16).map(move |channel| (output, channel)));
        let places = places.map(|(output, channel)| (output, channel + 1, view.notes(output, channel)));
        let sounding: Vec<(usize, u8, u128)> = places.filter(|(_, _, notes)| *notes != 0).collect();
        let held = chords(together, show, snapshot);
        let heard = held.map(|(_, room)| room);
        let named = |notes: u128| names(notes, heard, show, &snapshot.standing);
        Hand {
            now,
            down: inputs.map(|input| keys(view.keys_down(input))).collect(),
            chord: held.map(|(fingers, room)| ChordFrame { fingers: fingers.to_string(), room: room.to_string() }),
            names: sounding.iter().map(|(_, _, notes)| named(*notes)).collect(),
            notes: sounding.into_iter().map(|(output, channel, notes)| (output, channel, keys(notes))).collect(),
        }
    }
}

/// The chord of the keys that are down, for the fingers and for the room.
pub(super) fn chords(together: u128, show: &Show, snapshot: &Snapshot) -> Option<(Chord, Chord)> {
    let Some(named) = chord::name(together) else { return on_one_key(together, show, snapshot) };
    let standing = &snapshot.standing;
    let (keys, song) = playing(show, standing)?;
    let speller = |key: Key| keys.speller(key, song, standing.section);
    let lifted = |class: u8| (i32::from(class) + standing.shift).rem_euclid(12) as u8;
    let heard = NamedChord { root: lifted(named.root), bass: lifted(named.bass), kind: named.kind };
    Some((speller(keys.fingers_at(standing)).chord(named), speller(keys.room(standing.tonic)).chord(heard)))
}

/// The chord that a single key plays where one key plays a chord.
fn on_one_key(together: u128, show: &Show, snapshot: &Snapshot) -> Option<(Chord, Chord)> {
    let standing = &snapshot.standing;
    let (tonight, song) = playing(show, standing)?;
    let key = u8::try_from(together.trailing_zeros()).ok().filter(|_| together.count_ones() == 1)?;
    let plays = |(number, zone): (usize, &Zone)| {
        let (low, high) = zone.keys.value;
        zone.one_key_chord
            && (low as u8..=high as u8).contains(&key)
            && is_in_use(song, zone, standing.section, snapshot.zone_is_on(number))
    };
    song.zones.iter().enumerate().any(plays).then(|| {
        let fingers = tonight.fingers_at(standing);
        let chord = chord_on(song, fingers, key);
        (chord, chord.moved(fingers, tonight.room(standing.tonic)))
    })
}

/// The names of notes that sound in one place: as notes of the chord that is held, where they belong to it, else of the
/// chord that they make by themselves.
pub(super) fn names(notes: u128, held: Option<Chord>, show: &Show, standing: &Standing) -> Vec<String> {
    let Some((tonight, song)) = playing(show, standing) else { return Vec::new() };
    let speller = tonight.speller(tonight.room(standing.tonic), song, standing.section);
    let sounding = Classes::from_keys(notes);
    let held = held.filter(|held| held.classes().contains_all(sounding));
    let chord = held.or_else(|| chord::name(notes).map(|named| speller.chord(named)));
    let named = keys(notes).into_iter().filter_map(|note| Note::try_from(note).ok());
    named.map(|note| speller.note_of(note, chord, 4)).collect()
}

/// The song that the keys play, with its keys tonight.
fn playing<'s>(show: &'s Show, standing: &Standing) -> Option<(Keys, &'s Song)> {
    let (entry, song) = standing.playing(&show.book)?;
    Some((Keys::of(&show.book, entry, song), song))
}

fn keys(set: u128) -> Vec<u8> {
    (0..128).filter(|key| set & 1 << key != 0).collect()
}
