//! From a pressed key to notes: zones (rule R3), pitch (R4), velocity (R6), and the release that undoes the press (R1).

use std::sync::Arc;

use super::Engine;
use super::ledger::{KeyNumber, Ledger, Share, Strike};
use super::out::Out;
use super::plan::PlanZone;
use crate::music::range::fold_into;

/// Notes struck together in a zone that looks at velocity by the handful.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Handful {
    /// When its first note came; `None` before the first.
    begun: Option<u64>,
    /// The count of presses at its first note.
    first: u64,
    /// Whether a note of it was in the window.
    admitted: bool,
}

impl Handful {
    /// The count of presses at its first note.
    pub fn first(&self) -> u64 {
        self.first
    }

    /// Whether more notes may still join it, and none has been in the window.
    pub fn is_undecided(&self, now: u64, gather: u64) -> bool {
        !self.admitted && self.begun.is_some_and(|begun| now.saturating_sub(begun) < gather)
    }
}

/// A note that a press is about to strike.
#[derive(Debug, Clone, Copy)]
pub(super) struct Struck {
    key: KeyNumber,
    place: u16,
    note: u8,
    velocity: u8,
    pressure: bool,
    strike: Strike,
}

/// The note that a zone makes of a key (rule R4); `None` outside 0–127.
pub(super) fn pitch(zone: &PlanZone, key: u8, shift: i32) -> Option<u8> {
    let pitch = i32::from(key) + zone.offset + if zone.follow_key { shift } else { 0 };
    let pitch = zone.within.map_or(Some(pitch), |within| fold_into(pitch, within))?;
    u8::try_from(pitch).ok().filter(|pitch| *pitch < 128)
}

impl Engine {
    /// A key goes down.
    pub(super) fn press(&mut self, input: usize, channel: u8, key: u8, velocity: u8, now: u64, out: &mut Out) {
        let number = Ledger::number(input, channel, key);
        if self.ledger.key(number).down {
            self.release(number, 64, out);
        }
        self.presses += 1;
        let velocity = self.plan.inputs[input].curve[usize::from(velocity & 127)];
        let state = self.ledger.key_mut(number);
        state.down = true;
        state.velocity = velocity;
        state.at = now;
        state.press = self.presses;
        state.offered = u16::MAX;
        let plan = Arc::clone(&self.plan);
        self.struck.clear();
        for index in 0..self.in_use.len() {
            let zone_number = self.in_use[index];
            let zone = &plan.zones[usize::from(zone_number)];
            if !zone.hears(input, key) {
                continue;
            }
            let taken = if zone.by_handful {
                self.admit(number, zone_number, zone, now)
            } else {
                zone.takes(velocity) && {
                    self.aim(number, zone);
                    true
                }
            };
            if taken && zone.only {
                self.ledger.key_mut(number).offered = zone_number;
                break;
            }
        }
        self.strike_all(now, out);
    }

    /// `velocity_by = "handful"`: the first note in the window lets in its whole handful, the keys that are still
    /// down at that moment. Whether the zone takes the key.
    fn admit(&mut self, number: KeyNumber, zone_number: u16, zone: &PlanZone, now: u64) -> bool {
        let key = *self.ledger.key(number);
        let handful = &mut self.handfuls[usize::from(zone_number)];
        if handful.begun.is_none_or(|begun| now.saturating_sub(begun) >= self.plan.gather) {
            *handful = Handful { begun: Some(now), first: key.press, admitted: false };
        }
        if handful.admitted {
            self.aim(number, zone);
            return true;
        }
        if !zone.takes(key.velocity) {
            return false;
        }
        handful.admitted = true;
        let first = handful.first;
        let begin = self.struck.len();
        for other in 0..self.ledger.keys() as u32 {
            let state = self.ledger.key(other);
            let waits = state.down && state.press >= first && state.offered >= zone_number;
            if waits && zone.hears((other >> 11) as usize, (other & 127) as u8) {
                self.aim(other, zone);
            }
        }
        self.struck[begin..].sort_unstable_by_key(|struck| (struck.note, struck.key));
        true
    }

    /// Adds what a zone makes of a key to what is about to be struck.
    pub(super) fn aim(&mut self, key: KeyNumber, zone: &PlanZone) {
        let Some(note) = pitch(zone, (key & 127) as u8, self.standing.shift) else {
            self.counts.out_of_range += 1;
            return;
        };
        self.struck.push(Struck {
            key,
            place: zone.place,
            note,
            velocity: zone.velocity[usize::from(self.ledger.key(key).velocity)],
            pressure: zone.bend,
            strike: Strike::Fresh,
        });
    }

    /// Strikes what was aimed at: first the offs, then the ons (rules R2 and R3).
    pub(super) fn strike_all(&mut self, now: u64, out: &mut Out) {
        for index in 0..self.struck.len() {
            let strike = self.judge(index, now);
            let Struck { key, place, note, pressure, .. } = self.struck[index];
            self.struck[index].strike = strike;
            if strike == Strike::Again {
                self.say_off(place, note, 64, out);
            }
            if matches!(strike, Strike::Fresh | Strike::Again) {
                self.ledger.struck(place, note, key, now);
            }
            if strike != Strike::Never {
                self.ledger.own(key, place, note, pressure);
            }
        }
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
        if !self.ledger.has_room(this.key) {
            return Strike::Never;
        }
        if let Some(first) = self.struck[..index].iter_mut().find(|other| same_note(other)) {
            if first.key == this.key {
                // One press strikes a note once, at its first zone's turn, with the loudest velocity.
                first.velocity = first.velocity.max(this.velocity);
            }
            return Strike::Join;
        }
        // A note that this press began before (a handful let in later, `early_ms`) is not struck again.
        let mut begun = self.ledger.shares(this.key).iter();
        if begun.any(|share| (share.place, share.note) == (this.place, this.note) && self.ledger.is_live(share)) {
            return Strike::Join;
        }
        self.ledger.strike(this.place, this.note, this.key, now, self.plan.gather)
    }

    /// A key comes up: exactly what its press began ends, where it began (rule R1).
    pub(super) fn release(&mut self, number: KeyNumber, velocity: u8, out: &mut Out) {
        if !self.ledger.key(number).down {
            return;
        }
        let mut index = 0;
        while let Some((share, ends)) = self.ledger.release_share(number, index) {
            if ends {
                self.say_off(share.place, share.note, velocity, out);
            }
            index += 1;
        }
        self.ledger.forget(number);
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
            for key in 0..self.ledger.keys() as u32 {
                let state = *self.ledger.key(key);
                let input = (key >> 11) as usize;
                let early = state.down && now.saturating_sub(state.at) < plan.early && source != Some(input);
                if early && self.reaches(&plan, key, index) && self.ledger.has_room(key) {
                    self.aim(key, &plan.zones[usize::from(zone_number)]);
                }
            }
            self.struck[begin..].sort_unstable_by_key(|struck| (struck.note, struck.key));
        }
        self.strike_all(now, out);
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
