//! The platform's MIDI ports: opening them, waiting for what arrives, sending, and noticing that they come and go.
//!
//! Three back ends, alike: the ALSA sequencer, midir (the portable one), and ports in memory for tests.
//! This module knows bytes and names of ports; what the bytes mean for the music is the engine's business.

#[cfg(target_os = "linux")]
mod alsa;
mod error;
mod identity;
mod input_queue;
mod matching;
pub mod memory;
mod message;
mod peers;
mod portable;
mod remembered;
mod table;

pub use error::{Fault, PortsError, SendFault};
pub use matching::{Match, look_up};
pub use remembered::Connection;

use std::fmt;
use std::sync::Arc;
use std::time::Duration;

use serde::{Deserialize, Serialize};

use input_queue::InputQueue;
use table::PortId;

/// The name under which other programs see us.
pub const CLIENT: &str = "handspan";

/// An input as the gear file wants it. Its place in [`Wish::inputs`] is its number from then on.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct InputWish {
    /// The gear file's name of it.
    pub name: String,
    /// Part of the port's name, any case.
    pub port: String,
    /// Serial number of the device, where two are equal.
    pub serial: Option<String>,
    /// Whether it may be missing.
    pub optional: bool,
}

/// Where an output leads.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Target {
    /// A port of our own that other programs connect to; it bears the output's name.
    Virtual,
    /// An existing port: part of its name, any case.
    Port(String),
}

/// An output as the gear file wants it. Its place in [`Wish::outputs`] is its number from then on.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct OutputWish {
    /// The gear file's name of it.
    pub name: String,
    /// Where it leads.
    pub target: Target,
    /// Whether it may be missing.
    pub optional: bool,
}

/// All ports that a gear file wants, and the connections that others are to have with them again.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Wish {
    /// Inputs in the gear file's order.
    pub inputs: Vec<InputWish>,
    /// Outputs in the gear file's order.
    pub outputs: Vec<OutputWish>,
    /// What [`Ports::connections`] said last, perhaps in an earlier run: made again at once where the other side is
    /// there, else when it comes.
    pub remembered: Vec<Connection>,
    /// Whether connections that others made are made again when the other side comes back. Where not, nothing is
    /// remembered either.
    pub reconnect: bool,
}

impl Default for Wish {
    /// Nothing but the wish to reconnect.
    fn default() -> Self {
        Wish { inputs: Vec::new(), outputs: Vec::new(), remembered: Vec::new(), reconnect: true }
    }
}

/// An existing port that the gear file wants one of ours to be connected with.
#[derive(Debug, Clone, Copy)]
struct Wanted<'a> {
    /// The gear file's name of our port.
    name: &'a str,
    /// Part of the other port's name.
    port: &'a str,
    serial: Option<&'a str>,
    optional: bool,
}

impl Wish {
    /// What a port of ours is to be connected with; nothing for a virtual output.
    fn wanted(&self, id: PortId) -> Option<Wanted<'_>> {
        let name = self.name(id);
        match id.direction {
            Direction::Input => {
                let InputWish { port, serial, optional, .. } = self.inputs.get(id.number)?;
                Some(Wanted { name, port, serial: serial.as_deref(), optional: *optional })
            }
            Direction::Output => match self.outputs.get(id.number)? {
                OutputWish { target: Target::Port(port), optional, .. } => {
                    Some(Wanted { name, port, serial: None, optional: *optional })
                }
                OutputWish { target: Target::Virtual, .. } => None,
            },
        }
    }

    /// The gear file's name of a port of ours.
    fn name(&self, id: PortId) -> &str {
        let name = match id.direction {
            Direction::Input => self.inputs.get(id.number).map(|input| &input.name),
            Direction::Output => self.outputs.get(id.number).map(|output| &output.name),
        };
        name.map_or("", String::as_str)
    }

    fn is_virtual(&self, output: usize) -> bool {
        self.outputs.get(output).is_some_and(|output| output.target == Target::Virtual)
    }
}

/// Which back end gives the system's ports.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Backend {
    /// The system's own: the ALSA sequencer on Linux, elsewhere the same as [`Backend::Portable`].
    #[default]
    System,
    /// midir, the same everywhere, and able to do less: see [`Capabilities`].
    Portable,
}

/// What not every back end can do.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Capabilities {
    /// It notices that others connect something to our ports, and connects it again when it comes back.
    pub knows_connections: bool,
    /// It receives system exclusive messages. All can send them.
    pub receives_exclusive: bool,
}

/// What ended a wait.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Arrival<'a> {
    /// One whole message with its status byte, from an input.
    Message {
        /// Number of the input.
        input: usize,
        /// The message.
        bytes: &'a [u8],
    },
    /// An input's port is gone.
    InputGone(usize),
    /// An input's port is connected again.
    InputBack(usize),
    /// An output's port is gone, or the last program has stopped listening to our virtual port.
    OutputGone(usize),
    /// An output's port is connected again, or a program has begun to listen to our virtual port, after nobody did.
    OutputBack(usize),
    /// One more program has begun to listen to an output.
    OutputJoined(usize),
    /// Arrived messages were lost; anything of any input may be missing. The portable back end cannot always notice.
    Overrun,
    /// Somebody used the [`Waker`].
    Woken,
    /// Nothing arrived in the time given.
    Quiet,
}

/// The open ports of one gear file. Dropping it closes them.
pub trait Ports: Send {
    /// Waits until something arrives, or for `timeout` (`None`: for ever). What has already arrived is
    /// given one by one, in order, without waiting. Allocates nothing while messages of up to three bytes arrive.
    fn wait(&mut self, timeout: Option<Duration>) -> Arrival<'_>;

    /// Sends one whole message with its status byte, at once. Never blocks, and allocates nothing for messages
    /// of up to three bytes. A send that fails concerns this output alone, and is not tried again.
    ///
    /// # Errors
    /// [`SendFault::Full`] where a listener did not take it (others may have; where the back end can, what ends a note
    /// or lifts a pedal is kept for that listener and is no error), [`SendFault::NotConnected`] where
    /// the output's port is not connected, [`SendFault::NotAMessage`] where the bytes are not exactly one message that
    /// can be sent.
    fn send(&mut self, output: usize, bytes: &[u8]) -> Result<(), SendFault>;

    /// A handle with which another thread ends [`Ports::wait`].
    fn waker(&self) -> Waker;

    /// Whether an input has a port to listen to at present.
    fn input_connected(&self, input: usize) -> bool;

    /// Whether an output can be sent to at present: its port is connected, or it is virtual.
    fn output_available(&self, output: usize) -> bool;

    /// The connections that others made with our ports and that stand now, and those that are to be made again when
    /// the other side comes back; to be given to [`Wish::remembered`] by the next run. They change before
    /// [`Arrival::OutputBack`], [`Arrival::OutputGone`], [`Arrival::InputBack`] or [`Arrival::InputGone`] is given,
    /// and when somebody takes a connection away while others remain, which is not reported.
    fn connections(&self) -> Vec<Connection>;

    /// How many messages were shed so far because they came faster than they were read, by us or by a listener:
    /// controllers before notes, never the end of a note or a pedal that comes up.
    fn dropped_overload(&self) -> u64;

    /// How many messages were thrown away so far because they were too long, cut short or malformed, or began a note
    /// that was played before anybody listened.
    fn dropped(&self) -> u64;

    /// Which of the optional abilities this back end has.
    fn capabilities(&self) -> Capabilities;
}

/// Makes [`Ports::wait`] return [`Arrival::Woken`] soon, from any thread. Waking several times before the wait
/// returns counts once, so whatever the wake is about must be looked up anew after each.
#[derive(Clone)]
pub struct Waker(Arc<dyn Fn() + Send + Sync>);

impl Waker {
    /// Ends the wait.
    pub fn wake(&self) {
        (self.0)();
    }
}

impl fmt::Debug for Waker {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Waker")
    }
}

/// Which way messages run through a port, seen from us.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Direction {
    /// We listen to it.
    Input,
    /// We send to it.
    Output,
}

impl Direction {
    /// Both, inputs first.
    const ALL: [Direction; 2] = [Direction::Input, Direction::Output];
}

/// A port that the system has.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct FoundPort {
    /// Name of the device or program that has it.
    pub client: String,
    /// Name of the port itself.
    pub port: String,
    /// Where it is now, such as `20:0`; empty where the system says nothing. Another device may be there tomorrow.
    pub address: String,
    /// Whether we can listen or send to it; a port that takes both stands in the list twice.
    pub direction: Direction,
    /// Serial number of the device, where it has one and the system tells.
    pub serial: Option<String>,
    /// The USB socket of its device, as the system names it, where known.
    pub socket: Option<String>,
    /// Whether it belongs to another handspan that runs now.
    pub ours: bool,
}

impl FoundPort {
    /// Both names as the gear file may write them: `client: port`, or one where they are the same.
    #[must_use]
    pub fn name(&self) -> String {
        if self.client == self.port { self.port.clone() } else { format!("{}: {}", self.client, self.port) }
    }

    /// A port of which nothing is known but its name.
    #[cfg(test)]
    fn named(name: &str, direction: Direction) -> Self {
        FoundPort {
            client: name.into(),
            port: name.into(),
            address: String::new(),
            direction,
            serial: None,
            socket: None,
            ours: false,
        }
    }
}

/// Found ports without the handles by which a back end reaches them.
fn without_handles<P>(ports: &[(P, FoundPort)]) -> Vec<FoundPort> {
    ports.iter().map(|(_, port)| port.clone()).collect()
}

/// Opens all ports that a gear file wants. Optional ports that are not connected are taken up when they come.
///
/// # Errors
/// All faults at once: ports that are missing, names that fit two, a system without MIDI.
pub fn open(backend: Backend, wish: &Wish) -> Result<Box<dyn Ports>, PortsError> {
    match backend {
        #[cfg(target_os = "linux")]
        Backend::System => Ok(Box::new(alsa::Sequencer::open(wish)?)),
        _ => Ok(Box::new(portable::Portable::open(wish)?)),
    }
}

/// The ports that the system has now, inputs first, without the system's own timer and announcements.
///
/// # Errors
/// A system without MIDI, or one that does not let us see.
pub fn list(backend: Backend) -> Result<Vec<FoundPort>, PortsError> {
    match backend {
        #[cfg(target_os = "linux")]
        Backend::System => alsa::list(),
        _ => portable::list(),
    }
}
