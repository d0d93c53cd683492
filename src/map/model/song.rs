//! Songs as written: sections, zones, what a one-key chord plays, the drone, and sends.

use super::super::send::SendMessage;
use super::super::zone::Zone;
use super::{At, Cue, KeyRange, PlayIn, ShiftWay, Spot};
use crate::midi::U7;
use crate::music::{Chord, Key};

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
    /// Messages to other machines, in file order.
    pub sends: Vec<Send>,
    /// Cues in force in this song only, in file order; see [`Book::cues_in`](super::Book::cues_in).
    pub cues: Vec<Cue>,
}

/// A key that plays another chord than the one on its degree, where one key plays a chord (rule R13).
#[derive(Debug, Clone, PartialEq)]
pub struct Finger {
    /// The key's pitch class, 0 = C … 11 = B, in the song's fingers' key.
    pub key: u8,
    /// What it plays, in that key too.
    pub chord: At<Chord>,
}

/// Notes that go on sounding by themselves (rule R14).
#[derive(Debug, Clone, PartialEq)]
pub struct Drone {
    /// The sound that it plays.
    pub sound: At<String>,
    /// Degrees of the sounding key, 1–7; at least one, none twice.
    pub degrees: Vec<u8>,
    /// The octave in which the tonic lies, where C4 is 60; 0–7, so that every degree of every key is a MIDI note.
    pub octave: i32,
    /// Velocity, 1–127.
    pub velocity: u8,
    /// How long it takes to end, in microseconds (rule R15).
    pub fade: u64,
}

/// Which notes a zone makes of its keys.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Plays {
    /// Each key its own.
    #[default]
    AsPressed,
    /// The root of the chord that the keys make.
    Root,
    /// The root and the fifth.
    RootFifth,
    /// Each pitch class once, in close position, moving as little as it can.
    Chord,
    /// The lowest key.
    Lowest,
    /// The highest key.
    Highest,
}

impl Plays {
    /// Whether the notes are derived from several keys together (rule R11).
    #[must_use]
    pub fn derives(self) -> bool {
        self != Plays::AsPressed
    }
}

/// Whether notes stay after their keys come up (rule R10).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Linger {
    /// They end with their keys.
    #[default]
    Off,
    /// Until the next handful.
    Next,
    /// Until their key is struck again.
    Toggle,
}

/// What becomes of a key that does not fit (rule R12).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum StayInKey {
    /// It sounds as it is.
    #[default]
    Off,
    /// The nearest that fits sounds instead.
    Nearest,
    /// It is not in the zone.
    Silent,
}

/// How a zone treats pedals (controllers 64–69).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Pedal {
    /// Passed on as they come.
    Follow,
    /// Not passed on.
    Ignore,
    /// Passed on as 127 from 64 up and 0 below 40.
    Switch,
}

/// Which controllers (other than pedals) a zone follows.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Controls {
    /// All.
    Follow,
    /// None.
    Ignore,
    /// These.
    List(Vec<U7>),
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
    pub chords: Option<At<Vec<Vec<Chord>>>>,
    /// A word to the player.
    pub remark: Option<String>,
}

/// When a send is said.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Moment {
    /// On entering the song.
    Enter,
    /// On leaving the song.
    Leave,
    /// On entering the section of this name.
    Section(String),
}

/// A message to another machine.
#[derive(Debug, Clone)]
pub struct Send {
    /// The whole send, for findings about it.
    pub spot: Spot,
    /// When it is said.
    pub at: At<Moment>,
    /// The output that it goes to.
    pub to: At<String>,
    /// How long after the moment, in microseconds.
    pub after: u64,
    /// What is said.
    pub message: SendMessage,
}
