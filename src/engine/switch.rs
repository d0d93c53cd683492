//! Zones going in and out of use: what each place must be told (rules R8 and R9), and what an output needs to hear
//! again when it comes back (R21).

use std::sync::Arc;

use super::Engine;
use super::ledger::Ledger;
use super::out::Out;
use super::place::Follows;
use super::press::Handful;

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
        for index in 0..self.in_use.len() {
            let taken = place(self.in_use[index]);
            if !self.in_use[..index].iter().any(|zone| place(*zone) == taken) {
                self.take_up(taken, out);
            }
        }
    }

    /// A zone going out of use hands an undecided handful to the new zone of its name, else drops it (rule R8).
    fn hand_over_handfuls(&mut self, now: u64) {
        let plan = Arc::clone(&self.plan);
        for index in 0..self.before.len() {
            let old = self.before[index];
            if self.in_use.contains(&old) {
                continue;
            }
            let handful = std::mem::take(&mut self.handfuls[usize::from(old)]);
            let zone = &plan.zones[usize::from(old)];
            let heir = |new: &&u16| plan.zones[usize::from(**new)].name == zone.name && !self.before.contains(new);
            if !zone.by_handful || !handful.is_undecided(now, plan.gather) {
                continue;
            }
            if let Some(new) = self.in_use.iter().find(heir).copied() {
                self.handfuls[usize::from(new)] = handful;
                self.offer_again(old, &handful);
            }
        }
    }

    /// The keys of a handful that were offered to the zone `old` count as offered to every zone that comes.
    fn offer_again(&mut self, old: u16, handful: &Handful) {
        for number in 0..self.ledger.keys() as u32 {
            let key = self.ledger.key_mut(number);
            if key.down && key.press >= handful.first() {
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
