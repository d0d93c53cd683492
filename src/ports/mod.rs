//! The platform's MIDI ports: opening them, waiting for what arrives, sending, and noticing that they come and go.
//!
//! Three back ends, alike: the ALSA sequencer, midir (the portable one), and ports in memory for tests.
//! This module knows bytes and names of ports; what the bytes mean for the music is the engine's business.

use std::time::Duration;

/// An input as the gear file wants it. Its place in [`Wish::inputs`] is its number from then on.
#[derive(Debug, Clone)]
pub struct InputWish {
    /// The gear file's name of it.
    pub name: String,
    /// Part of the port's name, any case.
    pub port: String,
    /// Serial number of the device, where two are equal.
    pub serial: Option<String>,
    /// Whether it may be absent.
    pub optional: bool,
}

/// Where an output leads.
#[derive(Debug, Clone)]
pub enum Target {
    /// A port of our own that other programs connect to; it bears the output's name.
    Virtual,
    /// An existing port: part of its name, any case.
    Port(String),
}

/// An output as the gear file wants it. Its place in [`Wish::outputs`] is its number from then on.
#[derive(Debug, Clone)]
pub struct OutputWish {
    /// The gear file's name of it.
    pub name: String,
    /// Where it leads.
    pub target: Target,
    /// Whether it may be absent.
    pub optional: bool,
}

/// All ports that a gear file wants.
#[derive(Debug, Clone, Default)]
pub struct Wish {
    /// Inputs in the gear file's order.
    pub inputs: Vec<InputWish>,
    /// Outputs in the gear file's order.
    pub outputs: Vec<OutputWish>,
}

/// What ended a wait.
#[derive(Debug, PartialEq, Eq)]
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
    /// An input's port is there again and listened to.
    InputBack(usize),
    /// An output's port is gone.
    OutputGone(usize),
    /// An output's port is there again, or a program has begun to listen to our virtual port.
    OutputBack(usize),
    /// The system threw arrived messages away; anything of any input may be missing.
    Overrun,
    /// Somebody used the [`Waker`].
    Woken,
    /// Nothing arrived in the time given.
    Quiet,
}

/// The open ports of one gear file.
pub trait Ports {
    /// Waits until something arrives, or for `timeout` (`None`: for ever). What has already arrived is
    /// given one by one, in order, without waiting. Allocates nothing once open.
    fn wait(&mut self, timeout: Option<Duration>) -> Arrival<'_>;
}
