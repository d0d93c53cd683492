//! `handspan check` where there are ports: it holds the gear to them.

use std::time::Duration;

use serde_json::Value;

use crate::Said;
use crate::gadget::Keyboard;
use crate::program::run;
use crate::sequencer::{how_many, until};
use crate::sets;

type Scenario = Box<dyn FnOnce() -> Said>;

/// All of this file, with names.
pub fn scenarios() -> Vec<(String, Scenario)> {
    vec![("check/names_of_ports_are_held_to_those_that_are_there".into(), Box::new(names))]
}

/// Checks a set whose keyboard has this name: the exit code, and the titles of the errors.
fn errors(port: &str) -> Result<(Option<i32>, Vec<String>), String> {
    let (status, said) = run(&["check", &sets::simple(port)?.to_string_lossy(), "--json"])?;
    let report: Value = serde_json::from_str(&said).map_err(|error| format!("not JSON ({error}): {said}"))?;
    let findings = report["findings"].as_array().ok_or("no findings in the report")?;
    let is_error = |finding: &&Value| finding["level"] == "error";
    let titles = findings.iter().filter(is_error).filter_map(|finding| finding["title"].as_str().map(Into::into));
    Ok((status.code(), titles.collect()))
}

fn names() -> Said {
    let first = Keyboard::new(0, "Lab Stage Piano", "A1")?;
    let second = Keyboard::new(1, "Lab Stage Piano", "B2")?;
    first.plug()?;
    second.plug_blindly()?;
    until("both keyboards", Duration::from_secs(10), || how_many("Lab Stage Piano") == 2)?;
    for (port, title) in [("stage piano", "fits several ports"), ("no such", "No port has \"no such\"")] {
        match errors(port)? {
            (Some(1), titles) if titles.len() == 1 && titles[0].contains(title) => {}
            other => return Err(format!("\"{port}\": {other:?}")),
        }
    }
    second.unplug()?;
    until("one keyboard", Duration::from_secs(10), || how_many("Lab Stage Piano") == 1)?;
    match errors("stage piano")? {
        (Some(0), titles) if titles.is_empty() => Ok(String::new()),
        other => Err(format!("with the right name: {other:?}")),
    }
}
