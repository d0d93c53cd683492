//! From a pressed key to notes: zones (rule R3), pitch (R4), velocity (R6), and the release that undoes the press (R1).

use std::sync::Arc;

use super::Engine;
use super::handful::Gathering;
use super::ledger::{FIRST_ZONE, Key, KeyNumber, Ledger, Share, Strike};
use super::out::Out;
use super::plan::PlanZone;
use super::rings::{Ring, Why};
use crate::map::Linger;
use crate::music::range::fold_into;

/// A note that is about to be struck.
#[derive(Debug, Clone, Copy)]
pub(super) struct Struck {
    owner: Owner,
    zone: u16,
    place: u16,
    note: u8,
    velocity: u8,
    pressure: bool,
    strike: Strike,
}

impl Struck {
    pub fn note(&self) -> u8 {
        self.note
    }
}

/// Who will own a note.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Owner {
    /// A pressed key.
    Key(KeyNumber),
    /// Its zone, or the drone.
    Ring(Why),
}

impl Owner {
    /// The key whose press it is.
    fn key(self) -> Option<KeyNumber> {
        match self {
            Owner::Key(key) | Owner::Ring(Why::Chord(key) | Why::Toggled(key)) => Some(key),
            Owner::Ring(_) => None,
        }
    }
}

/// The note that a zone makes of a key before `within`, of any number.
pub(super) fn pitch_anywhere(zone: &PlanZone, key: i32, shift: i32) -> i32 {
    key + zone.offset + if zone.follow_key { shift } else { 0 }
}

/// The note that a zone makes of a key (rule R4); `None` outside 0–127.
pub(super) fn pitch(zone: &PlanZone, key: i32, shift: i32) -> Option<u8> {
    let pitch = pitch_anywhere(zone, key, shift);
    let pitch = zone.within.map_or(Some(pitch), |within| fold_into(pitch, within))?;
    u8::try_from(pitch).ok().filter(|pitch| *pitch < 128)
}

impl Engine {
    /// A key goes down.
    pub(super) fn press(&mut self, input: usize, channel: u8, key: u8, velocity: u8, now: u64, out: &mut Out) {
        let number = Ledger::number(input, channel, key);
        if self.ledger.key(number).down {
            self.release(number, 64, now, out);
        }
        self.presses += 1;
        let velocity = self.plan.inputs[input].curve[usize::from(velocity & 127)];
        self.ledger.press(number, Key::struck(velocity, now, self.presses));
        let plan = Arc::clone(&self.plan);
        self.struck.clear();
        for index in 0..self.in_use.len() {
            let zone_number = self.in_use[index];
            let zone = &plan.zones[usize::from(zone_number)];
            if !zone.hears(input, key) {
                continue;
            }
            let begin = self.struck.len();
            let taken = self.offer(number, zone_number, zone, now, out);
            self.settle(begin, now, out);
            if taken && zone.only {
                self.ledger.key_mut(number).offered = zone_number;
                break;
            }
        }
        self.strike_all(out);
        self.move_drone_with_hand(now, out);
    }

    /// Offers a key to a zone that hears it; whether the zone takes it.
    fn offer(&mut self, number: KeyNumber, zone_number: u16, zone: &PlanZone, now: u64, out: &mut Out) -> bool {
        if zone.linger == Linger::Toggle && self.end_toggled(number, zone_number, zone, now, out) {
            return true;
        }
        if zone.by_handful {
            return self.admit(number, zone_number, zone, now, out);
        }
        zone.takes(self.ledger.key(number).velocity) && self.enter_zone(number, zone_number, zone, now, out)
    }

    /// A key that toggled a note ends it, and does nothing else in the zone (rule R10); whether there was one.
    fn end_toggled(&mut self, number: KeyNumber, zone_number: u16, zone: &PlanZone, now: u64, out: &mut Out) -> bool {
        let toggled = |ring: &Ring| ring.zone == zone_number && ring.why == Why::Toggled(number) && !ring.left;
        let place = self.rings.iter().find(|ring| toggled(ring)).map(|ring| ring.place);
        if let Some(place) = place {
            self.fade_rings(place, zone.fade, now, out, toggled);
        }
        place.is_some()
    }

    /// `velocity_by = "handful"`: the first note in the window lets in its whole handful, the keys that are still
    /// down at that moment. Whether the zone takes the key.
    fn admit(&mut self, number: KeyNumber, zone_number: u16, zone: &PlanZone, now: u64, out: &mut Out) -> bool {
        let key = *self.ledger.key(number);
        let gathering = &mut self.gatherings[usize::from(zone_number)];
        if gathering.begun.is_none_or(|begun| now.saturating_sub(begun) >= self.plan.gather) {
            *gathering = Gathering { begun: Some(now), first: key.press, admitted: false };
        }
        if gathering.admitted {
            return self.enter_zone(number, zone_number, zone, now, out);
        }
        if !zone.takes(key.velocity) {
            return false;
        }
        gathering.admitted = true;
        let first = gathering.first;
        let begin = self.struck.len();
        let mut next = self.ledger.next_down(0);
        while let Some(other) = next {
            next = self.ledger.next_down(other + 1);
            let state = self.ledger.key(other);
            let waits = state.press >= first && state.offered >= zone_number;
            if waits && zone.hears((other >> 11) as usize, (other & 127) as u8) {
                self.enter_zone(other, zone_number, zone, now, out);
            }
        }
        self.struck[begin..].sort_unstable_by_key(|struck| (struck.note, struck.owner.key()));
        true
    }

    /// A key enters a zone: what the zone makes of it is added to what is about to be struck. False where the key is
    /// not in the zone, as it does not fit the key (rule R12).
    pub(super) fn enter_zone(
        &mut self,
        number: KeyNumber,
        zone_number: u16,
        zone: &PlanZone,
        now: u64,
        out: &mut Out,
    ) -> bool {
        if zone.one_key {
            self.strike_chord(number, zone_number, zone, now, out);
            return true;
        }
        let Some(chosen) = self.chosen(number, zone) else { return false };
        if zone.derives() {
            self.gather(number, (zone_number, zone), chosen, now, out);
            self.ledger.belong(number, zone_number, chosen);
            if zone.is_at_once() {
                self.decide(zone_number, out);
            }
            return true;
        }
        let Some(note) = pitch(zone, i32::from(chosen), self.standing.shift) else {
            self.counts.out_of_range += 1;
            return true;
        };
        if zone.gathers || !self.rings.is_empty() {
            self.gather(number, (zone_number, zone), chosen, now, out);
        }
        let owner = match zone.linger {
            Linger::Toggle => {
                self.ledger.belong(number, zone_number, chosen);
                Owner::Ring(Why::Toggled(number))
            }
            _ => Owner::Key(number),
        };
        self.aim(owner, zone_number, note, self.ledger.key(number).velocity);
        true
    }

    /// Adds a note of a zone to what is about to be struck; `velocity` is that after the input's curve.
    pub(super) fn aim(&mut self, owner: Owner, zone_number: u16, note: u8, velocity: u8) {
        let zone = &self.plan.zones[usize::from(zone_number)];
        self.struck.push(Struck {
            owner,
            zone: zone_number,
            place: zone.place,
            note,
            velocity: zone.velocity[usize::from(velocity)],
            pressure: zone.bend,
            strike: Strike::Fresh,
        });
    }

    /// Settles who owns what was aimed at from this index on, and ends what must be struck again (rules R2 and R3).
    pub(super) fn settle(&mut self, begin: usize, now: u64, out: &mut Out) {
        for index in begin..self.struck.len() {
            self.wake_place(self.struck[index].place, out);
            let strike = self.judge(index, now);
            let Struck { owner, zone, place, note, velocity, pressure, .. } = self.struck[index];
            self.struck[index].strike = strike;
            if strike == Strike::Again {
                self.say_off(place, note, 64, out);
            }
            if matches!(strike, Strike::Fresh | Strike::Again) {
                self.ledger.struck(place, note, striker(owner, zone), velocity, now);
            }
            match owner {
                _ if strike == Strike::Never => {}
                Owner::Key(key) => self.ledger.own(key, zone, (place, note), pressure),
                Owner::Ring(why) => {
                    let generation = self.ledger.add_owner(place, note);
                    self.rings.push(Ring { zone, place, note, why, left: false, generation });
                }
            }
        }
    }

    /// Strikes what was settled.
    pub(super) fn strike_all(&mut self, out: &mut Out) {
        for index in 0..self.struck.len() {
            let Struck { place, note, velocity, strike, .. } = self.struck[index];
            if matches!(strike, Strike::Fresh | Strike::Again) {
                self.say_on(place, note, velocity, out);
            }
        }
    }

    /// What the strike at this index has to do, seen after those before it.
    fn judge(&mut self, index: usize, now: u64) -> Strike {
        let this = self.struck[index];
        let same_note = |other: &Struck| (other.place, other.note) == (this.place, this.note);
        let has_room = match this.owner {
            Owner::Key(key) => self.ledger.has_room(key),
            Owner::Ring(_) => self.has_room_to_ring(),
        };
        if !has_room || self.rings_already(&this) {
            return Strike::Never;
        }
        if let Some(first) = self.struck[..index].iter_mut().find(|other| same_note(other)) {
            if first.owner.key() == this.owner.key() {
                // One press strikes a note once, at its first zone's turn, with the loudest velocity.
                first.velocity = first.velocity.max(this.velocity);
            }
            return Strike::Join;
        }
        // A note that this press began before (a handful let in later, `early_ms`) is not struck again.
        let key = if let Owner::Key(key) = this.owner { self.ledger.shares(key) } else { &[] };
        let same = |share: &Share| (share.place, share.note) == (this.place, this.note);
        if key.iter().any(|share| same(share) && self.ledger.is_live(share)) {
            return Strike::Join;
        }
        self.ledger.strike(this.place, this.note, striker(this.owner, this.zone), now, self.plan.gather)
    }

    /// Whether the zone's note rings already for the same reason.
    fn rings_already(&self, this: &Struck) -> bool {
        let Owner::Ring(why) = this.owner else { return false };
        let same = |ring: &Ring| (ring.zone, ring.place, ring.note) == (this.zone, this.place, this.note);
        self.rings(|ring| same(ring) && ring.why == why && !ring.left)
    }

    /// A key comes up: exactly what its press began ends, where it began (rule R1), or lingers (R10).
    pub(super) fn release(&mut self, number: KeyNumber, velocity: u8, now: u64, out: &mut Out) {
        if !self.ledger.key(number).down {
            return;
        }
        self.ledger.lift(number);
        let press = self.ledger.key(number).press;
        for index in 0..self.ledger.shares(number).len() {
            let share = self.ledger.shares(number)[index];
            self.note_lift(share.zone);
            if !share.sounds {
                self.leave_handful(number, &share, velocity, now, out);
            } else if !(self.lingers(share.zone, press) && self.let_linger(&share)) {
                let Share { place, note, .. } = share;
                if self.ledger.remove_owner(place, note, share.generation()) {
                    self.say_off(place, note, velocity, out);
                }
            }
        }
        self.ledger.forget(number);
        self.release_chord(number, velocity, out);
    }

    /// The zone takes a note over from its key; false where it has it already, or the note has ended.
    fn let_linger(&mut self, share: &Share) -> bool {
        let Share { zone, place, note, .. } = *share;
        let lingers = |ring: &Ring| (ring.zone, ring.place, ring.note) == (zone, place, note) && ring.lingers();
        if !self.ledger.is_live(share) || !self.has_room_to_ring() || self.rings(lingers) {
            return false;
        }
        let generation = share.generation();
        self.rings.push(Ring { zone, place, note, why: Why::Lingers, left: false, generation });
        true
    }

    /// Pressure of one key follows the ledger (rule R7), once to each note that the key owns.
    pub(super) fn press_key_harder(&mut self, number: KeyNumber, value: u8, out: &mut Out) {
        let shares = self.ledger.shares(number);
        for (index, share) in shares.iter().enumerate() {
            let reaches = |share: &Share| share.pressure && self.ledger.is_live(share);
            let said = shares[..index]
                .iter()
                .any(|other| (other.place, other.note) == (share.place, share.note) && reaches(other));
            if reaches(share) && !said {
                self.say(share.place, 0xA0, share.note, value, out);
            }
        }
    }

    /// Keys struck so shortly before a change from elsewhere also sound in the zones that are new (rule R3).
    /// `source` is the input that the change came from.
    pub(super) fn strike_early(&mut self, source: Option<usize>, now: u64, out: &mut Out) {
        if self.plan.early == 0 {
            return;
        }
        let plan = Arc::clone(&self.plan);
        self.struck.clear();
        for index in 0..self.in_use.len() {
            let zone_number = self.in_use[index];
            if self.before.contains(&zone_number) {
                continue;
            }
            let begin = self.struck.len();
            let mut next = self.ledger.next_down(0);
            while let Some(key) = next {
                next = self.ledger.next_down(key + 1);
                let state = *self.ledger.key(key);
                let input = (key >> 11) as usize;
                let early = now.saturating_sub(state.at) < plan.early && source != Some(input);
                if early && self.reaches(&plan, key, index) && self.ledger.has_room(key) {
                    self.enter_zone(key, zone_number, &plan.zones[usize::from(zone_number)], now, out);
                }
            }
            self.struck[begin..].sort_unstable_by_key(|struck| (struck.note, struck.owner.key()));
            self.settle(begin, now, out);
        }
        self.strike_all(out);
        self.move_drone_with_hand(now, out);
    }

    /// Whether a held key would have reached the zone at this index of those in use, had it been struck now.
    fn reaches(&self, plan: &super::Plan, key: KeyNumber, index: usize) -> bool {
        let velocity = self.ledger.key(key).velocity;
        let takes = |zone: &u16| {
            let zone = &plan.zones[usize::from(*zone)];
            zone.hears((key >> 11) as usize, (key & 127) as u8) && zone.takes(velocity)
        };
        let taken_before = |zone: &&u16| plan.zones[usize::from(**zone)].only && takes(zone);
        takes(&self.in_use[index]) && !self.in_use[..index].iter().any(|zone| taken_before(&zone))
    }
}

/// Who strikes a note, as the ledger numbers it.
fn striker(owner: Owner, zone: u16) -> u32 {
    owner.key().unwrap_or(FIRST_ZONE + u32::from(zone))
}

impl PlanZone {
    /// Whether it listens to the input and contains the key.
    pub(super) fn hears(&self, input: usize, key: u8) -> bool {
        self.inputs & 1 << input != 0 && (self.keys.0..=self.keys.1).contains(&key)
    }

    /// Whether the velocity is in its window.
    fn takes(&self, velocity: u8) -> bool {
        (self.window.0..=self.window.1).contains(&velocity)
    }
}
