//! Trouble on stage, with the real program: what happens to the music when something comes out, dies, floods or is
//! changed. Chances are drawn from a seed that the scenarios say.

mod cable;
mod flood;
mod kill;
mod saves;
mod stale;
mod synth;

use std::collections::{BTreeMap, BTreeSet};
use std::sync::OnceLock;
use std::time::{Duration, Instant, SystemTime};

use crate::Said;
use crate::gadget::Hands;
use crate::sequencer::{Heard, Record, taken};
use crate::yardstick::Beats;

type Scenario = Box<dyn FnOnce() -> Said>;

/// All of this folder, with names.
pub fn scenarios() -> Vec<(String, Scenario)> {
    [
        stale::scenarios(),
        synth::scenarios(),
        cable::scenarios(),
        kill::scenarios(),
        saves::scenarios(),
        flood::scenarios(),
    ]
    .into_iter()
    .flatten()
    .collect()
}

static SEED: OnceLock<u64> = OnceLock::new();

/// The seed of all chances; by the clock where none is given.
pub fn set_seed(seed: Option<u64>) {
    let by_clock = || SystemTime::UNIX_EPOCH.elapsed().map_or(1, |since| since.as_nanos() as u64 % 1_000_000);
    let _ = SEED.set(seed.unwrap_or_else(by_clock));
}

fn seed() -> u64 {
    SEED.get().copied().unwrap_or(1)
}

/// Chances, the same for the same seed (xorshift64*, Vigna 2016).
struct Dice(u64);

impl Dice {
    fn new() -> Self {
        Dice(seed().wrapping_mul(0x9E37_79B9_7F4A_7C15) | 1)
    }

    fn below(&mut self, end: u64) -> u64 {
        self.0 ^= self.0 >> 12;
        self.0 ^= self.0 << 25;
        self.0 ^= self.0 >> 27;
        (self.0.wrapping_mul(0x2545_F491_4F6C_DD1D) >> 33) % end
    }

    fn byte(&mut self, end: u8) -> u8 {
        u8::try_from(self.below(u64::from(end))).unwrap_or(0)
    }

    fn milliseconds(&mut self, from: u64, end: u64) -> Duration {
        Duration::from_micros(from * 1000 + self.below((end - from) * 1000))
    }
}

/// Somebody who plays densely: keys from 36 to 83, the pedal, wheel and bend.
struct Dense {
    dice: Dice,
    held: Vec<u8>,
}

impl Dense {
    fn new() -> Self {
        Dense { dice: Dice::new(), held: Vec::new() }
    }

    /// The next few messages.
    fn next(&mut self) -> Vec<u8> {
        let dice = &mut self.dice;
        match dice.below(20) {
            0..=9 if self.held.len() < 10 => {
                let key = 36 + dice.byte(48);
                if self.held.contains(&key) {
                    return vec![0xB0, 1, dice.byte(128)];
                }
                self.held.push(key);
                vec![0x90, key, 1 + dice.byte(127)]
            }
            0..=15 if !self.held.is_empty() => {
                let place = usize::try_from(dice.below(self.held.len() as u64)).unwrap_or(0);
                vec![0x80, self.held.remove(place), 64]
            }
            16 => vec![0xB0, 64, 127],
            17 => vec![0xB0, 64, 0],
            18 => vec![0xE0, dice.byte(128), dice.byte(128)],
            _ => vec![0xB0, 11, dice.byte(128)],
        }
    }

    /// Plays until the cable is out or `end` says so; how many messages that were.
    fn play(&mut self, hands: &mut Hands, end: impl Fn() -> bool) -> usize {
        let mut count = 0;
        while !end() && hands.play(&self.next()) > 0 {
            count += 1;
            let pause = self.dice.below(3000);
            std::thread::sleep(Duration::from_micros(pause));
        }
        count
    }

    /// Ends all that is held, with the pedal.
    fn let_go(&mut self) -> Vec<u8> {
        let off = self.held.drain(..).flat_map(|key| [0x80, key, 64]);
        off.chain([0xB0, 64, 0]).collect()
    }
}

/// What an output says, as an instrument hears it.
#[derive(Debug, Default, Clone)]
struct Tally {
    /// How often each (channel, note) is on.
    sounding: BTreeMap<(u8, u8), u32>,
    /// Pedals that are down.
    pedals: BTreeSet<(u8, u8)>,
    /// Notes that ever began.
    begun: BTreeSet<u8>,
    on: u64,
    off: u64,
    messages: u64,
    /// The first message that began a note that sounds, or ended one that does not (rule R2).
    astray: Option<String>,
}

impl Tally {
    fn hear(&mut self, message: &[u8]) {
        self.messages += 1;
        let [status, first, second] = *message else { return };
        let key = (status & 0x0F, first);
        match status & 0xF0 {
            0x90 if second > 0 => {
                self.on += 1;
                self.begun.insert(first);
                let count = self.sounding.entry(key).or_default();
                *count += 1;
                if *count > 1 {
                    self.goes_astray(message);
                }
            }
            0x80 | 0x90 => {
                self.off += 1;
                if let Some(count) = self.sounding.get_mut(&key) {
                    *count -= 1;
                    if *count == 0 {
                        self.sounding.remove(&key);
                    }
                } else {
                    self.goes_astray(message);
                }
            }
            0xB0 if (64..=69).contains(&first) && second > 0 => drop(self.pedals.insert(key)),
            0xB0 if (64..=69).contains(&first) => drop(self.pedals.remove(&key)),
            // All sound off, all notes off.
            0xB0 if matches!(first, 120 | 123) => self.sounding.retain(|(channel, _), _| *channel != key.0),
            _ => {}
        }
    }

    fn goes_astray(&mut self, message: &[u8]) {
        let told = || format!("message {} of it, {message:02X?}", self.messages);
        self.astray = self.astray.take().or_else(|| Some(told()));
    }

    /// Notes begin and end in turns, as they must where nothing was lost and who listens does so from the first on.
    fn alternates(&self) -> Result<(), String> {
        match &self.astray {
            None => Ok(()),
            Some(told) => Err(format!("not on and off in turns (R2): {told}")),
        }
    }

    fn hear_all(&mut self, heard: &[Heard]) {
        heard.iter().for_each(|heard| self.hear(&heard.bytes));
    }

    fn at_rest(&self) -> Result<(), String> {
        if self.sounding.is_empty() && self.pedals.is_empty() {
            return Ok(());
        }
        Err(format!("still sounding (channel, note): {:?}, pedals down: {:?}", self.sounding, self.pedals))
    }
}

/// Waits until an output has said that note, and says when; what it said before goes to the tally.
fn heard_note(record: &Record, tally: &mut Tally, note: u8, patience: Duration) -> Option<Instant> {
    let mut at = None;
    Beats::within(patience).until(|| {
        let heard = taken(record);
        tally.hear_all(&heard);
        at = heard.iter().find(|heard| heard.begins(note)).map(|found| found.at);
        at.is_some()
    })?;
    at
}
