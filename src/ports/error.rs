//! What can go wrong with ports, in the player's words.

use std::fmt;

use super::{Direction, FoundPort};

/// Why ports could not be opened or listed: every fault, not only the first.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PortsError {
    /// The faults; at least one.
    pub faults: Vec<Fault>,
}

impl fmt::Display for PortsError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (index, fault) in self.faults.iter().enumerate() {
            if index > 0 {
                writeln!(f)?;
            }
            fault.fmt(f)?;
        }
        Ok(())
    }
}

impl std::error::Error for PortsError {}

impl PortsError {
    /// Whether there is nothing to play on or to sound here at all: no MIDI for this user, or not one port.
    #[must_use]
    pub fn is_without_ports(&self) -> bool {
        self.faults.iter().any(|fault| match fault {
            Fault::NoSequencer | Fault::NotAllowed | Fault::NoVirtualPorts { .. } => true,
            Fault::Missing { there, .. } => there.is_empty(),
            _ => false,
        })
    }

    /// An error of all these faults, unless there are none.
    pub(super) fn unless_none(faults: Vec<Fault>) -> Result<(), Self> {
        if faults.is_empty() { Ok(()) } else { Err(PortsError { faults }) }
    }
}

impl From<Fault> for PortsError {
    fn from(fault: Fault) -> Self {
        PortsError { faults: vec![fault] }
    }
}

/// One fault.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Fault {
    /// Nothing fits a port that must be there.
    Missing {
        /// Whether an input or an output looks for it.
        direction: Direction,
        /// The gear file's name of it.
        name: String,
        /// Part of the port's name that was looked for.
        port: String,
        /// The serial number that was looked for.
        serial: Option<String>,
        /// What is connected.
        there: Vec<FoundPort>,
    },
    /// Several ports fit equally well.
    Tied {
        /// Whether an input or an output looks for it.
        direction: Direction,
        /// The gear file's name of it.
        name: String,
        /// Part of the port's name that was looked for.
        port: String,
        /// The ports that fit.
        ties: Vec<FoundPort>,
    },
    /// The system has no MIDI at present.
    NoSequencer,
    /// The system does not let this user at its MIDI ports.
    NotAllowed,
    /// The system takes no more clients.
    TooManyClients,
    /// Another program has the port, on a system where a port is open in one program at a time.
    Held {
        /// Whether an input or an output wants it.
        direction: Direction,
        /// The gear file's name of that.
        name: String,
        /// The port's name.
        port: String,
    },
    /// This system has no virtual ports.
    NoVirtualPorts {
        /// The gear file's names of the outputs that want one; at least one.
        names: Vec<String>,
    },
    /// The system refused something else.
    Refused {
        /// What was tried.
        doing: String,
        /// What the system said.
        cause: String,
    },
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Fault::Missing { direction, name, port, serial, there } => {
                let table = table(*direction);
                write!(f, "{table}.{name}: no port has \"{port}\" in its name")?;
                if let Some(serial) = serial {
                    write!(f, " and the serial number \"{serial}\"")?;
                }
                if there.is_empty() {
                    write!(f, ", nor is there any other; ")?;
                } else {
                    write!(f, "; there are {}; ", joined(there))?;
                }
                write!(f, "plug it in, correct [{table}.{name}] in the gear file, or write optional = true there")
            }
            Fault::Tied { direction, name, port, ties } => {
                let table = table(*direction);
                write!(f, "{table}.{name}: \"{port}\" fits {} equally well; ", joined(ties))?;
                let same_name = ties.windows(2).any(|pair| pair[0].name() == pair[1].name());
                match (same_name, ties.iter().any(|tie| tie.serial.is_some()), direction) {
                    (false, ..) => write!(f, "write more of the name in [{table}.{name}] of the gear file"),
                    (true, true, Direction::Input) => {
                        write!(f, "add serial = \"…\" of the right one to [{table}.{name}] in the gear file")
                    }
                    (true, ..) => write!(f, "nothing tells them apart, so unplug all but the right one"),
                }
            }
            #[cfg(target_os = "linux")]
            Fault::NoSequencer => write!(
                f,
                "this system has no MIDI sequencer at present: load the kernel module snd-seq (as root: modprobe snd-seq)"
            ),
            #[cfg(not(target_os = "linux"))]
            Fault::NoSequencer => write!(f, "this system's MIDI service does not answer: start it, or log in again"),
            Fault::NotAllowed => write!(
                f,
                "this user may not open the MIDI sequencer: join the group that owns /dev/snd/seq (mostly \"audio\") and log in again"
            ),
            Fault::TooManyClients => {
                write!(f, "the MIDI sequencer takes no more programs: close some that use MIDI, then start again")
            }
            Fault::Held { direction, name, port } => write!(
                f,
                "{}.{name}: \"{port}\" cannot be opened, most likely because another program has it: here a port is open in one program at a time. Close that program, then start again",
                table(*direction)
            ),
            Fault::NoVirtualPorts { names } => {
                let tables: Vec<String> = names.iter().map(|name| format!("[outputs.{name}]")).collect();
                write!(f, "this system has no virtual ports, as {} of the gear file ", in_a_row(&tables))?;
                write!(f, "{}. {LOOPBACK}", if names.len() == 1 { "wants one" } else { "want them" })
            }
            Fault::Refused { doing, cause } => write!(f, "{doing} failed, the system says: {cause}"),
        }
    }
}

impl Fault {
    /// The system refused `doing`, and gave a cause.
    pub(super) fn refused(doing: impl Into<String>, cause: impl fmt::Display) -> Self {
        Fault::Refused { doing: doing.into(), cause: cause.to_string() }
    }

    /// The system refused to connect one of our ports with `port`.
    #[cfg(not(windows))]
    pub(super) fn connecting(_: &str, port: &FoundPort, cause: impl fmt::Display) -> Self {
        Fault::refused(format!("Connecting to \"{}\"", port.name()), cause)
    }

    /// The system refused to open `port` for the input or output of this name. Drivers say so in several ways, one of
    /// them that memory is short, where another program has it.
    #[cfg(windows)]
    pub(super) fn connecting(name: &str, port: &FoundPort, _: impl fmt::Display) -> Self {
        Fault::Held { direction: port.direction, name: name.into(), port: port.name() }
    }

    /// The system refused to make a port of ours.
    #[cfg(unix)]
    pub(super) fn making_port(name: &str, cause: impl fmt::Display) -> Self {
        Fault::refused(format!("Making the port \"{name}\""), cause)
    }
}

/// What to do where there are no virtual ports.
pub(crate) const LOOPBACK: &str = "Install a loopback port for each: a driver whose MIDI output leads to an input of the \
     same name, to which the sound program listens. Then write port = \"its name\" in place of virtual = true";

/// The gear file's table of a direction.
fn table(direction: Direction) -> &'static str {
    match direction {
        Direction::Input => "inputs",
        Direction::Output => "outputs",
    }
}

fn joined(ports: &[FoundPort]) -> String {
    in_a_row(&ports.iter().map(described).collect::<Vec<_>>())
}

fn in_a_row(names: &[String]) -> String {
    match names.split_last() {
        Some((last, rest)) if !rest.is_empty() => format!("{} and {last}", rest.join(", ")),
        _ => names.concat(),
    }
}

/// A port's name, and what tells it from others of that name.
fn described(port: &FoundPort) -> String {
    let name = port.name();
    match (&port.serial, port.address.as_str()) {
        (Some(serial), _) => format!("\"{name}\" (serial \"{serial}\")"),
        (None, "") => format!("\"{name}\""),
        (None, address) => format!("\"{name}\" (at {address}, no serial)"),
    }
}

/// Why a message was not sent.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub enum SendFault {
    /// There is no output of that number.
    #[error("there is no such output")]
    NoSuchOutput,
    /// The output's port is not connected.
    #[error("the output's port is not connected")]
    NotConnected,
    /// A listener's queue was full: it has not read for a while. Others may have got the message.
    #[error("a program that listens does not keep up")]
    Full,
    /// The bytes are not exactly one message that can be sent.
    #[error("these bytes are not one MIDI message that can be sent")]
    NotAMessage,
    /// The system refused, with this error number of its own (0 where it gives none).
    #[error("the system refused to send (error {0})")]
    Refused(i32),
}

#[cfg(test)]
mod tests {
    use super::*;

    fn port(name: &str, address: &str, serial: Option<&str>) -> FoundPort {
        FoundPort {
            address: address.into(),
            serial: serial.map(Into::into),
            ..FoundPort::named(name, Direction::Input)
        }
    }

    #[test]
    fn a_port_with_another_serial_number_is_named() {
        let fault = Fault::Missing {
            direction: Direction::Input,
            name: "keyboard".into(),
            port: "piano".into(),
            serial: Some("A1".into()),
            there: vec![port("Piano", "20:0", Some("B2")), port("Piano", "24:0", None)],
        };
        assert_eq!(
            fault.to_string(),
            "inputs.keyboard: no port has \"piano\" in its name and the serial number \"A1\"; there are \"Piano\" \
             (serial \"B2\") and \"Piano\" (at 24:0, no serial); plug it in, correct [inputs.keyboard] in the gear \
             file, or write optional = true there"
        );
    }

    #[test]
    fn a_machine_without_ports_is_told_from_one_where_something_is_missing() {
        let missing = |there| Fault::Missing {
            direction: Direction::Input,
            name: "keyboard".into(),
            port: "piano".into(),
            serial: None,
            there,
        };
        let without = |fault| PortsError { faults: vec![fault] }.is_without_ports();
        assert!(without(Fault::NoSequencer) && without(Fault::NotAllowed) && without(missing(Vec::new())));
        assert!(!without(missing(vec![port("Desk", "20:0", None)])) && !without(Fault::TooManyClients));
    }

    #[test]
    fn a_tie_says_what_would_tell_the_ports_apart() {
        let tied = |direction, ties| Fault::Tied { direction, name: "x".into(), port: "pia".into(), ties }.to_string();
        let names = vec![port("Piano: A", "20:0", None), port("Piano: B", "20:1", None)];
        assert_eq!(
            tied(Direction::Output, names),
            "outputs.x: \"pia\" fits \"Piano: A\" (at 20:0, no serial) and \"Piano: B\" (at 20:1, no serial) equally \
             well; write more of the name in [outputs.x] of the gear file"
        );
        let equal = vec![port("Piano", "20:0", None), port("Piano", "24:0", None)];
        assert_eq!(
            tied(Direction::Input, equal),
            "inputs.x: \"pia\" fits \"Piano\" (at 20:0, no serial) and \"Piano\" (at 24:0, no serial) equally well; \
             nothing tells them apart, so unplug all but the right one"
        );
    }

    #[cfg(target_os = "linux")]
    #[test]
    fn a_system_that_refuses_is_told_with_what_to_do() {
        let faults = vec![
            Fault::NoSequencer,
            Fault::NotAllowed,
            Fault::TooManyClients,
            Fault::Held { direction: Direction::Output, name: "pad".into(), port: "Desk".into() },
            Fault::NoVirtualPorts { names: vec!["piano".into(), "pad".into()] },
            Fault::Refused { doing: "Connecting to \"Desk\"".into(), cause: "no".into() },
        ];
        let expected = [
            "this system has no MIDI sequencer at present: load the kernel module snd-seq (as root: modprobe snd-seq)",
            "this user may not open the MIDI sequencer: join the group that owns /dev/snd/seq (mostly \"audio\") and \
             log in again",
            "the MIDI sequencer takes no more programs: close some that use MIDI, then start again",
            "outputs.pad: \"Desk\" cannot be opened, most likely because another program has it: here a port is open in \
             one program at a time. Close that program, then start again",
            "this system has no virtual ports, as [outputs.piano] and [outputs.pad] of the gear file want them. Install a \
             loopback port for each: a driver whose MIDI output leads to an input of the same name, to which the sound \
             program listens. Then write port = \"its name\" in place of virtual = true",
            "Connecting to \"Desk\" failed, the system says: no",
        ];
        assert_eq!(PortsError { faults }.to_string(), expected.join("\n"));
    }
}
