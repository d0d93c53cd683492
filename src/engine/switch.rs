//! Zones going in and out of use: what each place must be told (rules R8 and R9), and what an output needs to hear
//! again when it comes back (R21).

use std::sync::Arc;

use super::Engine;
use super::handful::{Gathering, Handful};
use super::ledger::Ledger;
use super::out::Out;
use super::place::Follows;
use super::rings::{Ring, Why};

impl Engine {
    /// Puts the zones of where we stand into use, and tells each place what it must know (rules R8 and R9).
    pub(super) fn switch_zones(&mut self, now: u64, out: &mut Out) {
        let plan = Arc::clone(&self.plan);
        std::mem::swap(&mut self.before, &mut self.in_use);
        self.find_zones_in_use();
        self.hand_over_handfuls(now);
        let place = |zone: u16| plan.zones[usize::from(zone)].place;
        for index in 0..self.before.len() {
            let left = place(self.before[index]);
            if !self.before[..index].iter().any(|zone| place(*zone) == left) {
                self.let_go(left, out);
            }
        }
        for index in 0..self.in_use.len() {
            let taken = place(self.in_use[index]);
            let done = self.in_use[..index].iter().any(|zone| place(*zone) == taken);
            if !done && !self.before.iter().any(|zone| place(*zone) == taken) {
                self.let_go(taken, out);
            }
        }
        self.tell_places(out);
    }

    /// The zones that are on in the section where we stand.
    pub(super) fn find_zones_in_use(&mut self) {
        self.in_use.clear();
        let tonight = self.standing.song.and_then(|entry| self.plan.entries[entry].song.as_ref());
        if let Some(tonight) = tonight {
            let section = &self.plan.songs[tonight.song].sections[self.standing.section];
            self.in_use.extend(section.zones.iter().filter(|zone| self.on[usize::from(**zone)]));
        }
        self.decides = self.in_use.iter().any(|zone| self.plan.zones[usize::from(*zone)].derives());
    }

    /// The set-up of what is newly in use, then the player's present values where they are newly followed.
    pub(super) fn tell_places(&mut self, out: &mut Out) {
        let plan = Arc::clone(&self.plan);
        let place = |zone: u16| plan.zones[usize::from(zone)].place;
        for index in 0..self.in_use.len() {
            let zone = self.in_use[index];
            let here = |other: &&u16| place(**other) == place(zone);
            let done = self.in_use[..index].iter().any(|other| here(&other));
            // A zone in use before and after notices nothing, nor does its place.
            let stays = self.before.iter().filter(here).any(|other| self.in_use.contains(other));
            if !done && !stays {
                self.set_up(place(zone), plan.zones[usize::from(zone)].set_up, out);
            }
        }
        if self.drone_ready != self.standing.song {
            self.drone_ready = self.standing.song;
            self.set_up_drone(out);
        }
        for index in 0..self.in_use.len() {
            let taken = place(self.in_use[index]);
            if !self.in_use[..index].iter().any(|zone| place(*zone) == taken) {
                self.take_up(taken, out);
            }
        }
    }

    /// A zone going out of use hands an undecided handful to the new zone of its name, else drops it; what rings in it is
    /// left to ring until the next handful (rule R8).
    fn hand_over_handfuls(&mut self, now: u64) {
        let plan = Arc::clone(&self.plan);
        for index in 0..self.before.len() {
            let old = self.before[index];
            if self.in_use.contains(&old) {
                continue;
            }
            self.leave_rings(old);
            let handful = self.handfuls[usize::from(old)];
            let gathering = std::mem::take(&mut self.gatherings[usize::from(old)]);
            self.handfuls[usize::from(old)].forget();
            let zone = &plan.zones[usize::from(old)];
            let heir = |new: &&u16| plan.zones[usize::from(**new)].name == zone.name && !self.before.contains(new);
            let Some(new) = self.in_use.iter().find(heir).copied() else { continue };
            if zone.by_handful && gathering.is_undecided(now, plan.gather) {
                self.gatherings[usize::from(new)] = gathering;
                self.offer_again(old, &gathering);
            }
            if handful.is_undecided(now, plan.gather) {
                self.hand_over(old, new, &handful);
            }
        }
    }

    /// What rings in a zone is left to ring.
    pub(super) fn leave_rings(&mut self, zone: u16) {
        for ring in self.rings.iter_mut().filter(|ring| ring.zone == zone && ring.why != Why::Drone) {
            ring.left = true;
        }
    }

    /// The handful of one zone goes on in another, which decides from its keys if it derives.
    fn hand_over(&mut self, old: u16, new: u16, handful: &Handful) {
        let plan = Arc::clone(&self.plan);
        let derives = plan.zones[usize::from(new)].derives();
        let heir = &mut self.handfuls[usize::from(new)];
        let first_decision = handful.begun.map(|begun| begun.saturating_add(plan.gather));
        let due = if derives { handful.due.or(first_decision) } else { None };
        let voicing = heir.voicing;
        *heir = *handful;
        (heir.due, heir.voicing, heir.decided) = (due, voicing, 0);
        // What the old zone derived at once, and no longer than fingers hold it, still ends with the keys.
        let is_held = |ring: &Ring| ring.zone == old && ring.why == Why::Derived && !ring.is_without_finger(&plan);
        let holds = self.rings(is_held);
        let mut next = self.ledger.next_down(0).filter(|_| derives);
        while let Some(key) = next {
            next = self.ledger.next_down(key + 1);
            if self.ledger.key(key).press < handful.first {
                continue;
            }
            if !holds {
                self.ledger.hand_over(key, old, new);
            }
            if let Some(share) = self.ledger.shares(key).iter().find(|share| share.zone == old) {
                let chosen = if share.sounds { (key & 127) as u8 } else { share.note };
                self.ledger.belong(key, new, chosen);
            }
        }
    }

    /// The keys of a handful that were offered to the zone `old` count as offered to every zone that comes.
    fn offer_again(&mut self, old: u16, gathering: &Gathering) {
        for number in 0..self.ledger.keys() as u32 {
            let key = self.ledger.key_mut(number);
            if key.down && key.press >= gathering.first {
                key.offered = if key.offered >= old { u16::MAX } else { 0 };
            }
        }
    }

    /// Rule R21: an output knows nothing of us any more. All that is in use there is set up afresh.
    pub(super) fn set_up_output(&mut self, output: usize, out: &mut Out) {
        let plan = Arc::clone(&self.plan);
        let there = |place: u16| usize::from(plan.places[usize::from(place)].output) == output;
        for place in (0..plan.places.len() as u16).filter(|place| there(*place)) {
            let state = &mut self.places[usize::from(place)];
            state.forget();
            state.before = Follows::default();
            if self.places[usize::from(place)].fade.is_some() {
                self.wake_place(place, out);
            }
        }
        let zone = |index: usize, engine: &Engine| &plan.zones[usize::from(engine.in_use[index])];
        for step in [Engine::set_up_zone, Engine::take_up_zone] {
            for index in 0..self.in_use.len() {
                let place = zone(index, self).place;
                let done = (0..index).any(|other| zone(other, self).place == place);
                if there(place) && !done {
                    step(self, self.in_use[index], out);
                }
            }
        }
        self.set_up_drone_at(output, out);
    }

    /// What rings without a finger at an output that nobody listened to is struck again (rule R21).
    pub(super) fn ring_again(&mut self, output: usize, out: &mut Out) {
        let plan = Arc::clone(&self.plan);
        for index in 0..self.rings.len() {
            let ring = self.rings[index];
            let there = usize::from(plan.places[usize::from(ring.place)].output) == output;
            let same = |other: &super::rings::Ring| (other.place, other.note) == (ring.place, ring.note);
            let done = self.rings[..index].iter().any(|other| same(other) && other.rings_on(&plan));
            if there && ring.rings_on(&plan) && !done {
                let velocity = self.ledger.velocity(ring.place, ring.note);
                self.say_off(ring.place, ring.note, 64, out);
                self.say_on(ring.place, ring.note, velocity, out);
            }
        }
    }

    fn set_up_zone(&mut self, zone: u16, out: &mut Out) {
        let zone = &self.plan.zones[usize::from(zone)];
        self.set_up(zone.place, zone.set_up, out);
    }

    fn take_up_zone(&mut self, zone: u16, out: &mut Out) {
        self.take_up(self.plan.zones[usize::from(zone)].place, out);
    }

    /// Whether a key of an input is down, for those who draw it.
    #[must_use]
    pub fn is_down(&self, input: usize, channel: u8, key: u8) -> bool {
        let number = Ledger::number(input, channel & 15, key & 127) as usize;
        number < self.ledger.keys() && self.ledger.key(number as u32).down
    }
}
