//! Handfuls: notes struck together in a zone (rule R10), and the keys that what is derived is decided from (R11).

use crate::engine::ids::Micros;
use crate::engine::zone::PlanZone;
use crate::map::Plays;
use crate::music::voicing::Voicing;

/// A note-on that follows the zone's last within this time, with no key lifted between, is of the same handful: a roll.
const ROLL: Micros = Micros::from_millis(150);

/// A key that comes up this soon after its own strike, while others stay down, was brushed.
pub(super) const BRUSHED: Micros = Micros::from_millis(200);

/// What a zone knows of its latest handful.
#[derive(Debug, Clone, Copy, Default)]
pub(in crate::engine) struct Handful {
    /// When its first note came; `None` before the first.
    pub begun: Option<Micros>,
    /// The count of presses at its first note.
    pub first: u64,
    /// When its last note came.
    pub(super) last: Micros,
    /// Whether a key of the zone came up since.
    pub(super) lifted: bool,
    /// Its keys, as `stay_in_key` chose them, up again or not.
    pub keys: u128,
    /// The loudest velocity of its keys, after the input's curve.
    pub loudest: u8,
    /// When what the zone derives is decided next.
    pub due: Option<Micros>,
    /// The zone's last chord since the song was entered.
    pub voicing: Voicing,
    /// When a one-key chord was struck last.
    pub chord: Option<Micros>,
}

impl Handful {
    /// Whether a note-on now is still of this handful: before gather is over, or in a roll.
    pub(super) fn goes_on(&self, now: Micros, gather: Micros) -> bool {
        self.begun.is_some_and(|begun| now - begun < gather) || self.rolls(now)
    }

    /// Whether a note-on now goes on with it as a roll.
    pub(super) fn rolls(&self, now: Micros) -> bool {
        self.begun.is_some() && !self.lifted && now - self.last < ROLL
    }

    /// Whether more may come before anything is decided.
    pub fn is_undecided(&self, now: Micros, gather: Micros) -> bool {
        self.due.is_some() || self.begun.is_some_and(|begun| now - begun < gather)
    }

    /// A new handful: what was decided and led before stays known.
    pub(super) fn begin(&mut self, begun: Micros, first: u64) {
        self.begun = Some(begun);
        self.first = first;
        self.keys = 0;
        self.loudest = 0;
        self.due = None;
    }

    /// The zone goes on with nothing of its handfuls but the chord from which the next is led.
    pub fn forget(&mut self) {
        *self = Handful { voicing: self.voicing, ..Handful::default() };
    }
}

/// What a zone with `velocity_by = "handful"` knows of the notes that it may still let in (rule R3).
#[derive(Debug, Clone, Copy, Default)]
pub(in crate::engine) struct Gathering {
    /// When its first note came; `None` before the first.
    pub begun: Option<Micros>,
    /// The count of presses at its first note.
    pub first: u64,
    /// Whether a note of it was in the window.
    pub admitted: bool,
}

impl Gathering {
    /// Whether more notes may still join it, and none has been in the window.
    pub fn is_undecided(&self, now: Micros, gather: Micros) -> bool {
        !self.admitted && self.begun.is_some_and(|begun| now - begun < gather)
    }
}

impl PlanZone {
    /// Whether what it plays is derived from several keys.
    pub fn derives(&self) -> bool {
        self.plays != Plays::AsPressed
    }

    /// Whether it follows the chords of the hand.
    pub fn follows(&self) -> bool {
        self.derives() && !self.is_at_once()
    }

    /// Whether what it derives sounds at once, not only when gather is over.
    pub fn is_at_once(&self) -> bool {
        matches!(self.plays, Plays::Lowest | Plays::Highest)
    }
}
