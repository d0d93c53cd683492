//! Cables that come out while somebody plays.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::thread;
use std::time::{Duration, Instant};

use handspan::ports::CLIENT;

use super::{Dense, Dice, Scenario, Tally, heard_note, seed};
use crate::Said;
use crate::gadget::{Hands, Keyboard};
use crate::program::Program;
use crate::sequencer::{Announcements, Listener, Record, calm, how_many, taken, until};
use crate::sets;

const CYCLES: usize = 100;
/// Notes must have ended so soon after the cable came out.
const SILENT: Duration = Duration::from_millis(200);
/// Playing must work again so soon after the port was announced.
const WORKS: Duration = Duration::from_millis(100);
/// How long the kernel may take to find a keyboard; 0.4 s is usual.
const FOUND: Duration = Duration::from_secs(10);
/// A key that nobody plays but who asks whether playing works, and one that is played before the keyboard is back.
const ASKING: u8 = 100;
const TOO_SOON: u8 = 30;

/// All of this file, with names.
pub fn scenarios() -> Vec<(String, Scenario)> {
    vec![
        ("trouble/cable_out_and_in_100_times_while_playing".into(), Box::new(one)),
        ("trouble/one_of_two_equal_keyboards_out_100_times_its_number_taken".into(), Box::new(equal)),
        ("trouble/equal_keyboards_without_serial_and_another_socket".into(), Box::new(sockets)),
    ]
}

/// The outputs, as instruments hear them.
struct Ears {
    records: Vec<(&'static str, Record)>,
    _listeners: Vec<Listener>,
}

impl Ears {
    fn new(outputs: &[&'static str]) -> Result<Self, String> {
        let mut ears = Ears { records: Vec::new(), _listeners: Vec::new() };
        for output in outputs {
            let record = Record::default();
            ears._listeners.push(Listener::to(CLIENT, output, std::slice::from_ref(&record))?);
            ears.records.push((output, record));
        }
        calm(&ears.records[0].1, SILENT);
        ears.records.iter().for_each(|(_, record)| drop(taken(record)));
        Ok(ears)
    }

    /// Nothing sounds and no pedal is down: how many notes there were, and when the last message came after `since`.
    fn at_rest(&self, outputs: &[&str], since: Instant) -> Result<(u64, Duration), String> {
        let (mut notes, mut last) = (0, Duration::ZERO);
        for (output, record) in self.records.iter().filter(|(output, _)| outputs.contains(output)) {
            let heard = taken(record);
            let mut tally = Tally::default();
            tally.hear_all(&heard);
            tally.at_rest().map_err(|error| format!("{output}: {error}"))?;
            if tally.on != tally.off {
                return Err(format!("{output}: {} notes on, {} off", tally.on, tally.off));
            }
            notes += tally.on;
            last = last.max(heard.last().map_or(Duration::ZERO, |heard| heard.at.saturating_duration_since(since)));
        }
        Ok((notes, last))
    }
}

/// What was measured over the cycles.
#[derive(Default)]
struct Worst {
    notes: u64,
    silent: Vec<Duration>,
    works: Vec<Duration>,
}

impl Worst {
    fn say(mut self, cycles: usize) -> Said {
        let late = |times: &[Duration], most: Duration| times.iter().filter(|time| **time > most).count();
        let late = (late(&self.silent, SILENT), late(&self.works, WORKS));
        self.silent.sort();
        self.works.sort();
        let spread = |times: &[Duration]| {
            let at =
                |part: usize| times.get((times.len() * part / 100).min(times.len() - 1)).map_or(0, Duration::as_millis);
            format!("{} ms (median), {} ms (at most)", at(50), at(100))
        };
        let said = format!(
            "{cycles} times, {} notes; silent after {}, playing again after {} from the announcement on; seed {}",
            self.notes,
            spread(&self.silent),
            spread(&self.works),
            seed()
        );
        match late {
            (0, 0) => Ok(said),
            (silent, works) => Err(format!("too late {silent} and {works} times of {said}")),
        }
    }
}

/// Between the last message and the cable: the kernel's side of the keyboard that is pulled while it hands one over
/// falls over itself (6.1: `f_midi_in_work` writes where there is nothing any longer).
const HANDED_OVER: Duration = Duration::from_millis(8);

/// Plays densely and pulls the cable, wherever the hands and the pedal are; says when.
fn play_and_pull(
    keyboard: &Keyboard,
    hands: &mut Hands,
    dense: &mut Dense,
    dice: &mut Dice,
) -> Result<Instant, String> {
    let end = Instant::now() + dice.milliseconds(30, 200);
    dense.play(hands, || Instant::now() > end);
    dense.held.clear();
    thread::sleep(HANDED_OVER);
    let out = Instant::now();
    keyboard.unplug().map(|()| out)
}

/// The hands at a keyboard that is just being plugged in. What is played before the system listens must not sound.
fn hands_soon(keyboard: &Keyboard, dice: &mut Dice) -> Result<Hands, String> {
    let end = Instant::now() + FOUND;
    loop {
        match keyboard.hands() {
            Ok(mut hands) => {
                if dice.below(2) == 0 {
                    hands.play(&[0x90, TOO_SOON, 100, 0x80, TOO_SOON, 64]);
                }
                return Ok(hands);
            }
            Err(error) if Instant::now() > end => return Err(error),
            Err(_) => thread::sleep(Duration::from_millis(2)),
        }
    }
}

/// Asks with single notes until one is heard; says how long after the announcement.
fn works_again(
    keyboard: &Keyboard,
    hands: &mut Hands,
    record: &Record,
    announced: Instant,
) -> Result<Duration, String> {
    let mut tally = Tally::default();
    let mut taken_bytes = 0;
    while announced.elapsed() < Duration::from_secs(3) {
        taken_bytes += hands.play(&[0x90, ASKING, 100, 0x80, ASKING, 64]);
        if let Some(at) = heard_note(record, &mut tally, ASKING, Duration::from_millis(5)) {
            // The last that was asked.
            let end = Instant::now() + SILENT;
            while tally.at_rest().is_err() && Instant::now() < end {
                thread::sleep(Duration::from_millis(2));
                tally.hear_all(&taken(record));
            }
            tally.at_rest()?;
            if tally.begun.contains(&TOO_SOON) {
                return Err("what was played before the keyboard was back sounded".into());
            }
            return Ok(at.saturating_duration_since(announced));
        }
    }
    // Whose fault it is: with other hands the keyboard plays again, if it is not ours.
    let mut other = keyboard.hands();
    let also = other.as_mut().map(|hands| hands.play(&[0x90, ASKING, 100, 0x80, ASKING, 64]));
    let heard = heard_note(record, &mut tally, ASKING, SILENT).is_some();
    Err(format!(
        "nothing was heard for 3 s after the keyboard's announcement; it took {taken_bytes} bytes; other hands: {also:?} \
         bytes, heard: {heard}"
    ))
}

/// The end of what the program said.
fn last_lines(said: &str) -> String {
    let lines: Vec<&str> = said.lines().map(str::trim_end).collect();
    lines[lines.len().saturating_sub(6)..].join(" | ")
}

fn one() -> Said {
    let keyboard = Keyboard::new(0, "Lab Stage Piano", "A1")?;
    keyboard.plug()?;
    let program = Program::play(&sets::simple("stage piano")?, &["piano", "pad"])?;
    let outputs = ["piano", "pad", "desk"];
    let ears = Ears::new(&outputs)?;
    let announcements = Announcements::begin()?;
    let (mut dense, mut dice, mut worst) = (Dense::new(), Dice::new(), Worst::default());
    let mut hands = keyboard.hands()?;
    for cycle in 0..CYCLES {
        let told = |error: String| format!("cycle {cycle}, seed {}: {error}", seed());
        let out = play_and_pull(&keyboard, &mut hands, &mut dense, &mut dice).map_err(told)?;
        thread::sleep((out + SILENT).saturating_duration_since(Instant::now()));
        let (notes, silent) = ears.at_rest(&outputs, out).map_err(told)?;
        worst.notes += notes;
        keyboard.plug_blindly()?;
        hands = hands_soon(&keyboard, &mut dice)?;
        let (announced, _) = announcements.next(&keyboard.product, FOUND).map_err(told)?;
        let works = works_again(&keyboard, &mut hands, &ears.records[0].1, announced)
            .map_err(|error| told(format!("{error}; it said: {}", last_lines(&program.said()))))?;
        worst.silent.push(silent);
        worst.works.push(works);
        ears.records.iter().for_each(|(_, record)| drop(taken(record)));
    }
    worst.say(CYCLES)
}

/// Steady single notes on another keyboard; how many were played.
fn go_on(mut hands: Hands, stop: &AtomicBool) -> u64 {
    let mut count = 0;
    while !stop.load(Ordering::SeqCst) {
        let key = 48 + u8::try_from(count % 12).unwrap_or(0);
        let played = hands.play_all(&[0x90, key, 90]);
        thread::sleep(Duration::from_millis(4));
        if !played || !hands.play_all(&[0x80, key, 64]) {
            break;
        }
        thread::sleep(Duration::from_millis(4));
        count += 1;
    }
    count
}

fn equal() -> Said {
    let pulled = Keyboard::new(0, "Lab Stage Piano", "A1")?;
    let other = Keyboard::new(1, "Lab Stage Piano", "B2")?;
    let thief = Keyboard::new(2, "Lab Drum Pad", "C3")?;
    let announcements = Announcements::begin()?;
    pulled.plug()?;
    let (_, first) = announcements.next(&pulled.product, FOUND)?;
    other.plug()?;
    until("both keyboards", FOUND, || how_many("Lab Stage Piano") == 2)?;
    announcements.next(&other.product, FOUND)?;
    let program = Program::play(&sets::two("stage piano", ("A1", "B2"))?, &["piano", "pad"])?;
    let ears = Ears::new(&["piano", "pad"])?;
    let stop = Arc::new(AtomicBool::new(false));
    let (steady, stopped) = (other.hands()?, Arc::clone(&stop));
    let playing = thread::spawn(move || go_on(steady, &stopped));
    let cycles = || -> Said {
        let (mut dense, mut dice, mut worst) = (Dense::new(), Dice::new(), Worst::default());
        let mut hands = pulled.hands()?;
        let (mut moved, mut stolen) = (0, 0);
        let mut number = first;
        for cycle in 0..CYCLES {
            let told = |error: String| format!("cycle {cycle}, seed {}: {error}", seed());
            let out = play_and_pull(&pulled, &mut hands, &mut dense, &mut dice).map_err(told)?;
            // Every second time something else takes its number meanwhile, and keeps it until it is back. Numbers are
            // given out from the lowest, so that the times between it gets its first one back.
            let is_taken = cycle % 2 == 0;
            if is_taken {
                thief.plug_blindly()?;
            }
            thread::sleep((out + SILENT).saturating_duration_since(Instant::now()));
            let (notes, silent) = ears.at_rest(&["piano"], out).map_err(told)?;
            worst.notes += notes;
            if is_taken {
                let (_, its) = announcements.next(&thief.product, FOUND).map_err(told)?;
                stolen += usize::from(its == number);
            }
            pulled.plug_blindly()?;
            hands = hands_soon(&pulled, &mut dice)?;
            let (announced, own) = announcements.next(&pulled.product, FOUND).map_err(told)?;
            moved += usize::from(number != own);
            number = own;
            let works = works_again(&pulled, &mut hands, &ears.records[0].1, announced)
                .map_err(|error| told(format!("{error}; it said: {}", last_lines(&program.said()))))?;
            worst.silent.push(silent);
            worst.works.push(works);
            taken(&ears.records[0].1);
            if is_taken {
                thief.unplug()?;
                until("the other device gone", FOUND, || how_many(&thief.product) == 0)?;
            }
        }
        if stolen == 0 {
            return Err("nothing took its number".into());
        }
        Ok(format!("{}; {moved} times under another number, {stolen} times with its old one taken", worst.say(CYCLES)?))
    };
    let said = cycles();
    stop.store(true, Ordering::SeqCst);
    let played = playing.join().map_err(|_| "the other player ended badly")?;
    let said = said?;
    calm(&ears.records[1].1, SILENT);
    let mut tally = Tally::default();
    tally.hear_all(&taken(&ears.records[1].1));
    tally.at_rest()?;
    if (tally.on, tally.off) != (played, played) {
        return Err(format!("the other played {played} notes, {} began and {} ended", tally.on, tally.off));
    }
    Ok(format!("{said}; the other's {played} notes were all heard"))
}

/// One input, no serial numbers: ours is the one that was there first, wherever it is plugged in.
fn sockets() -> Said {
    let ours = Keyboard::new(0, "Lab Stage Piano", "")?;
    let other = Keyboard::new(1, "Lab Stage Piano", "")?;
    ours.plug()?;
    let _program = Program::play(&sets::simple("stage piano")?, &["piano"])?;
    let ears = Ears::new(&["piano"])?;
    let record = &ears.records[0].1;
    other.plug_blindly()?;
    until("both keyboards", FOUND, || how_many("Lab Stage Piano") == 2)?;
    let only_ours_is_heard = |other_is_there: bool, step: &str| -> Result<(), String> {
        thread::sleep(SILENT);
        taken(record);
        ours.play(&[0x90, 60, 1, 0x80, 60, 64])?;
        if other_is_there {
            other.play(&[0x90, 61, 1, 0x80, 61, 64])?;
        }
        calm(record, SILENT);
        let mut keys: Vec<u8> =
            taken(record).iter().filter(|heard| heard.bytes[0] & 0xF0 == 0x90).map(|heard| heard.bytes[1]).collect();
        keys.dedup();
        if keys == [60] { Ok(()) } else { Err(format!("{step}: keys {keys:?} were heard, 60 is ours, 61 the other's")) }
    };
    let both = || until("both keyboards", FOUND, || how_many("Lab Stage Piano") == 2);
    let alone = || until("one keyboard", FOUND, || how_many("Lab Stage Piano") == 1);
    only_ours_is_heard(true, "the other has come")?;
    ours.unplug()?;
    alone()?;
    ours.plug_blindly()?;
    both()?;
    only_ours_is_heard(true, "ours was out")?;
    other.unplug()?;
    alone()?;
    other.plug_blindly()?;
    both()?;
    only_ours_is_heard(true, "the other was out")?;
    ours.unplug()?;
    other.unplug()?;
    until("no keyboard", FOUND, || how_many("Lab Stage Piano") == 0)?;
    other.plug()?;
    ours.plug_blindly()?;
    both()?;
    only_ours_is_heard(true, "both were out, the other came first")?;
    ours.unplug()?;
    alone()?;
    ours.plug_elsewhere(2)?;
    both()?;
    only_ours_is_heard(true, "ours sits in another socket")?;
    other.unplug()?;
    alone()?;
    only_ours_is_heard(false, "the other has gone")?;
    Ok(String::new())
}
