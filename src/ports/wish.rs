//! What the gear file wants: inputs, outputs, and where they lead.

use super::port::Connection;
use super::port::{Direction, PortId};

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
    /// What [`Ports::connections`](super::Ports::connections) said last, perhaps in an earlier run: made again at once where the other side is
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
pub(super) struct Wanted<'a> {
    /// The gear file's name of our port.
    pub(super) name: &'a str,
    /// Part of the other port's name.
    pub(super) port: &'a str,
    pub(super) serial: Option<&'a str>,
    pub(super) optional: bool,
}

impl Wish {
    /// What a port of ours is to be connected with; nothing for a virtual output.
    pub(super) fn wanted(&self, id: PortId) -> Option<Wanted<'_>> {
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
    pub(super) fn name(&self, id: PortId) -> &str {
        let name = match id.direction {
            Direction::Input => self.inputs.get(id.number).map(|input| &input.name),
            Direction::Output => self.outputs.get(id.number).map(|output| &output.name),
        };
        name.map_or("", String::as_str)
    }

    pub(super) fn is_virtual(&self, output: usize) -> bool {
        self.outputs.get(output).is_some_and(|output| output.target == Target::Virtual)
    }
}
