//! The program itself is killed, and a supervisor starts it again.

use std::fs;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread;
use std::time::{Duration, Instant};

use handspan::ports::CLIENT;
use rustix::process::Signal;

use super::{Dense, Dice, Scenario, Tally, seed};
use crate::Said;
use crate::gadget::{Hands, Keyboard};
use crate::program::{NEXT_SECTION, NEXT_SONG, PREVIOUS_SECTION, PREVIOUS_SONG, Program};
use crate::sequencer::{Listener, Record, calm, join, set_up, taken};
use crate::sets;
use crate::yardstick::Beats;

const KILLS: usize = 50;
/// So long after its ports are there again all must have ended.
const SILENT: Duration = Duration::from_secs(1);
const QUIET: Duration = Duration::from_millis(60);
const OUTPUTS: [&str; 3] = ["piano", "pad", "desk"];

/// All of this file, with names.
pub fn scenarios() -> Vec<(String, Scenario)> {
    vec![("trouble/killed_50_times_under_load".into(), Box::new(killed))]
}

struct Instrument {
    record: Record,
    tally: Tally,
    _listener: Listener,
}

/// What three keys say at all outputs, once it is calm; that tells song, section and key.
fn places(hands: &mut Hands, instruments: &mut [Instrument]) -> Vec<Vec<u8>> {
    for key in [40, 60, 76] {
        hands.play_all(&[0x90, key, 70]);
        thread::sleep(Duration::from_millis(5));
        hands.play_all(&[0x80, key, 64]);
        // Apart from what follows, which may be one handful otherwise.
        thread::sleep(Duration::from_millis(60));
    }
    let mut said = Vec::new();
    for instrument in instruments {
        calm(&instrument.record, QUIET);
        let heard = taken(&instrument.record);
        instrument.tally.hear_all(&heard);
        said.extend(heard.into_iter().map(|heard| heard.bytes).filter(|message| message[0] & 0xF0 == 0x90));
    }
    said
}

fn killed() -> Said {
    let keyboard = Keyboard::new(0, "Lab Stage Piano", "A1")?;
    keyboard.plug()?;
    let set = sets::concert("stage piano", None)?;
    let state = std::env::temp_dir().join("kept");
    let _ = fs::remove_dir_all(&state);
    let mut program = Program::play_on(&set, &OUTPUTS, &state)?;
    let mut instruments = Vec::new();
    for output in OUTPUTS {
        let (record, name) = (Record::default(), format!("Lab Synth {output}"));
        let listener = Listener::instrument(&name, "in", std::slice::from_ref(&record))?;
        join((CLIENT, output), (&name, "in"))?;
        instruments.push(Instrument { record, tally: Tally::default(), _listener: listener });
    }
    set_up(&instruments[0].record, QUIET)?;
    let mut hands = keyboard.hands()?;
    let (mut dice, mut slowest, mut notes) = (Dice::new(), Duration::ZERO, 0);
    for kill in 0..KILLS {
        let told = |error: String| format!("kill {kill}, seed {}: {error}", seed());
        let actions = [NEXT_SONG, PREVIOUS_SONG, NEXT_SECTION, PREVIOUS_SECTION, "+", "-", "0"];
        program.type_keys(actions[usize::from(dice.byte(7))])?;
        calm(&instruments[0].record, 2 * QUIET);
        let before = places(&mut hands, &mut instruments);
        if before.is_empty() {
            return Err(told("nothing is heard".into()));
        }
        let end = dice.milliseconds(30, 150);
        let stop = Arc::new(AtomicBool::new(false));
        let mut dense = Dense::new();
        dense.dice.0 ^= u64::try_from(kill).unwrap_or(0) << 20;
        thread::scope(|scope| {
            let playing = scope.spawn(|| dense.play(&mut hands, || stop.load(Ordering::SeqCst)));
            thread::sleep(end);
            let killed = program.signal(Signal::KILL);
            stop.store(true, Ordering::SeqCst);
            notes += playing.join().unwrap_or(0);
            killed
        })?;
        program.end().map_err(told)?;
        // What is let go of while nobody listens.
        hands.play(&dense.let_go());
        let since = Instant::now();
        program = Program::play_on(&set, &OUTPUTS, &state).map_err(told)?;
        let mut rest = Vec::new();
        let is_silent = || {
            for instrument in &mut instruments {
                instrument.tally.hear_all(&taken(&instrument.record));
            }
            rest = instruments.iter().filter_map(|instrument| instrument.tally.at_rest().err()).collect();
            rest.is_empty()
        };
        if Beats::within(SILENT).until(is_silent).is_none() {
            return Err(told(format!("{:?} after the restart: {}", Beats::within(SILENT), rest.join("; "))));
        }
        slowest = slowest.max(since.elapsed());
        for instrument in &mut instruments {
            calm(&instrument.record, QUIET);
            instrument.tally.hear_all(&taken(&instrument.record));
        }
        let after = places(&mut hands, &mut instruments);
        if after != before {
            return Err(told(format!("three keys said {before:02X?} before, {after:02X?} after the restart")));
        }
    }
    Ok(format!(
        "{KILLS} times, {notes} messages played, silent at most {} ms after the restart began; seed {}",
        slowest.as_millis(),
        seed()
    ))
}
