//! How keys come together into a handful, and leave it (rules R10 and R11).

use super::Hand;
use super::follower::{Follower, Terms};
use super::handful::{Gathering, Handful};
use crate::engine::ids::{KeyId, Micros, Source, ZoneId};
use crate::engine::notes::On;
use crate::engine::notes::owners::{PressedKey, Share};
use crate::engine::notes::unheld::{Unheld, Why};
use crate::engine::out::Reason;
use crate::engine::plan::Plan;
use crate::map::Linger;

/// A finger of the hand before may come up so late, after a handful began, and still be left out of it.
const LATE: Micros = Micros::from_millis(200);
/// Keys struck so much later than another may be another hand.
const APART: Micros = Micros::from_millis(20);

impl Hand {
    /// A key that sounds in a zone joins the zone's handful, or begins a new one: then what lingers ends.
    pub(super) fn gather(&mut self, id: KeyId, zone_id: ZoneId, chosen: u8, on: &mut On<'_, '_>) {
        let (zone, now, gather) = (on.step.plan.zone(zone_id), on.step.now, on.step.plan.gather);
        let &PressedKey { velocity, press, .. } = on.notes.owners.key(id);
        // Where a loud note lets in its handful, that began with the first soft one.
        let (begun, first) = match &self.gatherings[zone_id.index()] {
            Gathering { begun: Some(begun), first, .. } if zone.by_handful => (*begun, *first),
            _ => (now, press),
        };
        let handful = self.handful(zone_id);
        let goes_on = if zone.by_handful {
            // What it lets in may go on with the handful before, as a roll.
            handful.begun.is_some() && handful.first == first || handful.rolls(now)
        } else {
            // A chord of which every key is up again is over, however soon the next comes.
            handful.goes_on(now, gather) && (!zone.derives() || on.notes.owners.is_held(Source::Zone(zone_id)))
        };
        if !goes_on {
            // Most zones hold nothing: what they have to do here is next to nothing.
            if !on.notes.unheld.is_empty() {
                on.notes.end_left(on.step);
                if zone.linger == Linger::Next {
                    let source = Source::Zone(zone_id);
                    on.notes.end_unheld(64, on.step, |unheld| unheld.source == source && unheld.lingers());
                }
            }
            self.moved = true;
            self.handful_mut(zone_id).begin(begun, first);
        }
        let handful = self.handful_mut(zone_id);
        handful.last = now;
        handful.lifted = false;
        handful.keys |= 1 << chosen;
        handful.loudest = handful.loudest.max(velocity);
        if let Some(follower) = self.follower_mut(zone) {
            follower.strike(chosen, velocity, !goes_on, (now, gather));
        } else if zone.is_at_once() {
            let handful = self.handful_mut(zone_id);
            let first_decision = handful.begun.unwrap_or(now) + gather;
            handful.due = Some(if now < first_decision { first_decision } else { now + gather });
        }
    }

    /// Whether a note of a key that comes up lingers: its zone is in use, and it is of the latest handful (rule R10).
    pub(super) fn lingers(&self, source: Source, press: u64, on: &On<'_, '_>) -> bool {
        let Some(zone_id) = source.zone() else { return false };
        let handful = self.handful(zone_id);
        let is_latest = handful.begun.is_some() && press >= handful.first;
        on.step.plan.zone(zone_id).linger == Linger::Next && is_latest && on.current.in_use.contains(&zone_id)
    }

    /// A key of a zone came up, which was struck as the press of this count. Late fingers of the chord before break no
    /// roll of the next one (rule R10).
    pub(super) fn note_lift(&mut self, source: Source, press: u64, plan: &Plan) {
        if let Some(zone_id) = source.zone() {
            let follows = plan.zone(zone_id).follows();
            let handful = self.handful_mut(zone_id);
            handful.lifted |= !follows || press >= handful.first;
        }
    }

    /// A key from which a zone derives came up. A finger of the hand before that came up late decides what is open
    /// (rule R11); with the last key ends what does not linger.
    pub(super) fn leave_handful(&mut self, id: KeyId, share: &Share, velocity: u8, on: &mut On<'_, '_>) {
        let source = share.source;
        if let Some(zone_id) = source.zone() {
            let zone = on.step.plan.zone(zone_id);
            if !zone.derives() {
                return;
            }
            if on.current.in_use.contains(&zone_id) && self.leaves_late(id, share, zone_id, on) {
                on.step.reason(Reason::LateFinger(id.key()));
                self.decide_now(zone_id, on);
            }
            if zone.linger != Linger::Off {
                return;
            }
        }
        if !on.notes.owners.is_held(source) {
            on.notes.end_unheld(velocity, on.step, |unheld| is_derived_by(unheld, source));
        }
    }

    /// Whether a key that came up was a late finger of the hand before, and decides now what its zone derives.
    fn leaves_late(&mut self, id: KeyId, share: &Share, zone_id: ZoneId, on: &On<'_, '_>) -> bool {
        let (zone, now) = (on.step.plan.zone(zone_id), on.step.now);
        let pedal = zone.sustains() & self.sustained != 0;
        let Some(follower) = self.follower_mut(zone) else { return self.leaves_lowest(id, share, zone_id, on) };
        if is_heard_elsewhere(share, on, |_| true) {
            return false;
        }
        follower.lift(share.note, pedal, (now, &Terms::of(zone, on)));
        follower.due().is_some_and(|due| due <= now)
    }

    /// The same where the lowest or the highest key plays: one that is older than the handful; or one of it, where as
    /// many keys as make a handful were struck clearly later and are down (two hands so close together that they were
    /// taken for a roll). Such a one is taken out of the handful.
    fn leaves_lowest(&mut self, id: KeyId, share: &Share, zone_id: ZoneId, on: &On<'_, '_>) -> bool {
        let (zone, now, owners) = (on.step.plan.zone(zone_id), on.step.now, &on.notes.owners);
        let PressedKey { press, at, .. } = *owners.key(id);
        let handful = *self.handful(zone_id);
        let Some(begun) = handful.begun else { return false };
        if press < handful.first {
            return now - begun < LATE;
        }
        let in_zone = |key: &KeyId| owners.shares(*key).iter().any(|other| other.is_hand(share.source));
        let later = owners.down().filter(|key| owners.key(*key).at >= at + APART).filter(in_zone);
        let is_late = now - handful.last < LATE && later.count() as u32 >= zone.min_keys;
        if is_late && !is_heard_elsewhere(share, on, |key| owners.key(key).press >= handful.first) {
            self.handful_mut(zone_id).keys &= !(1 << share.note);
        }
        is_late
    }

    /// The zone's keys that are down and older than its handful.
    pub(super) fn older_keys(&self, zone: ZoneId, on: &On<'_, '_>) -> u128 {
        let first = self.handful(zone).first;
        keys_of(zone, on, |key| key.press < first)
    }

    /// A zone goes out of use: what it has not decided is dropped.
    pub fn drop_undecided(&mut self, zone: ZoneId, plan: &Plan) {
        self.handful_mut(zone).forget();
        self.follower_mut(plan.zone(zone)).into_iter().for_each(|follower| *follower = Follower::default());
        self.gatherings[zone.index()] = Gathering::default();
    }

    /// A zone that goes out of use hands an undecided handful to the new zone of its name, else drops it (rule R8).
    pub fn hand_over_undecided(&mut self, on: &mut On<'_, '_>) {
        let (plan, now) = (on.step.plan, on.step.now);
        for index in 0..on.current.before.len() {
            let old = on.current.before[index];
            if on.current.in_use.contains(&old) {
                continue;
            }
            on.notes.leave(Source::Zone(old));
            let (handful, gathering) = (*self.handful(old), self.gatherings[old.index()]);
            let zone = plan.zone(old);
            let follows_until = self.follower(zone).and_then(Follower::due);
            let is_open = handful.is_undecided(now, plan.gather) || follows_until.is_some();
            self.drop_undecided(old, plan);
            let heir = |new: &&ZoneId| plan.zone(**new).name == zone.name && !on.current.before.contains(new);
            let Some(new) = on.current.in_use.iter().find(heir).copied() else { continue };
            if zone.by_handful && gathering.is_undecided(now, plan.gather) {
                self.gatherings[new.index()] = gathering;
                offer_again(old, &gathering, on);
            }
            if is_open {
                let open_until = handful.begun.map(|begun| begun + plan.gather);
                // A roll may have begun long before: it is decided gather after its last note, never in the past.
                let due = follows_until.or(handful.due).or(open_until).unwrap_or(now).max(now);
                self.hand_over((old, new), &handful, due, on);
            }
        }
    }

    /// The handful of one zone goes on in another, which decides from its keys if it derives.
    fn hand_over(&mut self, (old, new): (ZoneId, ZoneId), handful: &Handful, due: Micros, on: &mut On<'_, '_>) {
        let plan = on.step.plan;
        let zone = plan.zone(new);
        let heir = self.handful_mut(new);
        let at_once = zone.is_at_once().then(|| handful.due.unwrap_or(due));
        let voicing = heir.voicing;
        *heir = *handful;
        (heir.due, heir.voicing) = (at_once, voicing);
        // What the old zone derived at once, and no longer than fingers hold it, still ends with the keys.
        let (from, to) = (Source::Zone(old), Source::Zone(new));
        let holds = on.notes.holds(|unheld| is_derived_by(unheld, from) && !unheld.is_without_finger(plan));
        let owners = &mut on.notes.owners;
        let mut next = owners.next_down(0).filter(|_| zone.derives());
        while let Some(key) = next {
            next = owners.next_down(key.index() + 1);
            if owners.key(key).press < handful.first {
                continue;
            }
            if !holds {
                owners.hand_over(key, from, to);
            }
            if let Some(share) = owners.shares(key).iter().find(|share| share.source == from) {
                let chosen = if share.sounds { key.key() } else { share.note };
                owners.belong(key, to, chosen);
            }
        }
        if let Some(follower) = self.follower_mut(zone) {
            *follower = Follower::of_handful(handful, keys_of(new, on, |_| true), due, plan.gather);
        }
    }
}

/// Whether a note was derived by a zone.
pub(super) fn is_derived_by(unheld: &Unheld, source: Source) -> bool {
    unheld.source == source && unheld.why == Why::Derived
}

/// The keys of a handful that were offered to the zone `old` count as offered to every zone that comes.
fn offer_again(old: ZoneId, gathering: &Gathering, on: &mut On<'_, '_>) {
    let owners = &mut on.notes.owners;
    for id in owners.all_keys() {
        let key = owners.key_mut(id);
        if key.down && key.press >= gathering.first {
            key.offered = if key.was_offered(old) { None } else { Some(ZoneId(0)) };
        }
    }
}

/// Whether another of some keys that are down is heard as the same one in the same zone.
fn is_heard_elsewhere(share: &Share, on: &On<'_, '_>, which: impl Fn(KeyId) -> bool) -> bool {
    let owners = &on.notes.owners;
    let same = |other: &Share| other.is_hand(share.source) && other.note == share.note;
    owners.down().filter(|key| which(*key)).any(|key| owners.shares(key).iter().any(same))
}

/// Of a zone's keys that are down those of which `which` says so, as the zone hears them.
fn keys_of(zone: ZoneId, on: &On<'_, '_>, which: impl Fn(&PressedKey) -> bool) -> u128 {
    let owners = &on.notes.owners;
    let shares = owners.down().filter(|key| which(owners.key(*key))).flat_map(|key| owners.shares(key));
    shares.filter(|share| share.is_hand(Source::Zone(zone))).fold(0, |keys, share| keys | 1 << share.note)
}
