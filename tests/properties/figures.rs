//! What hands play of the chords that sections name (rule R11): blocks of which some fingers stay, and broken chords.

use proptest::prelude::*;

use crate::performance::Deed;

/// The chords of `hands`, by keys.
const CHORDS: [&[u8]; 10] = [
    &[48, 52, 55],
    &[50, 54, 57, 60],
    &[46, 49, 53, 56],
    &[54, 57, 60],
    &[56, 60, 63, 67],
    &[52, 57, 59],
    &[55, 59, 63],
    &[49, 53, 56, 58],
    &[57, 60, 64],
    &[47, 54],
];

/// Something that is played: a chord, how it is turned, how many of its keys, how long a step takes, how late a finger
/// is, and in which way.
#[derive(Debug, Clone, Copy)]
struct Figure {
    chord: usize,
    turn: usize,
    count: usize,
    step: u32,
    late: u32,
    way: u8,
}

impl Figure {
    /// Its touches from a time on, and when it is over.
    fn touches(self, mut now: u32, touches: &mut Vec<(u32, Deed)>) -> u32 {
        let chord = CHORDS[self.chord];
        let keys = (0..self.count).map(|number| chord[(number * (1 + self.turn % 2) + self.turn) % chord.len()]);
        for (number, key) in (0u32..).zip(keys) {
            let (apart, held) = match self.way {
                // A block of which every second finger stays.
                0 | 1 => (20_000 * u32::from(self.way), 600_000 + number % 2 * self.late),
                // One key at a time, legato or not.
                2 => (self.step, self.step + 30_000),
                _ => (self.step, self.step - 20_000),
            };
            touches.push((now, Deed::Press(0, 0, key, 60 + self.turn as u8)));
            touches.push((now + held, Deed::Release(0, 0, key)));
            now += apart;
        }
        if self.way < 2 { now + 600_000 } else { now }
    }
}

/// Playing in which each next figure is of any chord, and sections change now and then.
pub fn figures() -> impl Strategy<Value = Vec<(Deed, u32)>> {
    let figure = (0..CHORDS.len(), 0..4usize, 1..7usize, 100_000..300_000u32, 0..400_000u32, 0..6u8);
    prop::collection::vec((figure, prop::bool::weighted(0.1)), 1..60).prop_map(|figures| {
        let (mut now, mut touches) = (0, Vec::new());
        for ((chord, turn, count, step, late, way), changes) in figures {
            if changes {
                touches.push((now, Deed::Action(3, 0)));
            }
            now = Figure { chord, turn, count, step, late, way }.touches(now, &mut touches);
        }
        touches.sort_by_key(|(at, _)| *at);
        let mut before = 0;
        let later = |(at, deed)| (deed, at - std::mem::replace(&mut before, at));
        touches.into_iter().map(later).collect()
    })
}
