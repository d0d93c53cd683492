//! A hand that plays: how far its fingers are apart where they should be together, and how late they leave a chord.
//!
//! The figures of the three hands are a model (our own, from memory of beginners at the keyboard), not a measurement.

use std::ops::Range;

use proptest::test_runner::{RngAlgorithm, TestRng};

/// Chance, the same for the same seed.
pub struct Chance(TestRng);

impl Chance {
    pub fn new(seed: u32) -> Chance {
        let mut bytes = [0; 32];
        bytes[..4].copy_from_slice(&seed.to_le_bytes());
        Chance(TestRng::from_seed(RngAlgorithm::ChaCha, &bytes))
    }

    /// A number of this range, the upper end excluded; the lower end where the range is empty.
    pub fn within(&mut self, range: Range<f64>) -> f64 {
        use proptest::prelude::Rng;
        range.start + (range.end - range.start) * f64::from(self.0.next_u32()) / f64::from(u32::MAX)
    }

    /// One of so many, from 0.
    pub fn one_of(&mut self, count: usize) -> usize {
        (self.within(0.0..count as f64) as usize).min(count - 1)
    }

    pub fn pick<T: Copy>(&mut self, choices: &[T]) -> T {
        choices[self.one_of(choices.len())]
    }
}

/// How a player's fingers move, in milliseconds.
#[derive(Clone, Copy)]
pub struct Fingers {
    pub name: &'static str,
    /// The fingers of a chord go down within this time.
    pub spread: f64,
    /// A finger of the chord before comes up at most so late.
    pub late: f64,
}

pub const FINGERS: [Fingers; 3] = [
    Fingers { name: "practised", spread: 22.0, late: 60.0 },
    Fingers { name: "novice", spread: 55.0, late: 130.0 },
    Fingers { name: "hesitant", spread: 140.0, late: 260.0 },
];

/// What reaches the keyboard.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Touch {
    Down(u8, u8),
    Up(u8),
    Pedal(bool),
}

/// The harmony from a time on, by pitch classes: its root and all its notes, one bit each.
#[derive(Clone, Copy, PartialEq, Debug)]
pub struct Meant {
    pub at: f64,
    pub root: u8,
    pub classes: u16,
}

/// What was played, and what was meant by it.
pub struct Piece {
    pub touches: Vec<(f64, Touch)>,
    pub meant: Vec<Meant>,
    pub end: f64,
    /// So long after a change nobody expects the new harmony.
    pub grace: f64,
}

/// How the fingers of a chord leave it.
#[derive(Clone, Copy, PartialEq)]
pub enum Leaves {
    /// All before the next one.
    Early,
    /// Some only after the next one was struck.
    Late,
}

/// Somebody at the keyboard.
pub struct Player {
    pub chance: Chance,
    pub fingers: Fingers,
    touches: Vec<(f64, Touch)>,
    meant: Vec<Meant>,
}

pub fn classes(keys: &[u8]) -> u16 {
    keys.iter().fold(0, |classes, key| classes | 1 << (key % 12))
}

impl Player {
    pub fn new(seed: u32, fingers: Fingers) -> Player {
        Player { chance: Chance::new(seed), fingers, touches: Vec::new(), meant: Vec::new() }
    }

    /// How much later or earlier than the next chord a finger of this one comes up.
    pub fn lateness(&mut self) -> f64 {
        let late = self.fingers.late;
        self.chance.within(-0.3 * late..late)
    }

    /// How much later than the first a finger of a chord goes down.
    pub fn delay(&mut self) -> f64 {
        let spread = self.fingers.spread;
        self.chance.within(0.0..spread)
    }

    /// A key from one time to another, about this loud.
    pub fn note(&mut self, key: u8, (from, to): (f64, f64), velocity: f64) {
        let velocity = (velocity * self.chance.within(0.85..1.15)).clamp(1.0, 127.0) as u8;
        self.touches.push((from, Touch::Down(key, velocity)));
        self.touches.push((to.max(from + 20.0), Touch::Up(key)));
    }

    /// Keys together, as far as the fingers manage.
    pub fn chord(&mut self, keys: &[u8], (from, to): (f64, f64), leaves: Leaves) {
        let delays: Vec<f64> = keys.iter().map(|_| self.delay()).collect();
        let first = delays.iter().copied().fold(f64::INFINITY, f64::min);
        for (key, delay) in keys.iter().zip(delays) {
            let up = match leaves {
                Leaves::Early => to - self.chance.within(60.0..180.0),
                Leaves::Late => to + self.lateness(),
            };
            self.note(*key, (from + delay - first, up), 80.0);
        }
    }

    pub fn pedal(&mut self, from: f64, to: f64) {
        self.touches.push((from, Touch::Pedal(true)));
        self.touches.push((to, Touch::Pedal(false)));
    }

    /// From now on this is the harmony.
    pub fn means(&mut self, at: f64, root: u8, classes: u16) {
        if self.meant.last().is_none_or(|last| (last.root, last.classes) != (root, classes)) {
            self.meant.push(Meant { at, root, classes });
        }
    }

    /// What came of it. A key that is struck while it is down comes up just before.
    pub fn piece(mut self, end: f64, grace: f64) -> Piece {
        self.touches.sort_by(|a, b| a.0.total_cmp(&b.0));
        let mut down = [0u32; 128];
        let mut touches = Vec::new();
        for (at, touch) in self.touches {
            match touch {
                Touch::Down(key, _) => {
                    let fingers = &mut down[usize::from(key)];
                    if *fingers > 0 {
                        touches.push((at, Touch::Up(key)));
                    }
                    *fingers += 1;
                }
                Touch::Up(key) => {
                    let fingers = &mut down[usize::from(key)];
                    *fingers -= 1;
                    if *fingers > 0 {
                        continue;
                    }
                }
                Touch::Pedal(_) => {}
            }
            touches.push((at, touch));
        }
        Piece { touches, meant: self.meant, end, grace }
    }
}
