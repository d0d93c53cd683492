//! `handspan play` with a real keyboard: what the listeners hear, and that nothing is left sounding when a cable comes
//! out or the program is told to end.

use std::time::{Duration, Instant};

use handspan::ports::CLIENT;
use rustix::process::Signal;

use crate::Said;
use crate::gadget::Keyboard;
use crate::program::{Program, run};
use crate::sequencer::{Heard, Listener, Record, calm, set_up, taken, until};
use crate::sets;
use crate::yardstick::{Beats, LONG};

type Scenario = Box<dyn FnOnce() -> Said>;

/// After so long without a message there comes none.
const QUIET: Duration = Duration::from_millis(200);
/// Notes must have ended so soon after the cable came out.
const SOON: Duration = Duration::from_millis(200);

/// All of this file, with names.
pub fn scenarios() -> Vec<(String, Scenario)> {
    let mut all: Vec<(String, Scenario)> = vec![
        ("play/chords_reach_every_listener".into(), Box::new(chords)),
        ("play/cable_out_mid_chord_leaves_nothing_sounding".into(), Box::new(cable_out)),
        ("play/a_listener_that_comes_later_gets_the_set_up".into(), Box::new(late_listener)),
        ("play/ports_shows_the_keyboard".into(), Box::new(ports_command)),
        ("play/a_missing_keyboard_is_told".into(), Box::new(missing)),
        ("play/memory_with_200_songs".into(), Box::new(memory)),
    ];
    for (name, signal) in [("SIGTERM", Signal::TERM), ("SIGINT", Signal::INT), ("SIGHUP", Signal::HUP)] {
        all.push((format!("play/{name}_leaves_nothing_sounding"), Box::new(move || signalled(Some(signal)))));
    }
    all.push(("play/q_leaves_nothing_sounding".into(), Box::new(|| signalled(None))));
    all
}

/// Everything that stands on the stage.
struct Evening {
    keyboard: Keyboard,
    program: Program,
    piano: Record,
    pad: Record,
    _listeners: Vec<Listener>,
}

fn evening() -> Result<Evening, String> {
    let keyboard = Keyboard::new(0, "Lab Stage Piano", "A1")?;
    keyboard.plug()?;
    let program = Program::play(&sets::simple("stage piano")?, &["piano", "pad"])?;
    let (piano, pad) = (Record::default(), Record::default());
    let listeners = vec![
        Listener::to(CLIENT, "piano", std::slice::from_ref(&piano))?,
        Listener::to(CLIENT, "pad", std::slice::from_ref(&pad))?,
    ];
    set_up(&piano, QUIET)?;
    set_up(&pad, QUIET)?;
    Ok(Evening { keyboard, program, piano, pad, _listeners: listeners })
}

fn bytes(heard: &[Heard]) -> Vec<Vec<u8>> {
    heard.iter().map(|heard| heard.bytes.clone()).collect()
}

/// Every note that began has ended and every pedal is up; says how many notes there were.
fn at_rest(heard: &[Heard]) -> Result<usize, String> {
    let mut sounding: Vec<(u8, u8)> = Vec::new();
    let mut pedals: Vec<(u8, u8)> = Vec::new();
    let mut notes = 0;
    for message in heard.iter().map(|heard| &heard.bytes[..]) {
        let [status, first, second] = *message else { continue };
        let key = (status & 0x0F, first);
        match status & 0xF0 {
            0x90 if second > 0 => {
                notes += 1;
                sounding.push(key);
            }
            0x80 | 0x90 => match sounding.iter().position(|known| *known == key) {
                Some(place) => drop(sounding.remove(place)),
                None => return Err(format!("{message:02X?} ends a note that was not begun")),
            },
            0xB0 if (64..=69).contains(&first) => {
                pedals.retain(|known| *known != key);
                if second > 0 {
                    pedals.push(key);
                }
            }
            _ => {}
        }
    }
    if sounding.is_empty() && pedals.is_empty() {
        Ok(notes)
    } else {
        Err(format!("still sounding (channel, note): {sounding:?}, pedals down: {pedals:?}"))
    }
}

const CHORD: [u8; 9] = [0x90, 60, 100, 0x90, 64, 90, 0x90, 67, 80];
const CHORD_UP: [u8; 9] = [0x80, 60, 64, 0x80, 64, 64, 0x80, 67, 64];

fn chords() -> Said {
    let evening = evening()?;
    evening.keyboard.play(&CHORD)?;
    evening.keyboard.play(&CHORD_UP)?;
    calm(&evening.piano, QUIET);
    let expected: Vec<Vec<u8>> = CHORD.chunks(3).chain(CHORD_UP.chunks(3)).map(<[u8]>::to_vec).collect();
    for (name, record) in [("piano", &evening.piano), ("pad", &evening.pad)] {
        let heard = bytes(&taken(record));
        if heard != expected {
            return Err(format!("{name} heard {heard:02X?}"));
        }
    }
    Ok(String::new())
}

fn signalled(signal: Option<Signal>) -> Said {
    let Evening { keyboard, mut program, piano, pad, _listeners } = evening()?;
    keyboard.play(&CHORD)?;
    keyboard.play(&[0xB0, 64, 127])?;
    calm(&piano, QUIET);
    match signal {
        Some(signal) => program.signal(signal)?,
        None => program.type_keys("q")?,
    }
    let (status, said) = program.end()?;
    calm(&piano, QUIET);
    let notes = [at_rest(&taken(&piano))?, at_rest(&taken(&pad))?];
    if notes != [3, 3] {
        return Err(format!("{notes:?} notes were heard"));
    }
    if !status.success() {
        return Err(format!("it ended with {status}; it said: {said}"));
    }
    Ok(String::new())
}

fn cable_out() -> Said {
    let mut evening = evening()?;
    let mut slowest = Duration::ZERO;
    for round in 0..3 {
        evening.keyboard.play(&CHORD)?;
        evening.keyboard.play(&[0xB0, 64, 127])?;
        calm(&evening.piano, QUIET);
        let count = |record: &Record| record.lock().map_or(0, |heard| heard.len());
        let (out, before) = (Instant::now(), [count(&evening.piano), count(&evening.pad)]);
        evening.keyboard.unplug()?;
        // Three notes and a pedal.
        let all_ended = || count(&evening.piano) >= before[0] + 4 && count(&evening.pad) >= before[1] + 4;
        if Beats::within(SOON).until(all_ended).is_none() {
            return Err(format!("round {round}: not all had ended within {:?} of the yardstick", Beats::within(SOON)));
        }
        calm(&evening.piano, QUIET);
        for (name, record) in [("piano", &evening.piano), ("pad", &evening.pad)] {
            let heard = taken(record);
            match at_rest(&heard) {
                Ok(3) => {}
                other => return Err(format!("round {round}, {name}: {other:?}")),
            }
            let last = heard.last().map_or(Duration::ZERO, |heard| heard.at.saturating_duration_since(out));
            slowest = slowest.max(last);
        }
        evening.keyboard.plug_blindly()?;
        // It is taken up when the sequencer has it; until then what is played waits in the keyboard.
        until("the keyboard heard again", LONG, || {
            let played = evening.keyboard.play(&[0x90, 72, 1, 0x80, 72, 64]);
            calm(&evening.piano, Duration::from_millis(50));
            played.is_ok() && bytes(&taken(&evening.piano)).contains(&vec![0x90, 72, 1])
        })?;
        calm(&evening.piano, QUIET);
        taken(&evening.piano);
        taken(&evening.pad);
    }
    if !evening.program.runs() {
        return Err(format!("it ended; it said: {}", evening.program.said()));
    }
    Ok(format!("all ended {} ms after the cable came out", slowest.as_millis()))
}

fn late_listener() -> Said {
    let evening = evening()?;
    let record = Record::default();
    let _listener = Listener::to(CLIENT, "piano", std::slice::from_ref(&record))?;
    until("the set-up", LONG, || record.lock().is_ok_and(|heard| heard.len() >= 5))?;
    let heard = bytes(&taken(&record));
    let expected: [&[u8]; 5] = [&[0xB0, 0, 0], &[0xB0, 32, 0], &[0xC0, 0], &[0xB0, 7, 100], &[0xB0, 10, 64]];
    if heard.get(..5).is_none_or(|begin| begin != expected) {
        return Err(format!("it heard {heard:02X?}"));
    }
    drop(evening);
    Ok(String::new())
}

fn ports_command() -> Said {
    let keyboard = Keyboard::new(0, "Lab Stage Piano", "A1")?;
    keyboard.plug()?;
    let (status, said) = run(&["ports"])?;
    if !status.success() || !["Lab Stage Piano", "A1"].iter().all(|part| said.contains(part)) {
        return Err(format!("{status}: {said}"));
    }
    Ok(String::new())
}

fn missing() -> Said {
    let set = sets::simple("no such keyboard")?;
    let (status, said) = run(&["play", &set.to_string_lossy()])?;
    if status.success() || !["keyboard", "no such keyboard"].iter().all(|part| said.contains(part)) {
        return Err(format!("{status}: {said}"));
    }
    Ok(String::new())
}

fn memory() -> Said {
    const MOST: u64 = 20 * 1024;
    let keyboard = Keyboard::new(0, "Lab Stage Piano", "A1")?;
    keyboard.plug()?;
    let program = Program::play(&sets::long("stage piano", 200)?, &["piano"])?;
    keyboard.play(&CHORD)?;
    keyboard.play(&CHORD_UP)?;
    std::thread::sleep(QUIET);
    let memory = program.memory()?;
    if memory >= MOST {
        return Err(format!("{memory} KiB, at most {MOST} are allowed"));
    }
    Ok(format!("{memory} KiB"))
}
