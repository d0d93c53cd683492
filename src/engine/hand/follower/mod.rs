//! What a zone that follows chords makes of how a hand moves (rule R11): which keys count, and from when on.
//!
//! It is a state machine of its own, fed with the keys of one zone as `stay_in_key` chose them; it knows nothing of
//! outputs and owners.
//!
//! | file | what |
//! | --- | --- |
//! | `keys` | sets of keys: which lie below others, which are a chord by themselves |
//! | `decide` | blocks, common tones, tunes and brushed keys |
//! | `recent`, `broken` | chords that come one key at a time |
//! | `expected` | the section's chords, where they are written |

mod broken;
mod decide;
mod expected;
mod keys;
mod recent;
#[cfg(test)]
mod tests;

use crate::engine::ids::Micros;
use crate::engine::plan::PlanChord;
use crate::music::Classes;

use super::handful::{BRUSHED, Handful};

use keys::KeySet;
use recent::RecentKeys;

/// A finger of the chord before may come up so late after the next one was struck.
const LATE: Micros = Micros::from_millis(280);
/// So long after a brushed key came up it is decided without it.
const AFTER_BRUSH: Micros = Micros::from_millis(60);

/// What is decided with.
#[derive(Debug, Clone, Copy)]
pub(super) struct Terms<'a> {
    pub gather: Micros,
    /// Fewer keys change nothing.
    pub min_keys: u32,
    /// The chords of the section, in the fingers' key, in order.
    pub chords: &'a [PlanChord],
    /// Pitch class of the tonic of the fingers' key, from which the chords are counted.
    pub tonic: u8,
    /// Whether that key is minor.
    pub is_minor: bool,
}

/// What is to sound.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Harmony {
    /// The keys that it was decided from.
    pub keys: u128,
    /// Its pitch classes.
    pub classes: Classes,
    /// The key that counts as the root.
    pub root: u8,
}

/// What came of the latest handful so far.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
enum Verdict {
    /// Nothing yet.
    #[default]
    Open,
    /// A tune over a chord whose keys are all down.
    Tune,
    /// A tune that moves on over its chord.
    TuneMoves,
    /// It was decided from it, `by_itself` or with keys held over.
    Decided { by_itself: bool },
    /// It changed nothing.
    Nothing,
}

/// What a zone knows of the hand that it follows.
#[derive(Debug, Clone, Copy)]
pub(in crate::engine) struct Follower {
    /// When it is to be decided next.
    due: Option<Micros>,
    /// Keys that are down.
    down: KeySet,
    /// Keys let go under the sustain pedal, which is still down.
    pedalled: KeySet,
    /// The latest handful, its keys up again or not.
    struck: KeySet,
    /// Those of it that were brushed.
    brushed: KeySet,
    /// Keys of earlier handfuls that are down.
    older: KeySet,
    /// What was decided last.
    harmony: Option<Harmony>,
    begun: Micros,
    /// When a key of an earlier handful came up last.
    lifted: Micros,
    /// Whether all keys decided from were down when the handful began.
    over_all: bool,
    /// Whether the chord that sounds was found key by key.
    found: bool,
    verdict: Verdict,
    recent: RecentKeys,
    /// Which of the section's chords was met last since it was entered.
    met: Option<usize>,
    struck_at: [Micros; 128],
    velocity: [u8; 128],
}

impl Default for Follower {
    fn default() -> Follower {
        Follower {
            due: None,
            down: KeySet::NONE,
            pedalled: KeySet::NONE,
            struck: KeySet::NONE,
            brushed: KeySet::NONE,
            older: KeySet::NONE,
            harmony: None,
            begun: Micros::ZERO,
            lifted: Micros::ZERO,
            over_all: false,
            found: false,
            verdict: Verdict::Open,
            recent: RecentKeys::default(),
            met: None,
            struck_at: [Micros::ZERO; 128],
            velocity: [0; 128],
        }
    }
}

impl Follower {
    /// When it is to be decided next.
    pub fn due(&self) -> Option<Micros> {
        self.due
    }

    /// The keys from which was decided last.
    fn known(&self) -> KeySet {
        self.harmony.map_or(KeySet::NONE, |harmony| KeySet(harmony.keys))
    }

    /// A key is struck; `begins` where it begins a handful.
    pub(super) fn strike(&mut self, key: u8, velocity: u8, begins: bool, (now, gather): (Micros, Micros)) {
        if begins {
            self.older = self.down;
            self.over_all = !self.known().is_empty() && self.down.has_all(self.known());
            (self.struck, self.brushed, self.begun, self.verdict) = (KeySet::NONE, KeySet::NONE, now, Verdict::Open);
        }
        self.recent.strike(key, now);
        self.down.add(key);
        self.older.remove(key);
        self.pedalled.remove(key);
        self.struck.add(key);
        self.brushed.remove(key);
        self.struck_at[usize::from(key)] = now;
        self.velocity[usize::from(key)] = velocity;
        let first = self.begun + gather;
        self.due = Some(if now < first { first } else { now + gather });
    }

    /// A key comes up, with or without the sustain pedal down.
    pub(super) fn lift(&mut self, key: u8, pedal: bool, (now, terms): (Micros, &Terms<'_>)) {
        if !self.down.remove(key) {
            return;
        }
        if pedal {
            self.pedalled.add(key);
        }
        if self.older.remove(key) {
            self.lifted = now;
            self.lift_late(now, terms);
        } else if self.is_brushed(key, now, terms) {
            self.brushed.add(key);
            self.due = Some(now + AFTER_BRUSH);
        }
    }

    /// A zone that comes into use takes over a handful that is still open: its keys, and those of them that are down.
    pub(super) fn of_handful(handful: &Handful, down: u128, due: Micros, gather: Micros) -> Follower {
        let mut follower = Follower::default();
        let begun = handful.begun.unwrap_or_default();
        for (number, key) in KeySet(handful.keys).iter().enumerate() {
            follower.strike(key, handful.loudest, number == 0, (begun, gather));
        }
        (follower.down, follower.due) = (KeySet(down), Some(due));
        follower
    }

    /// A section is entered: its first chord is due.
    pub fn begin_section(&mut self) {
        self.met = None;
    }

    /// The sustain pedal comes up.
    pub fn lift_pedal(&mut self) {
        self.pedalled = KeySet::NONE;
    }

    /// A key of the latest handful came up so soon that it was brushed: it was decided from it, and enough others of
    /// those are down.
    fn is_brushed(&self, key: u8, now: Micros, terms: &Terms<'_>) -> bool {
        let is_decided = matches!(self.verdict, Verdict::Decided { .. }) && self.known().has(key);
        let others = self.known().and(self.down);
        is_decided && now - self.struck_at[usize::from(key)] < BRUSHED && others.count() >= terms.min_keys
    }

    /// A key older than the handful came up: it may be a finger of the chord before, and decides what is still open.
    fn lift_late(&mut self, now: Micros, terms: &Terms<'_>) {
        let first = self.begun + terms.gather;
        if now - self.begun >= LATE || self.struck.is_empty() || self.due.is_some_and(|due| due <= first) {
            return;
        }
        match self.verdict {
            Verdict::TuneMoves | Verdict::Decided { by_itself: true } => {}
            _ => self.due = self.due_after_lift(now, terms),
        }
    }
}
