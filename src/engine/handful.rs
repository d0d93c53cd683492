//! Handfuls: notes struck together in a zone (rule R10), and the keys that what is derived is decided from (R11).

use std::sync::Arc;

use super::Engine;
use super::ledger::{Key, KeyNumber, Share};
use super::out::Out;
use super::plan::PlanZone;
use super::rings::Why;
use crate::map::{Linger, Plays};
use crate::music::voicing::Voicing;

/// A note-on that follows the zone's last within this time, with no key lifted between, is of the same handful: a roll.
const ROLL: u64 = 150_000;
/// A finger of the hand before may come up so late, after a handful began, and still be left out of it.
const LATE: u64 = 200_000;
/// Keys struck so much later than another may be another hand.
const APART: u64 = 20_000;

/// What a zone knows of its latest handful.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Handful {
    /// When its first note came; `None` before the first.
    pub begun: Option<u64>,
    /// The count of presses at its first note.
    pub first: u64,
    /// When its last note came.
    last: u64,
    /// Whether a key of the zone came up since.
    lifted: bool,
    /// Its keys, as `stay_in_key` chose them, up again or not.
    pub keys: u128,
    /// The loudest velocity of its keys, after the input's curve.
    pub loudest: u8,
    /// When what the zone derives is decided next.
    pub due: Option<u64>,
    /// The keys from which was decided what sounds.
    pub decided: u128,
    /// The zone's last chord since the song was entered.
    pub voicing: Voicing,
    /// When a one-key chord was struck last.
    pub chord: Option<u64>,
}

impl Handful {
    /// Whether a note-on now is still of this handful: before gather is over, or in a roll.
    fn goes_on(&self, now: u64, gather: u64) -> bool {
        let rolls = !self.lifted && now.saturating_sub(self.last) < ROLL;
        self.begun.is_some_and(|begun| now.saturating_sub(begun) < gather || rolls)
    }

    /// Whether more may come before anything is decided.
    pub fn is_undecided(&self, now: u64, gather: u64) -> bool {
        self.due.is_some() || self.begun.is_some_and(|begun| now.saturating_sub(begun) < gather)
    }

    /// A new handful: what was decided and led before stays known.
    fn begin(&mut self, begun: u64, first: u64) {
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
pub(super) struct Gathering {
    /// When its first note came; `None` before the first.
    pub begun: Option<u64>,
    /// The count of presses at its first note.
    pub first: u64,
    /// Whether a note of it was in the window.
    pub admitted: bool,
}

impl Gathering {
    /// Whether more notes may still join it, and none has been in the window.
    pub fn is_undecided(&self, now: u64, gather: u64) -> bool {
        !self.admitted && self.begun.is_some_and(|begun| now.saturating_sub(begun) < gather)
    }
}

impl PlanZone {
    /// Whether what it plays is derived from several keys.
    pub(super) fn derives(&self) -> bool {
        self.plays != Plays::AsPressed
    }

    /// Whether what it derives sounds at once, not only when gather is over.
    pub(super) fn is_at_once(&self) -> bool {
        matches!(self.plays, Plays::Lowest | Plays::Highest)
    }
}

impl Engine {
    /// A key that sounds in a zone joins the zone's handful, or begins a new one: then what lingers ends.
    pub(super) fn gather(
        &mut self,
        number: KeyNumber,
        (zone_number, zone): (u16, &PlanZone),
        chosen: u8,
        now: u64,
        out: &mut Out,
    ) {
        let gather = self.plan.gather;
        let &Key { velocity, press, .. } = self.ledger.key(number);
        // Where a loud note lets in its handful, that began with the first soft one.
        let (begun, first) = match &self.gatherings[usize::from(zone_number)] {
            Gathering { begun: Some(begun), first, .. } if zone.by_handful => (*begun, *first),
            _ => (now, press),
        };
        let handful = &self.handfuls[usize::from(zone_number)];
        let goes_on = if zone.by_handful {
            handful.begun.is_some() && handful.first == first
        } else {
            // A chord of which every key is up again is over, however soon the next comes.
            handful.goes_on(now, gather) && (!zone.derives() || self.is_held(zone_number))
        };
        if !goes_on {
            // Most zones let nothing ring: what they have to do here is next to nothing.
            if !self.rings.is_empty() {
                self.end_left(now, out);
                if zone.linger == Linger::Next {
                    self.end_rings(64, out, |ring| ring.zone == zone_number && ring.lingers());
                }
            }
            self.hand_moved = true;
            self.handfuls[usize::from(zone_number)].begin(begun, first);
        }
        let handful = &mut self.handfuls[usize::from(zone_number)];
        handful.last = now;
        handful.lifted = false;
        handful.keys |= 1 << chosen;
        handful.loudest = handful.loudest.max(velocity);
        if zone.derives() {
            let first_decision = handful.begun.unwrap_or(now).saturating_add(gather);
            handful.due = Some(if now < first_decision { first_decision } else { now.saturating_add(gather) });
        }
    }

    /// Whether a note of a key that comes up lingers: its zone is in use, and it is of the latest handful (rule R10).
    pub(super) fn lingers(&self, zone_number: u16, press: u64) -> bool {
        let Some(zone) = self.plan.zones.get(usize::from(zone_number)) else { return false };
        let handful = &self.handfuls[usize::from(zone_number)];
        let is_latest = handful.begun.is_some() && press >= handful.first;
        zone.linger == Linger::Next && is_latest && self.in_use.contains(&zone_number)
    }

    /// A key of a zone came up.
    pub(super) fn note_lift(&mut self, zone_number: u16) {
        if let Some(handful) = self.handfuls.get_mut(usize::from(zone_number)) {
            handful.lifted = true;
        }
    }

    /// A key from which a zone derives came up. A late finger of the hand before is left out (rule R11); with the last
    /// key ends what does not linger.
    pub(super) fn leave_handful(&mut self, number: KeyNumber, share: &Share, velocity: u8, now: u64, out: &mut Out) {
        let plan = Arc::clone(&self.plan);
        let zone_number = share.zone;
        if let Some(zone) = plan.zones.get(usize::from(zone_number)) {
            if !zone.derives() {
                return;
            }
            if self.in_use.contains(&zone_number) && self.leaves_late(number, share, zone, now) {
                self.decide_now(zone_number, now, out);
            }
            if zone.linger != Linger::Off {
                return;
            }
        }
        if !self.is_held(zone_number) {
            self.end_rings(velocity, out, |ring| ring.zone == zone_number && ring.why == Why::Derived);
        }
    }

    /// Whether a key that came up was a late finger of the hand before, after its zone had decided: one that is older
    /// than the handful; or one of it, where as many keys as make a handful were struck clearly later and are down (two
    /// hands so close together that they were taken for a roll). Such a one is taken out of the handful.
    fn leaves_late(&mut self, number: KeyNumber, share: &Share, zone: &PlanZone, now: u64) -> bool {
        let Key { press, at, .. } = *self.ledger.key(number);
        let handful = &self.handfuls[usize::from(share.zone)];
        let Some(begun) = handful.begun else { return false };
        if !zone.is_at_once() && now.saturating_sub(begun) < self.plan.gather {
            return false;
        }
        if press < handful.first {
            return now.saturating_sub(begun) < LATE;
        }
        let in_zone = |key: &KeyNumber| self.ledger.shares(*key).iter().any(|other| other.is_hand(share.zone));
        let later = self.ledger.down().filter(|key| self.ledger.key(*key).at >= at + APART).filter(in_zone);
        let is_late = now.saturating_sub(handful.last) < LATE && later.count() as u32 >= zone.min_keys;
        // Another key of the handful may be heard as the same one.
        let same = |other: &Share| other.is_hand(share.zone) && other.note == share.note;
        let is_same = |key: KeyNumber| self.ledger.shares(key).iter().any(same);
        let mut own = self.ledger.down().filter(|key| self.ledger.key(*key).press >= handful.first);
        let stays = own.any(is_same);
        if is_late && !stays {
            self.handfuls[usize::from(share.zone)].keys &= !(1 << share.note);
        }
        is_late
    }

    /// Whether a key that is down belongs to a zone's handfuls.
    pub(super) fn is_held(&self, zone: u16) -> bool {
        self.ledger.down().any(|key| self.ledger.shares(key).iter().any(|share| share.is_hand(zone)))
    }

    /// The zone's keys that are down and older than its handful.
    pub(super) fn older_keys(&self, zone: u16) -> u128 {
        let first = self.handfuls[usize::from(zone)].first;
        let older = self.ledger.down().filter(|key| self.ledger.key(*key).press < first);
        let shares = older.flat_map(|key| self.ledger.shares(key));
        shares.filter(|share| share.is_hand(zone)).fold(0, |keys, share| keys | 1 << share.note)
    }
}
