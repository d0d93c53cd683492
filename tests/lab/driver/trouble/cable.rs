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
use crate::sequencer::{Announcements, Heard, Listener, Record, calm, how_many, set_up, taken, until};
use crate::sets;
use crate::yardstick::Beats;

const CYCLES: usize = 100;
/// Notes must have ended so soon after the cable came out.
const SILENT: Duration = Duration::from_millis(200);
/// Playing must work again so soon after the port was announced.
const WORKS: Duration = Duration::from_millis(100);
/// How long the kernel may take to find a keyboard; 0.4 s is usual.
const FOUND: Duration = Duration::from_secs(10);
/// Keys that nobody plays but who asks whether playing works, and whether all that was asked has been heard; and one that
/// is played before the keyboard is back.
const ASKING: u8 = 100;
const LAST: u8 = 101;
const TOO_SOON: u8 = 30;

/// All of this file, with names.
pub fn scenarios() -> Vec<(String, Scenario)> {
    vec![
        ("trouble/cable_out_and_in_100_times_while_playing".into(), Box::new(one)),
        ("trouble/one_of_two_equal_keyboards_out_100_times_its_number_taken".into(), Box::new(equal)),
        ("trouble/equal_keyboards_without_serial_and_another_socket".into(), Box::new(sockets)),
    ]
}

/// An output, as an instrument hears it.
struct Ear {
    output: &'static str,
    record: Record,
    tally: Tally,
    /// When the last message came.
    last: Option<Instant>,
    _listener: Listener,
}

impl Ear {
    fn hear(&mut self) {
        let heard = taken(&self.record);
        self.last = heard.last().map_or(self.last, |heard| Some(heard.at));
        self.tally.hear_all(&heard);
    }

    /// Nothing sounds and no pedal is down, after notes that were on and off in turns.
    fn at_rest(&self) -> Result<(), String> {
        self.tally.at_rest().and_then(|()| self.tally.alternates()).map_err(|error| format!("{}: {error}", self.output))
    }
}

/// The outputs, as instruments hear them from the beginning on.
struct Ears(Vec<Ear>);

impl Ears {
    fn new(outputs: &[&'static str]) -> Result<Self, String> {
        let ears = outputs.iter().map(|output| {
            let record = Record::default();
            let listener = Listener::to(CLIENT, output, std::slice::from_ref(&record))?;
            Ok(Ear { output, record, tally: Tally::default(), last: None, _listener: listener })
        });
        let ears = Ears(ears.collect::<Result<_, String>>()?);
        set_up(&ears.0[0].record, SILENT)?;
        Ok(ears)
    }

    fn notes(&self) -> u64 {
        self.0.iter().map(|ear| ear.tally.on).sum()
    }

    /// Waits until the program has said that the cable is out, for the time of that number, and nothing sounds any more:
    /// how long after `out` the last message came.
    fn silent(&mut self, program: &Program, number: usize, out: Instant) -> Result<Duration, String> {
        let mut rest = Ok(());
        let is_silent = || {
            let is_told = program.said().matches("keyboard is not connected").count() >= number;
            self.0.iter_mut().for_each(Ear::hear);
            rest = self.0.iter().try_for_each(Ear::at_rest);
            is_told && rest.is_ok()
        };
        if Beats::within(SILENT).until(is_silent).is_none() {
            rest?;
            return Err(format!(
                "the program does not say that the keyboard is not connected: {}",
                last_lines(&program.said())
            ));
        }
        let last = self.0.iter().filter_map(|ear| ear.last).max();
        Ok(last.map_or(Duration::ZERO, |last| last.saturating_duration_since(out)))
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
    fn say(mut self, cycles: usize) -> String {
        self.silent.sort();
        self.works.sort();
        let spread = |times: &[Duration]| {
            let at =
                |part: usize| times.get((times.len() * part / 100).min(times.len() - 1)).map_or(0, Duration::as_millis);
            format!("{} ms (median), {} ms (at most)", at(50), at(100))
        };
        format!(
            "{cycles} times, {} notes; silent after {}, playing again after {} from the announcement on; seed {}",
            self.notes,
            spread(&self.silent),
            spread(&self.works),
            seed()
        )
    }
}

/// Between the last message and the cable: the kernel's side of the keyboard that is pulled while it hands one over
/// falls over itself (6.1: `f_midi_in_work` writes where there is nothing any longer).
const HANDED_OVER: Duration = Duration::from_millis(10);

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
    Beats::within(HANDED_OVER).pass();
    let out = Instant::now();
    keyboard.unplug().map(|()| out)
}

/// The hands at a keyboard that is just being plugged in. What is played before the system listens must not sound.
fn hands_soon(keyboard: &Keyboard, dice: &mut Dice) -> Result<Hands, String> {
    let mut hands = Err("nobody plugged it in".to_owned());
    let is_there = || {
        hands = keyboard.hands();
        hands.is_ok()
    };
    let _ = Beats::within(FOUND).until(is_there);
    let mut hands = hands?;
    if dice.below(2) == 0 {
        hands.play(&[0x90, TOO_SOON, 100, 0x80, TOO_SOON, 64]);
    }
    Ok(hands)
}

/// Asks with single notes until one is heard, and waits until all of them were; says how long after the announcement that
/// was.
fn works_again(keyboard: &Keyboard, hands: &mut Hands, ear: &mut Ear, announced: Instant) -> Result<Duration, String> {
    ear.hear();
    ear.tally.begun.clear();
    let mut taken_bytes = 0;
    let mut asked = || {
        taken_bytes += hands.play(&[0x90, ASKING, 100, 0x80, ASKING, 64]);
        heard_note(&ear.record, &mut ear.tally, ASKING, Duration::from_millis(4))
    };
    // Three beats for each.
    let at = (0..Beats::within(WORKS).times(3)).find_map(|_| asked());
    let Some(at) = at else {
        // Whose fault it is: with other hands the keyboard plays again, if it is not ours.
        let mut other = keyboard.hands();
        let also = other.as_mut().map(|hands| hands.play(&[0x90, ASKING, 100, 0x80, ASKING, 64]));
        let heard = heard_note(&ear.record, &mut ear.tally, ASKING, FOUND).is_some();
        return Err(format!(
            "nothing was heard within {:?} of the keyboard's announcement; it took {taken_bytes} bytes; other hands: {also:?} \
             bytes, heard: {heard}",
            Beats::within(WORKS)
        ));
    };
    if !hands.play_all(&[0x90, LAST, 100, 0x80, LAST, 64]) {
        return Err("the keyboard took no more".into());
    }
    heard_note(&ear.record, &mut ear.tally, LAST, FOUND).ok_or("the last that was asked was not heard")?;
    until("the end of the last that was asked", FOUND, || {
        ear.hear();
        ear.tally.at_rest().is_ok()
    })?;
    if ear.tally.begun.contains(&TOO_SOON) {
        return Err("what was played before the keyboard was back sounded".into());
    }
    Ok(at.saturating_duration_since(announced))
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
    let mut ears = Ears::new(&outputs)?;
    let announcements = Announcements::begin()?;
    let (mut dense, mut dice, mut worst) = (Dense::new(), Dice::new(), Worst::default());
    let mut hands = keyboard.hands()?;
    for cycle in 0..CYCLES {
        let told = |error: String| format!("cycle {cycle}, seed {}: {error}", seed());
        let before = ears.notes();
        let out = play_and_pull(&keyboard, &mut hands, &mut dense, &mut dice).map_err(told)?;
        let silent = ears.silent(&program, cycle + 1, out).map_err(told)?;
        worst.notes += ears.notes() - before;
        keyboard.plug_blindly()?;
        hands = hands_soon(&keyboard, &mut dice)?;
        let (announced, _) = announcements.next(&keyboard.product, FOUND).map_err(told)?;
        let works = works_again(&keyboard, &mut hands, &mut ears.0[0], announced)
            .map_err(|error| told(format!("{error}; it said: {}", last_lines(&program.said()))))?;
        worst.silent.push(silent);
        worst.works.push(works);
    }
    Ok(worst.say(CYCLES))
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
    let mut pulled_ears = Ears::new(&["piano"])?;
    let other_ear = Ears::new(&["pad"])?;
    let stop = Arc::new(AtomicBool::new(false));
    let (steady, stopped) = (other.hands()?, Arc::clone(&stop));
    let playing = thread::spawn(move || go_on(steady, &stopped));
    let mut cycles = || -> Said {
        let (mut dense, mut dice, mut worst) = (Dense::new(), Dice::new(), Worst::default());
        let mut hands = pulled.hands()?;
        let (mut moved, mut stolen) = (0, 0);
        let mut number = first;
        for cycle in 0..CYCLES {
            let told = |error: String| format!("cycle {cycle}, seed {}: {error}", seed());
            let before = pulled_ears.notes();
            let out = play_and_pull(&pulled, &mut hands, &mut dense, &mut dice).map_err(told)?;
            // Every second time something else takes its number meanwhile, and keeps it until it is back. Numbers are
            // given out from the lowest, so that the times between it gets its first one back.
            let is_taken = cycle % 2 == 0;
            if is_taken {
                thief.plug_blindly()?;
            }
            let silent = pulled_ears.silent(&program, cycle + 1, out).map_err(told)?;
            worst.notes += pulled_ears.notes() - before;
            if is_taken {
                let (_, its) = announcements.next(&thief.product, FOUND).map_err(told)?;
                stolen += usize::from(its == number);
            }
            pulled.plug_blindly()?;
            hands = hands_soon(&pulled, &mut dice)?;
            let (announced, own) = announcements.next(&pulled.product, FOUND).map_err(told)?;
            moved += usize::from(number != own);
            number = own;
            let works = works_again(&pulled, &mut hands, &mut pulled_ears.0[0], announced)
                .map_err(|error| told(format!("{error}; it said: {}", last_lines(&program.said()))))?;
            worst.silent.push(silent);
            worst.works.push(works);
            if is_taken {
                thief.unplug()?;
                until("the other device gone", FOUND, || how_many(&thief.product) == 0)?;
            }
        }
        if stolen == 0 {
            return Err("nothing took its number".into());
        }
        Ok(format!("{}; {moved} times under another number, {stolen} times with its old one taken", worst.say(CYCLES)))
    };
    let said = cycles();
    stop.store(true, Ordering::SeqCst);
    let played = playing.join().map_err(|_| "the other player ended badly")?;
    let said = said?;
    let Some(Ear { record, mut tally, .. }) = other_ear.0.into_iter().next() else { return Err("no ear".into()) };
    let _ = until("all that the other played", FOUND, || {
        tally.hear_all(&taken(&record));
        tally.off >= played
    });
    calm(&record, SILENT);
    tally.hear_all(&taken(&record));
    tally.at_rest().and_then(|()| tally.alternates())?;
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
    let record = &ears.0[0].record;
    other.plug_blindly()?;
    until("both keyboards", FOUND, || how_many("Lab Stage Piano") == 2)?;
    let only_ours_is_heard = |other_is_there: bool, step: &str| -> Result<(), String> {
        calm(record, SILENT);
        taken(record);
        if other_is_there {
            other.play(&[0x90, 61, 1, 0x80, 61, 64])?;
        }
        let ends = |heard: &[Heard]| heard.iter().any(|heard| heard.bytes[0] == 0x80 && heard.bytes[1] == 60);
        until("our key", FOUND, || {
            let played = ours.play(&[0x90, 60, 1, 0x80, 60, 64]);
            calm(record, Duration::from_millis(20));
            played.is_ok() && record.lock().is_ok_and(|heard| ends(&heard))
        })?;
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
