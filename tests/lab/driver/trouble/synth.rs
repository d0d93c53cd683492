//! An instrument that dies and comes back.

use std::time::{Duration, Instant};

use handspan::ports::CLIENT;

use super::{Scenario, Tally};
use crate::Said;
use crate::gadget::Keyboard;
use crate::program::Program;
use crate::sequencer::{Listener, Record, calm, join, taken};
use crate::sets;

const ROUNDS: usize = 10;
/// It must be set up so soon: other programs get 300 ms to connect it first.
const SET_UP: Duration = Duration::from_secs(3);
const QUIET: Duration = Duration::from_millis(100);

/// All of this file, with names.
pub fn scenarios() -> Vec<(String, Scenario)> {
    vec![("trouble/a_synth_that_was_restarted_is_connected_and_set_up".into(), Box::new(restarted))]
}

fn restarted() -> Said {
    let keyboard = Keyboard::new(0, "Lab Stage Piano", "A1")?;
    keyboard.plug()?;
    let _program = Program::play(&sets::simple("stage piano")?, &["piano", "pad"])?;
    let other = Record::default();
    let _other = Listener::to(CLIENT, "pad", std::slice::from_ref(&other))?;
    let start = || {
        let record = Record::default();
        let synth = Listener::instrument("Lab Synth", "in", std::slice::from_ref(&record))?;
        Ok::<_, String>((synth, record))
    };
    let (mut synth, mut record) = start()?;
    join((CLIENT, "piano"), ("Lab Synth", "in"))?;
    let mut slowest = Duration::ZERO;
    for round in 0..ROUNDS {
        calm(&record, QUIET);
        keyboard.play(&[0x90, 48, 100])?;
        calm(&record, QUIET);
        drop(synth);
        let since = Instant::now();
        (synth, record) = start()?;
        let program = || record.lock().is_ok_and(|heard| heard.iter().any(|heard| heard.bytes == [0xC0, 0]));
        crate::sequencer::until("its program", SET_UP, program).map_err(|error| format!("round {round}: {error}"))?;
        slowest = slowest.max(since.elapsed());
        keyboard.play(&[0x80, 48, 64, 0x90, 50, 100, 0x80, 50, 64])?;
        calm(&record, QUIET);
        let mut tally = Tally::default();
        tally.hear_all(&taken(&record));
        tally.at_rest()?;
        if tally.on != 1 {
            return Err(format!("round {round}: {} notes of 1 heard after it came back", tally.on));
        }
    }
    let mut tally = Tally::default();
    tally.hear_all(&taken(&other));
    tally.at_rest()?;
    if tally.on != 2 * ROUNDS as u64 {
        return Err(format!("the other listener heard {} of {} notes", tally.on, 2 * ROUNDS));
    }
    drop(synth);
    Ok(format!("{ROUNDS} times, set up again after at most {} ms", slowest.as_millis()))
}
