//! How well a pad followed: what it struck beside what was meant.

use std::ops::AddAssign;
use std::sync::Arc;

use handspan::engine::{Engine, Event, Micros, Out, Plan};
use handspan::map::Book;
use handspan::midi::decode;

use crate::hand::{Meant, Piece, Touch};

/// The pads of the set, by the channel on which each plays, from 0.
pub const PADS: [&str; 2] = ["root-fifth", "chord"];

/// What a pad did over some time.
#[derive(Clone, Copy, Default, Debug, PartialEq)]
pub struct Score {
    pub wanted: f64,
    /// Strikes that did not bring the harmony that was meant, or came when it already sounded.
    pub unwanted: f64,
    /// Harmonies that never sounded.
    pub missed: f64,
    /// Seconds in another harmony than the one meant.
    pub wrong: f64,
    pub minutes: f64,
}

impl AddAssign for Score {
    fn add_assign(&mut self, other: Score) {
        self.wanted += other.wanted;
        self.unwanted += other.unwanted;
        self.missed += other.missed;
        self.wrong += other.wrong;
        self.minutes += other.minutes;
    }
}

impl Score {
    /// Each by the minute.
    pub fn by_minute(&self) -> Score {
        let by = |value: f64| value / self.minutes;
        Score {
            wanted: by(self.wanted),
            unwanted: by(self.unwanted),
            missed: by(self.missed),
            wrong: by(self.wrong),
            minutes: 1.0,
        }
    }
}

/// What sounds from a time on, and whether something was struck then.
#[derive(Clone, Copy, Debug)]
pub struct Sounds {
    pub at: f64,
    pub classes: u16,
    pub struck: bool,
}

/// Plays a piece through the set; what each pad sounds.
pub fn follow(book: &Book, piece: &Piece) -> [Vec<Sounds>; 2] {
    let mut engine = Engine::new(Arc::new(Plan::new(book)));
    let mut out = engine.out();
    let mut pads = [Pad::default(), Pad::default()];
    engine.step(Event::Start { entry: 0, order_step: 0 }, Micros::ZERO, &mut out);
    out.clear();
    for (at, touch) in &piece.touches {
        let bytes = match *touch {
            Touch::Down(key, velocity) => [0x90, key, velocity],
            Touch::Up(key) => [0x80, key, 64],
            Touch::Pedal(down) => [0xB0, 64, if down { 127 } else { 0 }],
        };
        let message = decode(&bytes).expect("a message");
        engine.step(Event::Message { input: 0, message }, Micros((at * 1000.0) as u64), &mut out);
        hear(&mut pads, &mut out);
    }
    engine.step(Event::Time, Micros((piece.end * 1000.0) as u64), &mut out);
    hear(&mut pads, &mut out);
    pads.map(|pad| pad.sounds)
}

#[derive(Default)]
struct Pad {
    notes: u128,
    sounds: Vec<Sounds>,
}

fn hear(pads: &mut [Pad; 2], out: &mut Out) {
    for said in out.said() {
        let [status, note, velocity] = *said.bytes else { continue };
        let pad = &mut pads[usize::from(status & 1)];
        let begins = status & 0xF0 == 0x90 && velocity > 0;
        match status & 0xF0 {
            0x90 if begins => pad.notes |= 1 << note,
            0x80 | 0x90 => pad.notes &= !(1 << note),
            _ => continue,
        }
        let at = said.at.0 as f64 / 1000.0;
        let classes =
            (0..128).filter(|note| pad.notes >> note & 1 != 0).fold(0, |classes, note| classes | 1 << (note % 12));
        match pad.sounds.last_mut() {
            Some(last) if last.at == at => *last = Sounds { at, classes, struck: last.struck || begins },
            _ => pad.sounds.push(Sounds { at, classes, struck: begins }),
        }
    }
    out.clear();
}

/// What a pad is to sound for a harmony.
fn wanted(meant: &Meant, pad: usize) -> u16 {
    let has = |class: u8| meant.classes >> (class % 12) & 1 != 0;
    let fifth = [7, 6, 8].into_iter().find(|step| has(meant.root + step)).unwrap_or(7);
    if pad == 0 { 1 << meant.root | 1 << ((meant.root + fifth) % 12) } else { meant.classes }
}

/// Counts what a pad did.
pub fn score(piece: &Piece, pad: usize, sounds: &[Sounds]) -> Score {
    let mut meant: Vec<(f64, u16)> = piece.meant.iter().map(|meant| (meant.at, wanted(meant, pad))).collect();
    meant.dedup_by_key(|(_, classes)| *classes);
    let mut score = Score { minutes: piece.end / 60_000.0, ..Score::default() };
    for (number, (from, classes)) in meant.iter().enumerate() {
        let to = meant.get(number + 1).map_or(piece.end, |(at, _)| *at);
        let before = sounds.iter().rev().find(|sounds| sounds.at < *from);
        let mut met = before.is_some_and(|sounds| sounds.classes == *classes);
        score.wanted += 1.0;
        for sounds in sounds.iter().filter(|sounds| sounds.at >= *from && sounds.at < to) {
            let brings = sounds.classes == *classes && !met;
            if sounds.struck && !brings {
                score.unwanted += 1.0;
            }
            met |= sounds.classes == *classes;
        }
        score.missed += f64::from(u8::from(!met));
        score.wrong += wrong(sounds, *classes, (from + piece.grace, to)) / 1000.0;
    }
    score
}

/// How long other classes sounded than these, in milliseconds.
fn wrong(sounds: &[Sounds], classes: u16, (from, to): (f64, f64)) -> f64 {
    let mut wrong = 0.0;
    let (mut at, mut now) =
        (from, sounds.iter().rev().find(|sounds| sounds.at <= from).map_or(0, |sounds| sounds.classes));
    for sounds in sounds.iter().filter(|sounds| sounds.at > from && sounds.at < to) {
        wrong += if now == classes { 0.0 } else { sounds.at - at };
        (at, now) = (sounds.at, sounds.classes);
    }
    wrong + if now == classes { 0.0 } else { (to - at).max(0.0) }
}
