//! The gear as written.

use core::net::SocketAddr;

use super::{At, Cue, Curve, KeyRange, Spot};
use crate::midi::{Channel, U7};

/// Inputs, outputs, sounds and curves that hold for every song.
#[derive(Debug, Clone)]
pub struct Gear {
    /// The octave of middle C by which the file counts its notes.
    pub middle_c: i32,
    /// Notes struck within this time of the first are one handful, in microseconds.
    pub gather: u64,
    /// Keys struck so shortly before a change from elsewhere also sound in new zones, in microseconds.
    pub early: u64,
    /// Whether programs that were connected to our ports are connected again when they or we come back.
    pub reconnect: bool,
    /// Inputs in file order.
    pub inputs: Vec<Input>,
    /// Outputs in file order.
    pub outputs: Vec<Output>,
    /// Sounds in file order.
    pub sounds: Vec<Sound>,
    /// Named curves in file order.
    pub curves: Vec<(At<String>, Curve)>,
    /// Cues that hold for every song, in file order; see [`Book::cues_in`].
    pub cues: Vec<Cue>,
    /// The page.
    pub stand: Stand,
}

impl Gear {
    /// The sound of this name.
    #[must_use]
    pub fn sound(&self, name: &str) -> Option<&Sound> {
        self.sounds.iter().find(|sound| sound.name.value == name)
    }

    /// The number of the output that leads to a sound.
    #[must_use]
    pub fn output_of(&self, sound: &Sound) -> Option<usize> {
        self.outputs.iter().position(|output| output.name.value == sound.output.value)
    }
}

/// The page on the music stand: where it is served, and who may do what.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Stand {
    /// Address and port; `None`: not at all. One that other machines reach comes with a passcode.
    pub listen: Option<SocketAddr>,
    /// Whether the gear file asks for this address, so that no other will do.
    pub asked: bool,
    /// Where it does.
    pub spot: Option<Spot>,
    /// What lets a page control the set; none: whoever reaches it can.
    pub passcode: Option<String>,
    /// What lets a page look and no more.
    pub viewing_passcode: Option<String>,
    /// The input that the page's keyboard plays as; none where no input plays.
    pub input: Option<usize>,
}

impl Stand {
    /// Whether other machines reach the page.
    #[must_use]
    pub fn is_in_network(&self) -> bool {
        self.listen.is_some_and(|at| !at.ip().to_canonical().is_loopback())
    }
}

impl Default for Stand {
    /// For this machine alone.
    fn default() -> Self {
        let listen = Some(SocketAddr::from(([127, 0, 0, 1], 7340)));
        Stand { listen, asked: false, spot: None, passcode: None, viewing_passcode: None, input: None }
    }
}

/// A keyboard, pedal board or other source of messages.
#[derive(Debug, Clone)]
pub struct Input {
    /// Its name in the maps.
    pub name: At<String>,
    /// Part of the port's name.
    pub port: At<String>,
    /// Serial number, to tell equal devices apart.
    pub serial: Option<String>,
    /// The only channel that is heard, where one is given.
    pub channel: Option<Channel>,
    /// The keys that it has.
    pub keys: KeyRange,
    /// This keyboard under this hand.
    pub curve: Option<Curve>,
    /// Controllers that count as others: (from, to).
    pub renumber: Vec<(U7, U7)>,
    /// Whether zones may listen to it.
    pub play: bool,
    /// Whether it may be absent without a warning.
    pub optional: bool,
}

/// A virtual or existing port that we send to.
#[derive(Debug, Clone)]
pub struct Output {
    /// Its name in the maps.
    pub name: At<String>,
    /// Part of an existing port's name; `None` for a virtual port of our own.
    pub port: Option<At<String>>,
    /// Whether it may be absent without a warning.
    pub optional: bool,
    /// How fast its cable is.
    pub cable: Cable,
    /// Whether clock messages are passed on to it.
    pub pass_clock: bool,
    /// Whether it gets our own clock, 24 a quarter at the song's or tapped tempo; never together with `pass_clock`.
    pub send_clock: bool,
    /// Whether system exclusive messages are passed on to it.
    pub pass_sysex: bool,
}

/// The cable of an output.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Cable {
    /// 31,250 baud: 320 µs a byte.
    Din,
    /// Fast enough not to be counted.
    Usb,
}

/// A sound: where it lives and how it is set up.
#[derive(Debug, Clone)]
pub struct Sound {
    /// Its name in the maps.
    pub name: At<String>,
    /// The output that leads to it.
    pub output: At<String>,
    /// Its channel.
    pub channel: Channel,
    /// Program, from 0 as on the wire.
    pub program: Option<U7>,
    /// Bank select, most and least significant byte.
    pub bank: Option<(U7, U7)>,
    /// Controller 7.
    pub volume: Option<U7>,
    /// Controller 10.
    pub pan: Option<U7>,
    /// What the desk calls it.
    pub label: Option<String>,
}
