//! Cues drawn at random (rule R19): what fires them, of both inputs, and what they do, in the gear and in songs; and
//! what players and machines do that hits them.
//!
//! What cues send goes to an output of its own, each cue's under a controller of its own: so whoever hears that output
//! knows which cue fired, and which is on.

use std::fmt::Write as _;

use proptest::prelude::*;

use crate::maps::INPUTS;
use crate::performance::Deed;

/// The output that only cues send to.
pub const LAMPS: usize = 2;
/// The controller by which the first cue is known there; no set-up and no silencing says one from here on to 119.
const FIRST_ID: u8 = 70;
/// Cues that a file has at most.
pub const MOST: u8 = 8;
/// Keys that have cues: few, so that they meet.
const KEYS: [u8; 3] = [50, 60, 100];
/// Controllers that have cues: pedals, one that lasts, one that does not, and one that is heard as another (see `maps`).
const CONTROLS: [u8; 8] = [67, 64, 66, 69, 65, 1, 30, 31];
const PRESSES: [&str; 4] = ["single", "double", "long", "either"];

/// What fires a cue.
#[derive(Debug, Clone, Copy)]
enum When {
    Key { key: u8, press: usize },
    Control { number: u8, press: usize, reversed: bool },
    Program(Option<u8>),
    SongSelect(Option<u8>),
    Clock(usize),
    Transport(usize),
}

/// What it does.
#[derive(Debug, Clone, Copy)]
enum Does {
    /// An action that needs nothing beside it.
    Plain(usize),
    Song(usize),
    LineUp(usize),
    Section(usize),
    Key(usize),
    Drone(usize),
    Zone(usize, usize),
    Fade(u16),
    Send,
    /// It is on; as long as it is held, where it can be.
    Stands {
        hold: bool,
        /// What its map says of its rest: nothing, off or on.
        rest: usize,
    },
}

const PLAIN: [&str; 12] = [
    "next-song",
    "previous-song",
    "next-section",
    "previous-section",
    "raise-key",
    "lower-key",
    "tonights-key",
    "from-the-top",
    "resend-messages",
    "resend-sounds",
    "tap",
    "panic",
];
const TURNS: [&str; 3] = ["", "state = \"on\"\n", "state = \"off\"\n"];

/// What is drawn for a cue.
#[derive(Debug, Clone, Copy)]
pub struct Cue {
    /// The controller by which what it sends is known.
    pub id: u8,
    input: usize,
    when: When,
    channel: Option<u8>,
    does: Does,
}

/// What the set has that a cue may name.
pub struct Named<'a> {
    pub entries: usize,
    pub key: &'a dyn Fn(usize) -> &'static str,
    pub zone: &'a dyn Fn(usize) -> String,
    pub sections: [&'static str; 3],
}

/// One of the controllers, the first above all.
fn control() -> impl Strategy<Value = u8> {
    prop_oneof![3 => Just(CONTROLS[0]), 4 => (0..CONTROLS.len()).prop_map(|number| CONTROLS[number])]
}

fn when() -> impl Strategy<Value = When> {
    let number = || prop::option::of(0..4u8);
    prop_oneof![
        4 => (0..KEYS.len(), 0..4usize).prop_map(|(key, press)| When::Key { key: KEYS[key], press }),
        8 => (control(), 0..4usize, prop::bool::weighted(0.2))
            .prop_map(|(number, press, reversed)| When::Control { number, press, reversed }),
        1 => number().prop_map(When::Program),
        1 => number().prop_map(When::SongSelect),
        1 => (0..3usize).prop_map(When::Clock),
        1 => (0..2usize).prop_map(When::Transport),
    ]
}

fn does() -> impl Strategy<Value = Does> {
    prop_oneof![
        4 => (0..PLAIN.len() - 1).prop_map(Does::Plain),
        1 => prop_oneof![9 => Just(PLAIN.len() - 2), 1 => Just(PLAIN.len() - 1)].prop_map(Does::Plain),
        2 => (0..100usize).prop_map(Does::Song),
        1 => (0..100usize).prop_map(Does::LineUp),
        1 => (0..3usize).prop_map(Does::Section),
        1 => (0..12usize).prop_map(Does::Key),
        1 => (0..3usize).prop_map(Does::Drone),
        1 => (0..6usize, 0..3usize).prop_map(|(zone, turn)| Does::Zone(zone, turn)),
        1 => prop_oneof![Just(0), 1..400u16].prop_map(Does::Fade),
        2 => Just(Does::Send),
        4 => (any::<bool>(), 0..3usize).prop_map(|(hold, rest)| Does::Stands { hold, rest }),
    ]
}

/// Cues of one file, without their ids.
pub fn cues() -> impl Strategy<Value = Vec<Cue>> {
    let cue = (0..INPUTS, when(), prop::option::weighted(0.2, 0..2u8), does());
    let cue = cue.prop_map(|(input, when, channel, does)| Cue { id: 0, input, when, channel, does });
    prop_oneof![1 => Just(Vec::new()), 3 => prop::collection::vec(cue, 0..usize::from(MOST))]
}

/// Gives the cues of a file, of this number, their ids.
pub fn numbered(cues: &mut [Cue], file: u8) {
    for (cue, number) in cues.iter_mut().zip(0..) {
        cue.id = FIRST_ID + file * MOST + number;
    }
}

/// Whether a controller at the lamps is a cue's.
pub fn is_id(number: u8) -> bool {
    (FIRST_ID..120).contains(&number)
}

impl Cue {
    /// Another control, or another way to press it, as a player edits it.
    pub fn edited(self) -> Cue {
        let when = match self.when {
            When::Control { number, press, reversed } => When::Control { number, press: (press + 1) % 4, reversed },
            When::Key { key, press } => When::Control { number: key % 2 + 66, press, reversed: false },
            _ => When::Key { key: KEYS[1], press: 0 },
        };
        Cue { when, ..self }
    }

    pub fn text(&self, named: &Named<'_>) -> String {
        let mut when = format!("input = \"i{}\"", self.input);
        let mut pressed = None;
        let _ = match self.when {
            When::Key { key, press } => {
                pressed = Some(press);
                write!(when, ", note = {key}")
            }
            When::Control { number, press, reversed } => {
                pressed = Some(press);
                write!(when, ", control = {number}, reversed = {reversed}")
            }
            When::Program(None) => write!(when, ", program = \"any\""),
            When::Program(Some(number)) => write!(when, ", program = {}", number + 1),
            When::SongSelect(None) => write!(when, ", song_select = \"any\""),
            When::SongSelect(Some(number)) => write!(when, ", song_select = {}", number + 1),
            When::Clock(which) => write!(when, ", clock = \"{}\"", ["start", "stop", "continue"][which]),
            When::Transport(which) => write!(when, ", transport = \"{}\"", ["play", "stop"][which]),
        };
        if let Some(channel) = self.channel.filter(|_| pressed.is_some() || matches!(self.when, When::Program(_))) {
            let _ = write!(when, ", channel = {}", channel + 1);
        }
        // What is held is pressed once.
        let holds = matches!(self.does, Does::Stands { hold: true, .. }) && pressed.is_some();
        if let Some(press) = pressed.filter(|_| !holds) {
            let _ = write!(when, ", press = \"{}\"", PRESSES[press]);
        }
        format!("[[cue]]\nwhen = {{ {when} }}\n{}", self.does_text(named, holds))
    }

    fn does_text(&self, named: &Named<'_>, holds: bool) -> String {
        let received = matches!(self.when, When::Program(None) | When::SongSelect(None));
        let song = |number: usize| match number % (named.entries + 1) {
            _ if received => "\"received\"".to_owned(),
            0 => "1".to_owned(),
            place => place.to_string(),
        };
        let id = self.id;
        let send = format!("do = \"send\"\nto = \"lamps\"\nmessage = {{ control = [{id}, 127], channel = 1 }}\n");
        match self.does {
            Does::Plain(action) => format!("do = \"{}\"\n", PLAIN[action]),
            Does::Song(number) => format!("do = \"song\"\nsong = {}\n", song(number)),
            Does::LineUp(number) => format!("do = \"line-up\"\nsong = {}\n", song(number)),
            Does::Section(number) => format!("do = \"section\"\nsection = \"{}\"\n", named.sections[number]),
            Does::Key(number) => format!("do = \"key\"\nkey = \"{}\"\n", (named.key)(number)),
            Does::Drone(turn) => format!("do = \"drone\"\n{}", TURNS[turn]),
            Does::Zone(zone, turn) => format!("do = \"zone\"\nzone = \"{}\"\n{}", (named.zone)(zone), TURNS[turn]),
            Does::Fade(time) => format!("do = \"fade\"\nfade_ms = {time}\n"),
            Does::Send => send,
            Does::Stands { rest, .. } => {
                let rest = ["", "rest = \"off\"\n", "rest = \"on\"\n"][rest];
                let off = format!("off = {{ control = [{id}, 0], channel = 1 }}\n");
                format!("{send}name = \"lamp {id}\"\n{off}while_down = {holds}\n{rest}")
            }
        }
    }
}

/// Something that may hit a cue: pedals and spare keys above all, as quickly as hands and feet do it.
pub fn hit() -> impl Strategy<Value = Deed> {
    let value = prop_oneof![3 => Just(127u8), 3 => Just(0), 1 => Just(40), 1 => Just(41), 1 => Just(63), 1 => Just(64)];
    let key = || (0..KEYS.len()).prop_map(|key| KEYS[key]);
    let input = || prop_oneof![2 => Just(0usize), 1 => 0..INPUTS];
    let clock = prop_oneof![3 => Just(0xF8u8), 2 => 0xFA..=0xFCu8];
    prop_oneof![
        // Controller 11 is left to those who know which values a player gives it.
        12 => (input(), 0..2u8, control(), value).prop_map(|(i, c, n, v)| Deed::Message(i, [0xB0 | c, n, v])),
        4 => (input(), 0..2u8, key(), 1..128u8).prop_map(|(i, c, k, v)| Deed::Press(i, c, k, v)),
        4 => (input(), 0..2u8, key()).prop_map(|(i, c, k)| Deed::Release(i, c, k)),
        1 => (input(), 0..2u8, 0..6u8).prop_map(|(i, c, p)| Deed::Message(i, [0xC0 | c, p, 0])),
        1 => (input(), 0..6u8).prop_map(|(i, s)| Deed::Message(i, [0xF3, s, 0])),
        1 => (input(), clock).prop_map(|(i, status)| Deed::Message(i, [status, 0, 0])),
        1 => (input(), 1..5u8).prop_map(|(i, command)| Deed::Transport(i, command)),
    ]
}

/// How many bytes of three a message of this status has.
pub fn length(status: u8) -> usize {
    match status {
        0xC0..=0xDF | 0xF3 => 2,
        0xF8.. => 1,
        _ => 3,
    }
}

/// A command of MIDI Machine Control to any device (RP-013).
pub fn transport(command: u8) -> [u8; 6] {
    [0xF0, 0x7F, 0x7F, 0x06, command, 0xF7]
}
