//! A port: which way it runs, one of ours by its number, and one that the system has.

use serde::{Deserialize, Serialize};

/// The name under which other programs see us.
pub const CLIENT: &str = "handspan";

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
    #[cfg(target_os = "linux")]
    pub(super) const ALL: [Direction; 2] = [Direction::Input, Direction::Output];
}

/// One of our ports: an input or an output, by its place in the gear file.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct PortId {
    pub(super) direction: Direction,
    pub(super) number: usize,
}

impl PortId {
    pub(super) const fn input(number: usize) -> Self {
        PortId { direction: Direction::Input, number }
    }

    pub(super) const fn output(number: usize) -> Self {
        PortId { direction: Direction::Output, number }
    }
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
    pub(crate) fn named(name: &str, direction: Direction) -> Self {
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
pub(super) fn without_handles<P>(ports: &[(P, FoundPort)]) -> Vec<FoundPort> {
    ports.iter().map(|(_, port)| port.clone()).collect()
}

/// A connection that somebody else made between a program and one of our ports.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Connection {
    /// Whether our port is an input's or an output's.
    pub direction: Direction,
    /// The gear file's name of that input or output.
    pub port: String,
    /// The names of the port at the other end, as [`super::FoundPort::name`] gives them.
    pub peer: String,
}
