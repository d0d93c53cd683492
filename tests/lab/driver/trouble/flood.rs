//! All keys and all controllers at once, for long.
//!
//! The lab's bus hands over half a million messages a second, more than an emulated processor can even read. So the long
//! flood has the pace of a keyboard at full-speed USB that fills a packet of 64 bytes in every frame of a millisecond,
//! and a short one has no limit: then the system throws away what it likes, and nothing must hang all the same.

use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex};
use std::thread;
use std::time::{Duration, Instant};

use handspan::ports::CLIENT;

use super::{Scenario, Tally, heard_note};
use crate::Said;
use crate::gadget::{Hands, Keyboard};
use crate::program::Program;
use crate::sequencer::{Listener, Record, calm, join, set_up, taken};
use crate::sets;
use crate::yardstick::Beats;

const LASTS: Duration = Duration::from_secs(60);
/// Memory is measured from here on: by then every list has had its longest.
const WARM: Duration = Duration::from_secs(30);
/// Memory that may be in use more at the end, in KiB: once, a heap of some 230 comes to it, whenever that is. What is lost
/// for each message would be several thousand.
const GROWTH: u64 = 512;
/// How long it goes on without a limit, and the memory that all queues together may take then.
const NO_LIMIT: Duration = Duration::from_secs(5);
const GROWTH_AT_WORST: u64 = 1024;
/// What is on its way has arrived after so long without a message.
const SETTLED: Duration = Duration::from_millis(500);
/// The other keyboard's notes must be heard so soon, in emulation.
const SERVED: Duration = Duration::from_secs(1);

/// All of this file, with names.
pub fn scenarios() -> Vec<(String, Scenario)> {
    vec![("trouble/a_flood_of_60_s".into(), Box::new(flood))]
}

/// All there is to play.
fn everything() -> Vec<u8> {
    let mut all = Vec::new();
    for key in 21..=108 {
        all.extend([0x90, key, 100, 0xB0, (key - 21) % 120, key, 0xE0, key, 64, 0xD0, key]);
    }
    all.extend([0xB0, 64, 127, 0xB0, 64, 0]);
    for key in 21..=108 {
        all.extend([0x80, key, 64, 0xB0, key % 120, 0]);
    }
    all
}
/// Messages of it, and those of a packet.
const EVERYTHING: u64 = 88 * 6 + 2;
const PACKET: u64 = 16;

/// Plays everything until it is told to stop; how many messages.
fn pour(hands: &mut Hands, stop: &AtomicBool, paced: bool) -> u64 {
    let all = everything();
    let (since, mut count) = (Instant::now(), 0);
    while !stop.load(Ordering::SeqCst) && hands.play_all(&all) {
        count += EVERYTHING;
        if paced {
            let due = since + Duration::from_millis(count / PACKET);
            thread::sleep(due.saturating_duration_since(Instant::now()));
        }
    }
    hands.play_all(&[0xB0, 64, 0, 0xB0, 65, 0, 0xB0, 66, 0, 0xB0, 67, 0, 0xB0, 68, 0, 0xB0, 69, 0]);
    count
}

/// Waits until all has arrived that will.
fn settled(tally: &Mutex<Tally>) -> Result<Tally, String> {
    let now = || tally.lock().map(|tally| tally.clone()).map_err(|_| "the listener ended badly");
    let mut known = now()?;
    loop {
        Beats::within(SETTLED).pass();
        let new = now()?;
        if new.messages == known.messages {
            return Ok(new);
        }
        known = new;
    }
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
    set_up(&record, Duration::from_millis(200))?;
    let (mut hands, mut steady) = (flooding.hands()?, other.hands()?);
    let stop = AtomicBool::new(false);
    let (poured, asked) = thread::scope(|scope| {
        let pouring = scope.spawn(|| pour(&mut hands, &stop, true));
        let asked = ask(&program, &mut steady, &record, LASTS);
        stop.store(true, Ordering::SeqCst);
        (pouring.join(), asked)
    });
    let poured = poured.map_err(|_| "the flood ended badly")?;
    let (asked, slowest, before, after) = asked.map_err(|error| format!("{poured} messages poured: {error}"))?;
    let paced = settled(&tally)?;
    paced.at_rest()?;
    if after > before + GROWTH {
        return Err(format!("memory grew from {before} to {after} KiB"));
    }
    let lost = || program.said().matches("lost messages").count();
    let lost_at_pace = lost();

    let stop = AtomicBool::new(false);
    let unpaced = thread::scope(|scope| {
        let pouring = scope.spawn(|| pour(&mut hands, &stop, false));
        thread::sleep(NO_LIMIT);
        stop.store(true, Ordering::SeqCst);
        pouring.join()
    });
    let unpaced = unpaced.map_err(|_| "the flood ended badly")?;
    settled(&tally)?.at_rest().map_err(|error| format!("without a limit: {error}"))?;
    calm(&record, Duration::from_millis(200));
    taken(&record);
    let (again, _, _, last) = ask(&program, &mut steady, &record, Duration::from_secs(1))?;
    if again == 0 || last > after + GROWTH_AT_WORST {
        return Err(format!("after the flood without a limit: {again} notes, {last} KiB"));
    }
    Ok(format!(
        "{poured} messages in {} s, {} heard, {} notes on and {} off, {lost_at_pace} overruns; memory {before} to {after} \
         KiB; {asked} notes of the other keyboard all heard, at most {} ms late; then {unpaced} messages without a limit, \
         {} overruns, nothing hangs, {last} KiB",
        LASTS.as_secs(),
        paced.messages,
        paced.on,
        paced.off,
        slowest.as_millis(),
        lost() - lost_at_pace
    ))
}

/// Plays single notes on the other keyboard meanwhile: how many, the slowest, the memory at first and last.
fn ask(
    program: &Program,
    steady: &mut Hands,
    record: &Record,
    lasts: Duration,
) -> Result<(u64, Duration, u64, u64), String> {
    let since = Instant::now();
    let (mut asked, mut slowest, mut before, mut last) = (0_u64, Duration::ZERO, None, 0);
    let mut tally = Tally::default();
    while since.elapsed() < lasts {
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
