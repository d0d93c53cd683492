//! Ticks and time: what a standard MIDI file's division and tempo changes make of its ticks.
//!
//! All arithmetic is in whole numbers. A tick lasts a fraction of microseconds that keeps its denominator
//! within a file, so times are sums of numerators; only at the end are they rounded, half up.

/// A standard MIDI file's division: how long a tick is (RP-001, header chunk).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Division(u16);

/// A change of tempo or time signature.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct TempoEvent {
    /// When, in ticks from the start.
    pub tick: u64,
    /// What changes.
    pub kind: TempoKind,
}

/// What a [`TempoEvent`] changes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum TempoKind {
    /// Microseconds in a quarter note, 1 to 16,777,215; 500,000 until told otherwise (RP-001, Set Tempo).
    Tempo(u32),
    /// The four bytes of a time signature: beats in a bar, the power of two of the beat's note value,
    /// MIDI clocks in a click, and thirty-second notes in a quarter (RP-001, Time Signature).
    Meter([u8; 4]),
}

/// Microseconds in a quarter note where a file does not say: 120 beats a minute (RP-001).
const DEFAULT_TEMPO: u32 = 500_000;

impl Division {
    /// So many ticks in a quarter note, 1 to 32,767.
    #[must_use]
    pub fn quarter(ticks: u16) -> Option<Division> {
        (1..=0x7FFF).contains(&ticks).then_some(Division(ticks))
    }

    /// So many frames a second, 24, 25, 29 (which is 30,000/1,001) or 30, and so many ticks in a frame, from 1.
    #[must_use]
    pub fn frames(rate: u8, ticks: u8) -> Option<Division> {
        (matches!(rate, 24 | 25 | 29 | 30) && ticks > 0)
            .then_some(Division(u16::from_be_bytes([rate.wrapping_neg(), ticks])))
    }

    /// Reads the header's two bytes; `None` where they are neither form.
    #[must_use]
    pub fn from_bytes([high, low]: [u8; 2]) -> Option<Division> {
        if high < 0x80 {
            Division::quarter(u16::from_be_bytes([high, low]))
        } else {
            Division::frames(high.wrapping_neg(), low)
        }
    }

    /// The header's two bytes.
    #[must_use]
    pub fn to_bytes(self) -> [u8; 2] {
        self.0.to_be_bytes()
    }

    /// Microseconds in a tick as a fraction, at a tempo in microseconds per quarter note; frames know no tempo.
    fn tick(self, tempo: u32) -> (u64, u64) {
        let [high, low] = self.to_bytes();
        match high.wrapping_neg() {
            _ if high < 0x80 => (u64::from(tempo), u64::from(self.0)),
            29 => (1_001_000_000, 30_000 * u64::from(low)),
            rate => (1_000_000, u64::from(rate) * u64::from(low)),
        }
    }
}

/// Turns ticks into time and back.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TempoMap {
    /// Stretches of one tempo in order; the first begins at tick 0.
    stretches: Vec<TempoStretch>,
    /// Denominator of all numerators.
    denominator: u128,
}

#[derive(Debug, Clone, PartialEq, Eq)]
struct TempoStretch {
    first_tick: u64,
    /// Time of `first_tick`.
    first_time: u128,
    /// Time that a tick takes; never 0.
    tick_time: u128,
}

impl TempoMap {
    /// The map of a file with this division and these changes, which may come in any order; at one tick
    /// the last one counts. A tempo of 0 counts as 1.
    #[must_use]
    pub fn new(division: Division, events: &[TempoEvent]) -> TempoMap {
        let mut changes: Vec<(u64, u32)> = events
            .iter()
            .filter_map(|event| match event.kind {
                TempoKind::Tempo(tempo) => Some((event.tick, tempo.max(1))),
                TempoKind::Meter(_) => None,
            })
            .collect();
        changes.sort_by_key(|(tick, _)| *tick);
        let (tick_time, denominator) = division.tick(DEFAULT_TEMPO);
        let mut last = TempoStretch { first_tick: 0, first_time: 0, tick_time: u128::from(tick_time) };
        let mut stretches = Vec::new();
        for (tick, tempo) in changes {
            let next = TempoStretch {
                first_tick: tick,
                first_time: last.time(tick),
                tick_time: u128::from(division.tick(tempo).0),
            };
            let before = std::mem::replace(&mut last, next);
            if before.first_tick < tick {
                stretches.push(before);
            }
        }
        stretches.push(last);
        TempoMap { stretches, denominator: u128::from(denominator) }
    }

    /// A tick's time in microseconds from the start, rounded half up; `u64::MAX` where it is beyond that.
    #[must_use]
    pub fn micros(&self, tick: u64) -> u64 {
        let time = self.stretch(|stretch| stretch.first_tick <= tick).time(tick);
        u64::try_from((2 * time + self.denominator) / (2 * self.denominator)).unwrap_or(u64::MAX)
    }

    /// The tick nearest a time in microseconds from the start; of two equally near, the later.
    #[must_use]
    pub fn nearest_tick(&self, micros: u64) -> u64 {
        let time = u128::from(micros) * self.denominator;
        let stretch = self.stretch(|stretch| stretch.first_time <= time);
        let ticks = (2 * (time - stretch.first_time) + stretch.tick_time) / (2 * stretch.tick_time);
        stretch.first_tick.saturating_add(u64::try_from(ticks).unwrap_or(u64::MAX))
    }

    /// The last stretch that has begun; the first one always has.
    fn stretch(&self, begun: impl Fn(&TempoStretch) -> bool) -> &TempoStretch {
        let count = self.stretches.partition_point(begun);
        &self.stretches[count.saturating_sub(1)]
    }
}

impl TempoStretch {
    fn time(&self, tick: u64) -> u128 {
        self.first_time + u128::from(tick - self.first_tick) * self.tick_time
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn tempo(tick: u64, micros: u32) -> TempoEvent {
        TempoEvent { tick, kind: TempoKind::Tempo(micros) }
    }

    #[test]
    fn without_a_tempo_a_quarter_is_half_a_second() {
        // RP-001: 120 beats a minute; at 96 ticks a quarter, 384 ticks are two seconds.
        let map = TempoMap::new(Division::quarter(96).unwrap(), &[]);
        assert_eq!([0, 96, 192, 384].map(|tick| map.micros(tick)), [0, 500_000, 1_000_000, 2_000_000]);
        // 500,000 / 96 = 5208.33…
        assert_eq!([1, 2, 3].map(|tick| map.micros(tick)), [5208, 10417, 15625]);
    }

    #[test]
    fn tempo_changes_count_from_their_tick() {
        let map = TempoMap::new(
            Division::quarter(480).unwrap(),
            &[tempo(960, 250_000), tempo(480, 1_000_000), tempo(960, 750_000), tempo(480, 1_000_000)],
        );
        assert_eq!([0, 240, 480, 960, 1440].map(|tick| map.micros(tick)), [0, 250_000, 500_000, 1_500_000, 2_250_000]);
    }

    #[test]
    fn frames_know_no_tempo() {
        // RP-001: E7 28 is 25 frames a second of 40 ticks, a millisecond each; E2 50 is 30 of 80.
        let events = [tempo(0, 250_000)];
        let map = TempoMap::new(Division::from_bytes([0xE7, 0x28]).unwrap(), &events);
        assert_eq!([1, 40, 1000].map(|tick| map.micros(tick)), [1000, 40_000, 1_000_000]);
        let map = TempoMap::new(Division::from_bytes([0xE2, 0x50]).unwrap(), &events);
        assert_eq!(map.micros(2400), 1_000_000);
        let map = TempoMap::new(Division::frames(24, 1).unwrap(), &events);
        assert_eq!(map.micros(24), 1_000_000);
        // 29 stands for 30,000/1,001 frames a second.
        let map = TempoMap::new(Division::frames(29, 1).unwrap(), &events);
        assert_eq!(map.micros(30_000), 1_001_000_000);
    }

    #[test]
    fn impossible_divisions_are_refused() {
        for bytes in [[0, 0], [0xE7, 0], [0x80, 4], [0xFF, 4], [0xE9, 40], [0x80, 0]] {
            assert_eq!(Division::from_bytes(bytes), None, "{bytes:02X?}");
        }
        assert_eq!(Division::quarter(0x8000), None);
        assert_eq!(Division::frames(29, 4).map(Division::to_bytes), Some([0xE3, 4]));
    }

    #[test]
    fn of_two_ticks_equally_near_the_later() {
        // 1,000 µs a tick.
        let map = TempoMap::new(Division::quarter(500).unwrap(), &[tempo(10, 1_000_000)]);
        assert_eq!([0, 499, 500, 501, 1499, 1500].map(|time| map.nearest_tick(time)), [0, 0, 1, 1, 1, 2]);
        // From tick 10 on, 2,000 µs a tick.
        assert_eq!(
            [9_499, 9_500, 10_000, 10_999, 11_000, 12_000].map(|time| map.nearest_tick(time)),
            [9, 10, 10, 10, 11, 11]
        );
    }

    #[test]
    fn the_ends_of_the_numbers_hold() {
        let map = TempoMap::new(Division::quarter(1).unwrap(), &[tempo(u64::MAX, 0), tempo(3, 0xFF_FFFF)]);
        assert_eq!(map.micros(u64::MAX), u64::MAX);
        assert!(map.nearest_tick(u64::MAX) < u64::MAX);
        let map = TempoMap::new(Division::quarter(0x7FFF).unwrap(), &[tempo(0, 1)]);
        assert_eq!(map.nearest_tick(u64::MAX), u64::MAX);
    }

    proptest! {
        #[test]
        fn nearest_tick_is_the_nearest(
            bytes in prop_oneof![
                (0u8..128, 0u8..=255),
                (Just(0xE8u8), 1u8..=255),
                (Just(0xE3u8), 1u8..=255)
            ],
            changes in proptest::collection::vec((0u64..5_000, 1u32..0x100_0000), 0..6),
            time in 0u64..100_000_000,
        ) {
            let Some(division) = Division::from_bytes([bytes.0, bytes.1]) else { return Ok(()) };
            let changes: Vec<TempoEvent> = changes.into_iter().map(|(tick, micros)| tempo(tick, micros)).collect();
            let map = TempoMap::new(division, &changes);
            let nearest = map.nearest_tick(time);
            // In exact numbers, not in rounded microseconds.
            let exact = |tick: u64| map.stretch(|stretch| stretch.first_tick <= tick).time(tick);
            let wanted = u128::from(time) * map.denominator;
            let off = exact(nearest).abs_diff(wanted);
            prop_assert!(off < exact(nearest + 1).abs_diff(wanted));
            if nearest > 0 {
                prop_assert!(off <= exact(nearest - 1).abs_diff(wanted));
            }
            // Ticks in order stay in order.
            prop_assert!(map.micros(nearest) <= map.micros(nearest + 1));
        }
    }
}
