//! `handspan ports`: the inputs and outputs that the system has now.

use super::console::{Failure, tell};
use crate::map::clean;
use crate::ports::{self, Backend, Direction, FoundPort};

pub(super) fn run(backend: Backend) -> Result<(), Failure> {
    let listed = ports::list(backend).map_err(|error| Failure::Wrong(error.to_string()))?;
    lines(&listed).iter().for_each(|line| tell(line));
    tell("\nWrite part of a name as `port` in the gear file; the numbers may be others tomorrow.");
    Ok(())
}

/// A line for each port, below its heading. A device may give itself any name.
pub(super) fn lines(listed: &[FoundPort]) -> Vec<String> {
    let mut lines = Vec::new();
    for (heading, direction) in [("Inputs", Direction::Input), ("Outputs", Direction::Output)] {
        lines.push(heading.to_owned());
        let here: Vec<_> = listed.iter().filter(|port| port.direction == direction).collect();
        if here.is_empty() {
            lines.push("  none".to_owned());
        }
        let width = here.iter().map(|port| port.name().chars().count()).max().unwrap_or(0);
        for port in here {
            let serial = port.serial.as_ref().map_or_else(String::new, |serial| format!("  serial \"{serial}\""));
            let ours = if port.ours { "  another handspan" } else { "" };
            let line = format!("  {:width$}  {}{serial}{ours}", port.name(), port.address);
            lines.push(clean(line.trim_end()));
        }
    }
    lines
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_port_is_one_line_whatever_it_calls_itself() {
        let evil = |text: &str| format!("{text}\u{1b}[2J\nInputs\u{202e}\u{9b}\u{85}\u{2029}");
        let port = FoundPort {
            client: evil("piano"),
            port: evil("keys"),
            address: "20:0".into(),
            direction: Direction::Input,
            serial: Some(evil("A1")),
            socket: None,
            ours: false,
        };
        let lines = lines(&[port]);
        assert_eq!(lines.len(), 4, "{lines:?}");
        assert!(lines.iter().all(|line| *line == clean(line)), "{lines:?}");
        assert!(["piano", "keys", "A1", "20:0"].iter().all(|part| lines[1].contains(part)), "{lines:?}");
    }
}
