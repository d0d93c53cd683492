//! A tablet in the network: a browser on the machine that runs the lab opens the page of the real program, while the hand
//! plays on the real keyboard and its cable comes out. What the browser does stands in `tests/page/lab.mjs`; both sides
//! go on as soon as they see what the other did.

use std::fs;
use std::time::Duration;

use handspan::ports::CLIENT;
use rustix::process::Signal;

use crate::Said;
use crate::gadget::Keyboard;
use crate::program::{Program, run};
use crate::sequencer::{Listener, Record, taken, until};
use crate::sets;

type Scenario = Box<dyn FnOnce() -> Said>;

/// A browser under a busy host takes its time, and so does emulation.
const PATIENCE: Duration = Duration::from_secs(120);

/// All of this file, with names; the browser reaches the page at this port.
pub fn scenarios(port: u16) -> Vec<(String, Scenario)> {
    vec![("tablet/a_browser_plays_moves_and_sees_the_cable_come_out".into(), Box::new(move || browser(port)))]
}

/// Waits until a note of this number begins at the piano.
fn heard(piano: &Record, note: u8) -> Result<(), String> {
    let began = || taken(piano).iter().any(|heard| heard.begins(note));
    until(&format!("note {note} from the page"), PATIENCE, began)
}

/// Waits until a note of this number has ended at the piano.
fn ended(piano: &Record, note: u8) -> Result<(), String> {
    until(&format!("the end of note {note}"), PATIENCE, || taken(piano).iter().any(|heard| heard.ends(note)))
}

fn browser(port: u16) -> Said {
    let keyboard = Keyboard::new(0, "Lab Stage Piano", "A1")?;
    keyboard.plug()?;
    let set = sets::concert("stage piano", None)?;
    let gear = set.with_file_name("gear.toml");
    let text = fs::read_to_string(&gear).map_err(|error| error.to_string())?;
    // This machine as the browser reaches it; the guest's address is given by `init`.
    let stand = format!("\n[stand]\nlisten = \"10.0.2.15:{port}\"\npasscode = \"thaw at the old weir\"\n");
    fs::write(&gear, text + &stand).map_err(|error| error.to_string())?;
    let program = Program::play(&set, &["piano", "pad", "desk"])?;
    let piano = Record::default();
    let _listener = Listener::to(CLIENT, "piano", std::slice::from_ref(&piano))?;
    // The browser presses middle C; E flat is heard. The hand answers with a chord, which the browser must see.
    heard(&piano, 63)?;
    keyboard.play(&[0x90, 64, 100, 0x90, 67, 100, 0x90, 71, 100])?;
    // It sees the chord and asks for the next section.
    let status = || run(&["status", "--json"]).map(|(_, said)| said).unwrap_or_default();
    until("the section that the page asks for", PATIENCE, || status().contains("\"name\": \"Chorus\""))?;
    keyboard.unplug()?;
    // It sees that the keyboard is not connected, and plays by itself.
    heard(&piano, 65)?;
    keyboard.plug()?;
    // It lets the last key go only when it has seen it drawn: until then the program must not end.
    heard(&piano, 67)?;
    ended(&piano, 67)?;
    program.signal(Signal::TERM)?;
    let (_, said) = program.end()?;
    if !said.contains("keyboard is not connected") || !said.contains("keyboard is connected again") {
        return Err(format!("it said: {said}"));
    }
    Ok("played, moved, cable out and in: all seen from both sides".into())
}
