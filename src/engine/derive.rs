//! Derived notes (rule R11): what a zone makes of its handful and the older keys still down.

use std::sync::Arc;

use super::Engine;
use super::out::Out;
use super::plan::PlanZone;
use super::press::{Owner, pitch, pitch_anywhere};
use super::rings::{Ring, Why};
use crate::map::Plays;
use crate::music::{Classes, follow, voicing};

/// Up to so many notes are derived from a handful: each pitch class once.
const MOST: usize = 12;

/// Whether fewer keys than make a handful are a melody over a chord that is still held: all keys decided from are down,
/// or enough of them, and above those the others have given way to these, as a tune moves on over its chord.
fn is_melody(min_keys: u32, handful: u128, older: u128, decided: u128) -> bool {
    let (held, lifted) = (decided & older, decided & !older);
    let is_above = 128 - held.leading_zeros() <= (lifted | handful).trailing_zeros();
    handful.count_ones() < min_keys && held.count_ones() >= min_keys && (lifted == 0 || is_above)
}

/// Derived notes, in no order.
#[derive(Debug, Clone, Copy, Default)]
struct Derived {
    notes: [u8; MOST],
    count: usize,
}

impl Derived {
    fn add(&mut self, note: u8) {
        if !self.has(note) && self.count < MOST {
            self.notes[self.count] = note;
            self.count += 1;
        }
    }

    fn has(&self, note: u8) -> bool {
        self.notes().contains(&note)
    }

    fn notes(&self) -> &[u8] {
        &self.notes[..self.count]
    }
}

impl Engine {
    /// When a zone decides next.
    pub(super) fn next_decision(&self) -> Option<u64> {
        if !self.decides {
            return None;
        }
        self.in_use.iter().filter_map(|zone| self.handfuls[usize::from(*zone)].due).min()
    }

    /// The zones that are to decide at this time do so, in file order.
    pub(super) fn run_decisions(&mut self, now: u64, out: &mut Out) {
        for index in 0..self.in_use.len() {
            let zone = self.in_use[index];
            let handful = &mut self.handfuls[usize::from(zone)];
            if handful.due.is_some_and(|due| due <= now) {
                handful.due = None;
                self.decide_now(zone, now, out);
            }
        }
    }

    /// Decides and strikes.
    pub(super) fn decide_now(&mut self, zone: u16, now: u64, out: &mut Out) {
        self.struck.clear();
        self.decide(zone, out);
        self.settle(0, now, out);
        self.strike_all(out);
    }

    /// Decides what a zone derives: ends what no longer belongs, and aims at what begins, upward.
    pub(super) fn decide(&mut self, zone_number: u16, out: &mut Out) {
        let plan = Arc::clone(&self.plan);
        let zone = &plan.zones[usize::from(zone_number)];
        let handful = self.handfuls[usize::from(zone_number)];
        let older = self.older_keys(zone_number);
        let keys = handful.keys | older;
        if keys.count_ones() < zone.min_keys || is_melody(zone.min_keys, handful.keys, older, handful.decided) {
            return;
        }
        self.handfuls[usize::from(zone_number)].decided = keys;
        let derived = self.derive(zone_number, zone, keys);
        let is_ours = |ring: &Ring| ring.zone == zone_number && ring.why == Why::Derived && !ring.left;
        let stays = |ring: &Ring| ring.place == zone.place && derived.has(ring.note);
        self.end_rings(64, out, |ring| is_ours(ring) && !stays(ring));
        if zone.linger == crate::map::Linger::Off && !self.is_held(zone_number) {
            self.end_rings(64, out, is_ours);
            return;
        }
        let begin = self.struck.len();
        for note in derived.notes() {
            if !self.rings.iter().any(|ring| is_ours(ring) && (ring.place, ring.note) == (zone.place, *note)) {
                self.aim(Owner::Ring(Why::Derived), zone_number, *note, handful.loudest);
            }
        }
        self.struck[begin..].sort_unstable_by_key(|struck| struck.note());
    }

    fn derive(&mut self, zone_number: u16, zone: &PlanZone, keys: u128) -> Derived {
        let mut derived = Derived::default();
        let shift = self.standing.shift;
        let lowest = keys.trailing_zeros() as i32;
        let mut add = |key: i32, engine: &mut Engine| match pitch(zone, key, shift) {
            Some(note) => derived.add(note),
            None => engine.counts.out_of_range += 1,
        };
        match zone.plays {
            Plays::AsPressed => {}
            Plays::Lowest => add(lowest, self),
            Plays::Highest => add(127 - keys.leading_zeros() as i32, self),
            Plays::Root | Plays::RootFifth => {
                let root = follow::root(keys).unwrap_or_default();
                add(i32::from(root), self);
                if zone.plays == Plays::RootFifth {
                    add(i32::from(root) + i32::from(follow::fifth_above(keys, root)), self);
                }
            }
            Plays::Chord => {
                self.lead_chord(zone_number, zone, keys).as_slice().iter().for_each(|note| derived.add(*note))
            }
        }
        derived
    }

    /// Each pitch class once, led from the zone's last chord, else from the keys themselves.
    fn lead_chord(&mut self, zone_number: u16, zone: &PlanZone, keys: u128) -> voicing::Voicing {
        let Some((low, high)) = zone.within else { return voicing::Voicing::default() };
        let moved = pitch_anywhere(zone, 0, self.standing.shift);
        let classes = Classes::from_keys(keys).moved(moved);
        let mut pressed = [0; 128];
        let mut count = 0;
        for key in (0..128).filter(|key| keys & 1 << key != 0) {
            if let Ok(note) = u8::try_from(key + moved) {
                pressed[count] = note.min(127);
                count += 1;
            }
        }
        let last = self.handfuls[usize::from(zone_number)].voicing;
        let from = if last.as_slice().is_empty() { &pressed[..count] } else { last.as_slice() };
        let led = voicing::lead(from, classes, (low as u8, high as u8), None);
        self.handfuls[usize::from(zone_number)].voicing = led;
        led
    }
}
