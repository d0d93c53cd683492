//! What helps one hand, drawn at random: a zone's fields (rules R10–R13, R15), fingers, drones, chords of sections.

use std::fmt::Write as _;

use proptest::prelude::*;

/// Chords that sections and fingers name.
const CHORDS: [&str; 10] = ["C", "D7/F#", "Bbm7", "F#dim", "Abmaj7", "Esus4", "Gaug", "Db6", "Am/E", "B5"];
const PLAYS: [&str; 6] = ["as-pressed", "root", "root-fifth", "chord", "lowest", "highest"];

/// What a zone makes of its handfuls; only what the loader lets go together is drawn.
#[derive(Debug, Clone, Copy)]
pub struct Hand {
    plays: usize,
    min_keys: Option<u8>,
    linger: usize,
    stay: usize,
    one_key: bool,
    fade: u16,
}

/// What is drawn for a drone.
#[derive(Debug, Clone, Copy)]
pub struct Drone {
    pub sound: usize,
    /// One bit for each degree.
    degrees: u8,
    octave: u8,
    fade: u16,
}

fn fade() -> impl Strategy<Value = u16> {
    prop_oneof![Just(0), 1..300u16]
}

/// The fields of a zone that have to do with the hand as a whole.
pub fn hand() -> impl Strategy<Value = Hand> {
    let plain = (0..3usize, 0..3usize, fade()).prop_map(|(linger, stay, fade)| Hand {
        plays: 0,
        min_keys: None,
        linger,
        stay,
        one_key: false,
        fade,
    });
    let few = prop::option::weighted(0.7, prop_oneof![4 => 1..5u8, 1 => 1..11u8]);
    let derived = (1..6usize, few, 0..2usize, 0..3usize, fade())
        .prop_map(|(plays, min_keys, linger, stay, fade)| Hand { plays, min_keys, linger, stay, one_key: false, fade });
    let one_key = (0..3usize, fade()).prop_map(|(linger, fade)| Hand {
        plays: 0,
        min_keys: None,
        linger,
        stay: 0,
        one_key: true,
        fade,
    });
    prop_oneof![3 => plain, 3 => derived, 2 => one_key]
}

/// A drone at a place of its own, or where zones play too.
pub fn drone() -> impl Strategy<Value = Drone> {
    (prop_oneof![0..4usize, Just(3)], 1..128u8, 0..8u8, fade()).prop_map(|(sound, degrees, octave, fade)| Drone {
        sound,
        degrees,
        octave,
        fade,
    })
}

impl Hand {
    /// Whether something of it rings without a finger.
    pub fn lingers(self) -> bool {
        self.linger > 0
    }

    /// Whether it plays chords that lie in a range.
    pub fn needs_range(self) -> bool {
        PLAYS[self.plays] == "chord"
    }

    /// Another hand, as a player edits it.
    pub fn edited(self) -> Hand {
        let kinds = if self.plays > 0 { 2 } else { 3 };
        Hand { linger: (self.linger + 1) % kinds, min_keys: self.min_keys.map(|keys| keys % 4 + 1), ..self }
    }

    /// Nothing of it fades.
    pub fn without_fade(self) -> Hand {
        Hand { fade: 0, ..self }
    }

    /// `may_fade`: nothing else sounds at its place that a fade would take along.
    pub fn text(self, may_fade: bool) -> String {
        let mut text = format!(
            "plays = \"{}\"\nlinger = \"{}\"\nstay_in_key = \"{}\"\none_key_chord = {}\n",
            PLAYS[self.plays],
            ["off", "next", "toggle"][self.linger],
            ["off", "nearest", "silent"][self.stay],
            self.one_key,
        );
        if let Some(keys) = self.min_keys {
            let _ = writeln!(text, "min_keys = {keys}");
        }
        if may_fade && self.linger > 0 {
            let _ = writeln!(text, "fade_ms = {}", self.fade);
        }
        text
    }
}

impl Drone {
    /// Nothing of it fades.
    pub fn without_fade(self) -> Drone {
        Drone { fade: 0, ..self }
    }

    /// `may_fade`: no zone plays at its place.
    pub fn text(self, may_fade: bool) -> String {
        let degrees: Vec<u8> = (1..8).filter(|degree| self.degrees & 1 << (degree - 1) != 0).collect();
        let fade = if may_fade { self.fade } else { 0 };
        format!(
            "[drone]\nsound = \"s{}\"\ndegrees = {degrees:?}\noctave = {}\nfade_ms = {fade}\n",
            self.sound, self.octave
        )
    }
}

/// The chord of this number.
pub fn chord(number: usize) -> &'static str {
    CHORDS[number % CHORDS.len()]
}
