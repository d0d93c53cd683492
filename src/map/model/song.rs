//! Songs as written: sections, zones, what a one-key chord plays, the drone, and what is done on entering.

use super::super::zone::Zone;
use super::{At, Cue, Curve, Deed, Drone, Finger, KeyRange, PlayIn, ShiftWay};
use crate::music::Key;
use crate::music::chord::Bar;

/// A song's map.
#[derive(Debug, Clone)]
pub struct Song {
    /// Its title.
    pub title: At<String>,
    /// The number by which other machines choose it, 1–128.
    pub number: Option<At<u8>>,
    /// The chart's key.
    pub key: At<Key>,
    /// The fingers' key, where the song gives one.
    pub play_in: Option<At<PlayIn>>,
    /// Which way the shift goes.
    pub shift: ShiftWay,
    /// A word to the player.
    pub remark: Option<String>,
    /// Quarter notes a minute.
    pub tempo: Option<f64>,
    /// Beats of a bar and their note value.
    pub meter: Option<(u8, u8)>,
    /// Lowest and highest melody note, in the chart's key.
    pub melody_range: Option<At<KeyRange>>,
    /// Names of sections in the order of the song; never names an unknown section.
    pub order: Option<Vec<At<String>>>,
    /// Zones in file order.
    pub zones: Vec<Zone>,
    /// Sections in file order.
    pub sections: Vec<Section>,
    /// Keys that play another chord than the one on their degree, in file order; no pitch class twice (rule R13).
    pub fingers: Vec<Finger>,
    /// What goes on sounding by itself (rule R14).
    pub drone: Option<Drone>,
    /// What is done as it is entered, in order.
    pub on_entering: Vec<Deed>,
    /// What is done as it is left, in order.
    pub on_leaving: Vec<Deed>,
    /// Cues in use in this song only, in file order; see [`Book::cues_in`](super::Book::cues_in).
    pub cues: Vec<Cue>,
}

impl Song {
    /// All that is done on entering and leaving it and its sections.
    pub fn deeds(&self) -> impl Iterator<Item = &Deed> {
        let sections = self.sections.iter().flat_map(|section| &section.on_entering);
        self.on_entering.iter().chain(&self.on_leaving).chain(sections)
    }
}

/// A part of a song.
#[derive(Debug, Clone)]
pub struct Section {
    /// Its name.
    pub name: At<String>,
    /// The section whose zones it has too, and whose chords unless it has its own.
    pub like: Option<At<String>>,
    /// The chart's key from here on.
    pub key: Option<At<Key>>,
    /// Its own bars of chords, in the chart's key whatever its own; without them those of the section that it is like count. Never empty, and no bar is.
    pub chords: Option<At<Vec<Bar>>>,
    /// Its own tempo, in quarter notes a minute; without one that of the section that it is like counts, else the song's.
    pub tempo: Option<f64>,
    /// Its own curve, before those of the zones; without one that of the section that it is like counts.
    pub curve: Option<Curve>,
    /// A word to the player.
    pub remark: Option<String>,
    /// What is done as it is entered, in order.
    pub on_entering: Vec<Deed>,
}
