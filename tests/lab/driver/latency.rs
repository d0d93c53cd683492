//! How long a key takes through us, beside the smallest forwarder that can be written with midir, in the same boot;
//! and that nothing is lost of many keys at once. Emulation makes all of it slow: only the order of the medians counts.

use std::thread;
use std::time::{Duration, Instant};

use alsa::Seq;
use alsa::seq::MidiEvent;
use handspan::ports::CLIENT;
use midir::os::unix::VirtualOutput;
use midir::{MidiInput, MidiInputConnection, MidiOutput};

use crate::Said;
use crate::program::Program;
use crate::sequencer::{Listener, Player, Record, attach, calm, ear, read, sleep, taken};
use crate::sets;
use crate::yardstick::LONG;

type Scenario = Box<dyn FnOnce() -> Said>;

/// Keys in a block, and blocks of each path. Short blocks in turns, the first of each pair in turns too: what the
/// machine is up to meanwhile meets both paths alike, and a bad moment spoils one pair, not the median of all pairs.
const KEYS: usize = 40;
const BLOCKS: usize = 41;
/// Medians of the same program differ so much from host to host and boot to boot (measured: 0.96 to 1.16). All notes of
/// a key are calculated before the first is sent; for 8 zones that is 0.24 us natively, and a host that emulates slowly
/// shows it.
const HOSTS_DIFFER: f64 = 1.25;
const ZONES: usize = 8;

/// All of this file, with names.
pub fn scenarios() -> Vec<(String, Scenario)> {
    vec![
        ("latency/through_8_zones_beside_the_smallest_forwarder".into(), Box::new(beside_the_forwarder)),
        ("latency/88_keys_at_once_through_8_zones".into(), Box::new(|| burst(ZONES, 88))),
        ("latency/1000_events_at_once".into(), Box::new(|| burst(1, 1000))),
    ]
}

/// A sender, a path under test, a listener.
pub struct Path {
    player: Player,
    ear: (Seq, i32, MidiEvent),
    /// Events that come out for one that goes in.
    each: usize,
    /// Microseconds until the first came out, and until the last.
    pub first: Vec<f64>,
    last: Vec<f64>,
}

impl Path {
    /// `start` starts what is to be measured, once the sender is there.
    pub fn new<T>(
        sender: &str,
        each: usize,
        listen_to: (&str, &str),
        start: impl FnOnce() -> Result<T, String>,
    ) -> Result<(Self, T), String> {
        let player = Player::new(sender, "out")?;
        let running = start()?;
        let ear = ear("Lab Ear", "in")?;
        // One event a read: or else the first would seem to be as late as those that have come in behind it.
        ear.0.input().set_input_buffer_size(28).map_err(|error| error.to_string())?;
        attach(&ear.0, ear.1, listen_to.0, listen_to.1)?;
        let path = Path { player, ear, each, first: Vec::new(), last: Vec::new() };
        path.drain();
        Ok((path, running))
    }

    /// What comes for having connected is no note.
    fn drain(&self) {
        while sleep(&self.ear.0, 300) {
            while read(&self.ear.0, &self.ear.2, |_| {}) {}
        }
    }

    pub fn block(&mut self) -> Result<(), String> {
        for key in 0..KEYS {
            let key = u8::try_from(30 + key % 60).unwrap_or(60);
            self.once(&[0x90, key, 100])?;
            self.once(&[0x80, key, 64])?;
        }
        Ok(())
    }

    fn once(&mut self, message: &[u8]) -> Result<(), String> {
        let start = Instant::now();
        if !self.player.play(message) {
            return Err(format!("{message:02X?} was refused"));
        }
        let mut count = 0;
        while count < self.each {
            if !sleep(&self.ear.0, i32::try_from(LONG.as_millis()).unwrap_or(i32::MAX)) {
                return Err(format!("{count} of {} came out for {message:02X?}", self.each));
            }
            while read(&self.ear.0, &self.ear.2, |bytes| {
                if bytes.first().is_some_and(|status| matches!(status & 0xF0, 0x80 | 0x90)) {
                    let passed = start.elapsed().as_secs_f64() * 1e6;
                    count += 1;
                    if message[0] == 0x90 && count == 1 {
                        self.first.push(passed);
                    }
                    if message[0] == 0x90 && count == self.each {
                        self.last.push(passed);
                    }
                }
            }) {}
        }
        thread::sleep(Duration::from_micros(500));
        Ok(())
    }
}

pub fn median(times: &[f64]) -> f64 {
    let mut sorted = times.to_vec();
    sorted.sort_by(f64::total_cmp);
    sorted.get(sorted.len() / 2).copied().unwrap_or(f64::NAN)
}

/// Callback to output connection, nothing between.
fn forwarder(sender: &str) -> Result<MidiInputConnection<()>, String> {
    let input = MidiInput::new("Lab Forwarder").map_err(|error| error.to_string())?;
    let output = MidiOutput::new("Lab Forwarder").map_err(|error| error.to_string())?;
    let mut output = output.create_virtual("forwarded").map_err(|error| error.to_string())?;
    let named = |port: &midir::MidiInputPort| input.port_name(port).is_ok_and(|name| name.starts_with(sender));
    let port = input.ports().into_iter().find(named).ok_or("the forwarder finds no sender")?;
    let forward = move |_: u64, message: &[u8], (): &mut ()| {
        let _ = output.send(message);
    };
    input.connect(&port, "in", forward, ()).map_err(|error| error.to_string())
}

fn beside_the_forwarder() -> Said {
    let start = || forwarder("Lab Sender A");
    let (mut theirs, _forwarder) = Path::new("Lab Sender A", 1, ("Lab Forwarder", "forwarded"), start)?;
    let start = || Program::play(&sets::layers("lab sender b", ZONES)?, &["piano"]);
    let (mut ours, _program) = Path::new("Lab Sender B", ZONES, (CLIENT, "piano"), start)?;
    let mut ratios = Vec::new();
    for block in 0..BLOCKS {
        let began = (theirs.first.len(), ours.first.len());
        if block % 2 == 0 {
            theirs.block()?;
            ours.block()?;
        } else {
            ours.block()?;
            theirs.block()?;
        }
        ratios.push(median(&ours.first[began.1..]) / median(&theirs.first[began.0..]));
    }
    let (forwarder, first, last) = (median(&theirs.first), median(&ours.first), median(&ours.last));
    let ratio = median(&ratios);
    let worse = ratios.iter().filter(|ratio| **ratio > 1.0).count();
    let remark = format!(
        "median of {BLOCKS} ratios {ratio:.2} ({worse} above 1); forwarder {forwarder:.0} us, handspan {first:.0} us, \
         its 8th note {last:.0} us"
    );
    // Single ratios scatter by a tenth and more. With this many, chance alone puts three quarters of them above 1 less
    // than once in a thousand runs where both are equally fast. From boot to boot the median differs by some hundredths,
    // for all its ratios alike: only where it is more than that, so many mean that we are slower.
    let is_slower = worse * 4 >= BLOCKS * 3 && ratio > HOSTS_DIFFER;
    if is_slower { Err(format!("slower than the forwarder: {remark}")) } else { Ok(remark) }
}

/// So many events at once, as fast as they can be sent; every one must come out of every zone.
fn burst(zones: usize, events: usize) -> Said {
    let mut player = Player::new("Lab Burst", "out")?;
    let _program = Program::play(&sets::layers("lab burst", zones)?, &["piano"])?;
    let record = Record::default();
    let _listener = Listener::to(CLIENT, "piano", std::slice::from_ref(&record))?;
    for round in 0..3 {
        calm(&record, Duration::from_millis(300));
        taken(&record);
        // 88 keys down, 88 keys up, and so on.
        let message = |event: usize| {
            let key = u8::try_from(21 + event % 88).unwrap_or(21);
            if (event / 88).is_multiple_of(2) { [0x90, key, 100] } else { [0x80, key, 64] }
        };
        let refused = (0..events).filter(|event| !player.play(&message(*event))).count();
        calm(&record, Duration::from_millis(500));
        let is_note = |message: &Vec<u8>| matches!(message[0] & 0xF0, 0x80 | 0x90);
        let heard = taken(&record).into_iter().filter(|heard| is_note(&heard.bytes)).count();
        if refused > 0 || heard != events * zones {
            return Err(format!("round {round}: {refused} refused, {heard} of {} heard", events * zones));
        }
        // All up again, for the next round.
        for key in 21..=108 {
            player.play(&[0x80, key, 64]);
        }
    }
    Ok(format!("{} of {} heard, three times", events * zones, events * zones))
}
