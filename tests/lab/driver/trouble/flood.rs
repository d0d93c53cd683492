//! All keys and all controllers, as fast as the bus allows.

use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex};
use std::thread;
use std::time::{Duration, Instant};

use handspan::ports::CLIENT;

use super::{Scenario, Tally, heard_note};
use crate::Said;
use crate::gadget::{Hands, Keyboard};
use crate::program::Program;
use crate::sequencer::{Listener, Record, calm, join, taken};
use crate::sets;

const LASTS: Duration = Duration::from_secs(60);
/// Memory is measured from here on: by then every list has had its longest.
const WARM: Duration = Duration::from_secs(10);
/// Memory that may be in use more at the end, in KiB.
const GROWTH: u64 = 256;
/// The other keyboard's notes must be heard so soon, in emulation.
const SERVED: Duration = Duration::from_secs(1);

/// All of this file, with names.
pub fn scenarios() -> Vec<(String, Scenario)> {
    vec![("trouble/a_flood_of_60_s".into(), Box::new(flood))]
}

/// Plays everything until it is told to stop; how many messages.
fn pour(hands: &mut Hands, stop: &AtomicBool) -> u64 {
    let mut count = 0;
    while !stop.load(Ordering::SeqCst) {
        let mut all = Vec::new();
        for key in 21..=108 {
            all.extend([0x90, key, 100, 0xB0, (key - 21) % 120, key, 0xE0, key, 64, 0xD0, key]);
        }
        all.extend([0xB0, 64, 127, 0xB0, 64, 0]);
        for key in 21..=108 {
            all.extend([0x80, key, 64, 0xB0, key % 120, 0]);
        }
        count += 88 * 6 + 2;
        if !hands.play_all(&all) {
            break;
        }
    }
    hands.play_all(&[0xB0, 64, 0, 0xB0, 65, 0, 0xB0, 66, 0, 0xB0, 67, 0, 0xB0, 68, 0, 0xB0, 69, 0]);
    count
}

fn flood() -> Said {
    let flooding = Keyboard::new(0, "Lab Stage Piano", "A1")?;
    let other = Keyboard::new(1, "Lab Small Keyboard", "B2")?;
    flooding.plug()?;
    other.plug()?;
    let program = Program::play(&sets::two_named("stage piano", "small keyboard")?, &["piano", "pad"])?;
    let tally = Arc::new(Mutex::new(Tally::default()));
    let heard = Arc::clone(&tally);
    let hear = move |bytes: &[u8]| {
        if let Ok(mut tally) = heard.lock() {
            tally.hear(bytes);
        }
    };
    let _synth = Listener::with("Lab Synth", "in", hear)?;
    join((CLIENT, "piano"), ("Lab Synth", "in"))?;
    let record = Record::default();
    let _listener = Listener::to(CLIENT, "pad", std::slice::from_ref(&record))?;
    calm(&record, Duration::from_millis(200));
    taken(&record);
    let (mut hands, mut steady) = (flooding.hands()?, other.hands()?);
    let stop = AtomicBool::new(false);
    let since = Instant::now();
    let (poured, asked) = thread::scope(|scope| {
        let pouring = scope.spawn(|| pour(&mut hands, &stop));
        let asked = ask(&program, &mut steady, &record, since);
        stop.store(true, Ordering::SeqCst);
        (pouring.join(), asked)
    });
    let poured = poured.map_err(|_| "the flood ended badly")?;
    let (asked, slowest, before, after) = asked?;
    // Until all has arrived.
    let messages = || tally.lock().map_or(0, |tally| tally.messages);
    let mut known = messages();
    loop {
        thread::sleep(Duration::from_millis(300));
        match messages() {
            now if now == known => break,
            now => known = now,
        }
    }
    let tally = tally.lock().map_err(|_| "the listener ended badly")?.clone();
    tally.at_rest()?;
    if after > before + GROWTH {
        return Err(format!("memory grew from {before} to {after} KiB"));
    }
    Ok(format!(
        "{poured} messages poured, {} heard, {} notes on, {} off; memory {before} to {after} KiB; {asked} notes of the \
         other keyboard heard, at most {} ms late",
        tally.messages,
        tally.on,
        tally.off,
        slowest.as_millis()
    ))
}

/// Plays single notes on the other keyboard meanwhile: how many, the slowest, the memory at first and last.
fn ask(
    program: &Program,
    steady: &mut Hands,
    record: &Record,
    since: Instant,
) -> Result<(u64, Duration, u64, u64), String> {
    let (mut asked, mut slowest, mut before, mut last) = (0_u64, Duration::ZERO, None, 0);
    let mut tally = Tally::default();
    while since.elapsed() < LASTS {
        let key = 40 + u8::try_from(asked % 40).unwrap_or(0);
        let played = Instant::now();
        steady.play_all(&[0x90, key, 80]);
        let at = heard_note(record, &mut tally, key, SERVED)
            .ok_or_else(|| format!("note {asked} of the other keyboard was not heard within {SERVED:?}"))?;
        slowest = slowest.max(at.saturating_duration_since(played));
        steady.play_all(&[0x80, key, 64]);
        asked += 1;
        thread::sleep(Duration::from_millis(30));
        last = program.memory()?;
        if since.elapsed() > WARM {
            before = before.or(Some(last));
        }
    }
    calm(record, Duration::from_millis(200));
    tally.hear_all(&taken(record));
    tally.at_rest()?;
    Ok((asked, slowest, before.unwrap_or(0), last))
}
