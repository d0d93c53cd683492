//! Ports that are not there, or that could be one of several. Which ports a name fits is decided elsewhere, by the
//! ports themselves: this module is handed what came of it.

use super::stage::is_one_port;
use super::words::{joined, quoted};
use crate::map::{At, Book, Diagnostic, FaultKind, Input};

/// A port that the system has now.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct SeenPort {
    /// Its name, as a gear file may write it.
    pub name: String,
    /// Where it sits now; may be empty.
    pub address: String,
    /// Serial number of its device, where known.
    pub serial: Option<String>,
}

/// What an input or an output of the gear finds among the system's ports.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum PortMatch {
    /// It looks for none: a virtual output.
    Own,
    /// It is a virtual output, and this system has none.
    NoVirtualPorts,
    /// The one that it means.
    One(SeenPort),
    /// None; those that are there.
    Missing(Vec<SeenPort>),
    /// Several that fit equally well.
    Several(Vec<SeenPort>),
}

/// What all inputs and outputs find, each in the gear's order.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct PortMatches {
    /// One for each input.
    pub inputs: Vec<PortMatch>,
    /// One for each output.
    pub outputs: Vec<PortMatch>,
}

/// What to do where there are no virtual ports.
const LOOPBACK: &str = "install a loopback port (a driver whose MIDI output leads to an input of the same name, to which \
     the sound program listens), and write port = \"its name\" in place of virtual = true";

/// What is wrong with the ports that are there now.
///
/// Error: a port that is missing, unless it is optional. Error: a virtual output where the system has none. Error: a name that fits several ports equally well.
/// Error: two playing inputs that find one port and hear the same channel, as each key then plays twice.
#[must_use]
pub fn port_findings(book: &Book, matches: &PortMatches) -> Vec<Diagnostic> {
    let mut found = Vec::new();
    let inputs: Vec<(&Input, &PortMatch)> = book.gear.inputs.iter().zip(&matches.inputs).collect();
    for (input, matched) in &inputs {
        found.extend(clear(&input.port, input.serial.as_deref(), input.optional, matched));
    }
    for (output, matched) in book.gear.outputs.iter().zip(&matches.outputs) {
        found.extend(output.port.as_ref().and_then(|port| clear(port, None, output.optional, matched)));
        if *matched == PortMatch::NoVirtualPorts {
            let title =
                format!("the output {} cannot be opened: this system has no virtual ports", quoted(&output.name.value));
            found.push(Diagnostic::error(FaultKind::Finding, output.name.spot, title).help(LOOPBACK));
        }
    }
    for (index, (second, there)) in inputs.iter().enumerate() {
        let same = |(first, here): &&(&Input, &PortMatch)| {
            let overlap = first.channel.is_none() || second.channel.is_none() || first.channel == second.channel;
            matches!(there, PortMatch::One(_))
                && here == there
                && first.play
                && second.play
                && overlap
                && !is_one_port(first, second)
        };
        if let Some((first, _)) = inputs[..index].iter().find(same) {
            let (one, other) = (quoted(&first.name.value), quoted(&second.name.value));
            let title = format!("the inputs {one} and {other} mean one port, so each of its keys plays twice");
            let fault = Diagnostic::error(FaultKind::Finding, second.port.spot, title).label("the same port");
            let help = "write a longer part of each port's name, the serial of each, or the channel that each receives";
            found.push(fault.also(first.port.spot, "the same port").help(help));
        }
    }
    found.sort_by_key(|finding| finding.spot.map(|spot| (spot.file, spot.start)));
    found
}

fn clear(port: &At<String>, serial: Option<&str>, optional: bool, matched: &PortMatch) -> Option<Diagnostic> {
    let wanted = quoted(&port.value);
    let fault = |title: String| Diagnostic::error(FaultKind::Finding, port.spot, title);
    match matched {
        PortMatch::Missing(there) if !optional => {
            let with = serial.map_or_else(String::new, |serial| format!(" and the serial number {}", quoted(serial)));
            let help = match there.as_slice() {
                [] => "plug it in or switch it on, or write optional = true; no other port is there".to_owned(),
                there => format!(
                    "plug it in or switch it on, write part of a name that is there, or write optional = true; there {} {}",
                    if there.len() == 1 { "is" } else { "are" },
                    listed(there)
                ),
            };
            Some(fault(format!("no port has {wanted} in its name{with}")).help(help))
        }
        PortMatch::Several(ties) => {
            let serials: Vec<&str> = ties.iter().filter_map(|tie| tie.serial.as_deref()).collect();
            let help = match serials.first() {
                Some(first) if serials.len() == ties.len() => {
                    format!("write the serial of the one you mean, for example serial = {}", quoted(first))
                }
                _ => "write a longer part of the name of the one you mean".to_owned(),
            };
            Some(fault(format!("{wanted} fits several ports: {}", listed(ties))).help(help))
        }
        _ => None,
    }
}

fn listed(ports: &[SeenPort]) -> String {
    let one = |port: &SeenPort| {
        let details = match (&port.serial, port.address.as_str()) {
            (Some(serial), _) => format!(" (serial {})", quoted(serial)),
            (None, "") => String::new(),
            (None, address) => format!(" (at {address})"),
        };
        format!("{}{details}", quoted(&port.name))
    };
    joined(&ports.iter().map(one).collect::<Vec<_>>())
}
