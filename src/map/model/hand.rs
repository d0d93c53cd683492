//! What a song says of the playing hand: how zones take its keys, one-key chords, the drone.

use super::At;
use crate::midi::U7;
use crate::music::Chord;

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
