//! What the engine knows of the performance at one moment. Everybody who shows, tells or keeps it reads this, and
//! rebuilds nothing from notices.

use super::Engine;
use super::ids::CueId;
use super::plan::Plan;
use crate::evening::Standing;

/// The most zones that a song can have: one bit each in a [`Snapshot`].
pub const MOST_ZONES: usize = 256;

/// The most cues with `off` that a set can have: one bit each in a [`Snapshot`].
pub const MOST_SWITCHES: usize = 1024;

/// Where the set stands and what is on. The numbers in it are those of the plan that was played then. It has a fixed
/// size, so that the playing thread can copy it without allocating.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Snapshot {
    /// Where the set stands.
    pub standing: Standing,
    /// Whether the drone sounds.
    pub drone: bool,
    /// Index of the song or pause that `next-song` will enter, where one was lined up.
    pub next_song: Option<usize>,
    /// How many messages of the current song were not sent, because the program had only just begun.
    pub not_sent: u16,
    zones: Bits<{ MOST_ZONES / 64 }>,
    switches: Bits<{ MOST_SWITCHES / 64 }>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Bits<const WORDS: usize>([u64; WORDS]);

impl<const WORDS: usize> Default for Bits<WORDS> {
    fn default() -> Self {
        Bits([0; WORDS])
    }
}

impl<const WORDS: usize> Bits<WORDS> {
    fn get(&self, bit: usize) -> bool {
        self.0.get(bit / 64).is_some_and(|word| word & 1 << (bit % 64) != 0)
    }

    fn set(&mut self, bit: usize) {
        if let Some(word) = self.0.get_mut(bit / 64) {
            *word |= 1 << (bit % 64);
        }
    }
}

impl From<Standing> for Snapshot {
    /// Nothing is known but where the set stands.
    fn from(standing: Standing) -> Snapshot {
        Snapshot { standing, ..Snapshot::default() }
    }
}

impl Snapshot {
    /// Whether the zone of this number, from 0 in file order, of the song that the keys play is on.
    #[must_use]
    pub fn zone_is_on(&self, zone: usize) -> bool {
        self.zones.get(zone)
    }

    /// Numbers of the cues that are on. `plan` must be the one that was played then.
    pub fn cues_on<'p>(&self, plan: &'p Plan) -> impl Iterator<Item = CueId> + use<'p> {
        let switches = self.switches;
        (0..).zip(&plan.switches).filter(move |(switch, _)| switches.get(*switch)).map(|(_, cue)| *cue)
    }
}

impl Engine {
    /// What is known at this moment. Neither waits nor allocates.
    #[must_use]
    pub fn snapshot(&self) -> Snapshot {
        let Engine { plan, current, notes, cues, .. } = self;
        let mut snapshot = Snapshot {
            standing: current.standing,
            drone: notes.drone_sounds(),
            next_song: self.next_song,
            not_sent: self.held_back.count(),
            ..Snapshot::default()
        };
        let zones = current.playing(plan).map_or(0..0, |playing| playing.song.zones.clone());
        for (bit, _) in current.on[zones].iter().enumerate().filter(|(_, on)| **on) {
            snapshot.zones.set(bit);
        }
        for (switch, _) in plan.switches.iter().enumerate().filter(|(_, cue)| cues.is_on(**cue)) {
            snapshot.switches.set(switch);
        }
        snapshot
    }
}
