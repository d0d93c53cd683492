//! `handspan ports`: the inputs and outputs that the system has now.

use super::console::{Failure, tell};
use crate::ports::{self, Backend, Direction};

pub(super) fn run(backend: Backend) -> Result<(), Failure> {
    let listed = ports::list(backend).map_err(|error| Failure::Wrong(error.to_string()))?;
    for (heading, direction) in [("Inputs", Direction::Input), ("Outputs", Direction::Output)] {
        tell(heading);
        let here: Vec<_> = listed.iter().filter(|port| port.direction == direction).collect();
        if here.is_empty() {
            tell("  none");
        }
        let width = here.iter().map(|port| port.name().chars().count()).max().unwrap_or(0);
        for port in here {
            let serial = port.serial.as_ref().map_or_else(String::new, |serial| format!("  serial \"{serial}\""));
            let ours = if port.ours { "  another handspan" } else { "" };
            let line = format!("  {:width$}  {}{serial}{ours}", port.name(), port.address);
            tell(line.trim_end());
        }
    }
    tell("\nWrite part of a name as `port` in the gear file; the numbers may be others tomorrow.");
    Ok(())
}
