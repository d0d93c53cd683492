//! Derived notes (rule R11): what a zone makes of its handful and the older keys still down.

use super::Hand;
use super::gather::is_derived_by;
use super::press::{pitch, pitch_anywhere};
use crate::engine::current::Current;
use crate::engine::ids::Source;
use crate::engine::ids::{Micros, ZoneId};
use crate::engine::notes::On;
use crate::engine::notes::struck::Owner;
use crate::engine::notes::unheld::{Unheld, Why};
use crate::engine::out::Reason;
use crate::engine::zone::PlanZone;
use crate::map::{Linger, Plays};
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
    /// The key that was taken for the root, where it is played.
    root: Option<u8>,
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

impl Hand {
    /// When one of the zones in use decides next.
    pub fn next_decision(&self, current: &Current) -> Option<Micros> {
        if !current.decides {
            return None;
        }
        current.in_use.iter().filter_map(|zone| self.handful(*zone).due).min()
    }

    /// The zones that are to decide at this time do so, in file order.
    pub fn run_decisions(&mut self, on: &mut On<'_, '_>) {
        let now = on.step.now;
        for zone_id in on.current.in_use.iter().copied() {
            if self.handful_mut(zone_id).due.take_if(|due| *due <= now).is_some() {
                self.decide_now(zone_id, on);
            }
        }
    }

    /// Decides and strikes.
    pub(super) fn decide_now(&mut self, zone_id: ZoneId, on: &mut On<'_, '_>) {
        on.notes.begin_strike();
        self.decide(zone_id, on);
        on.notes.settle(0, on.step);
        on.notes.strike(on.step);
    }

    /// Decides what a zone derives: ends what no longer belongs, and aims at what begins, upward.
    pub(super) fn decide(&mut self, zone_id: ZoneId, on: &mut On<'_, '_>) {
        let (zone, source) = (on.step.plan.zone(zone_id), Source::Zone(zone_id));
        let handful = *self.handful(zone_id);
        let older = self.older_keys(zone_id, on);
        let keys = handful.keys | older;
        if keys.count_ones() < zone.min_keys || is_melody(zone.min_keys, handful.keys, older, handful.decided) {
            return;
        }
        self.handful_mut(zone_id).decided = keys;
        let derived = self.derive(zone_id, zone, keys, on);
        let is_ours = |unheld: &Unheld| is_derived_by(unheld, source) && !unheld.left;
        let stays = |unheld: &Unheld| unheld.channel == zone.channel && derived.has(unheld.note);
        let held = on.notes.unheld.len();
        on.notes.end_unheld(64, on.step, |unheld| is_ours(unheld) && !stays(unheld));
        let ends = on.notes.unheld.len() < held;
        if zone.linger == Linger::Off && !on.notes.owners.is_held(source) {
            on.notes.end_unheld(64, on.step, is_ours);
            return;
        }
        let begin = on.notes.aimed();
        for note in derived.notes() {
            if !on.notes.holds(|held| is_ours(held) && (held.channel, held.note) == (zone.channel, *note)) {
                on.notes.aim(Owner::Unheld(Why::Derived), (zone_id, zone), *note, handful.loudest);
            }
        }
        on.notes.sort_aimed(begin);
        if ends || on.notes.aimed() > begin {
            on.step.reason(Reason::Decided { keys, root: derived.root });
        }
    }

    fn derive(&mut self, zone_id: ZoneId, zone: &PlanZone, keys: u128, on: &mut On<'_, '_>) -> Derived {
        let mut derived = Derived::default();
        let shift = on.current.standing.shift;
        let lowest = keys.trailing_zeros() as i32;
        let mut add = |derived: &mut Derived, key: i32| match pitch(zone, key, shift) {
            Some(note) => derived.add(note),
            None => on.notes.out_of_range += 1,
        };
        match zone.plays {
            Plays::AsPressed => {}
            Plays::Lowest => add(&mut derived, lowest),
            Plays::Highest => add(&mut derived, 127 - keys.leading_zeros() as i32),
            Plays::Root | Plays::RootFifth => {
                let root = follow::root(keys).unwrap_or_default();
                derived.root = Some(root);
                add(&mut derived, i32::from(root));
                if zone.plays == Plays::RootFifth {
                    add(&mut derived, i32::from(root) + i32::from(follow::fifth_above(keys, root)));
                }
            }
            Plays::Chord => {
                let led = self.lead_chord(zone_id, zone, keys, shift);
                led.as_slice().iter().for_each(|note| derived.add(*note));
            }
        }
        derived
    }

    /// Each pitch class once, led from the zone's last chord, else from the keys themselves.
    fn lead_chord(&mut self, zone_id: ZoneId, zone: &PlanZone, keys: u128, shift: i32) -> voicing::Voicing {
        let Some((low, high)) = zone.within else { return voicing::Voicing::default() };
        let moved = pitch_anywhere(zone, 0, shift);
        let classes = Classes::from_keys(keys).moved(moved);
        let mut pressed = [0; 128];
        let mut count = 0;
        for key in (0..128).filter(|key| keys & 1 << key != 0) {
            if let Ok(note) = u8::try_from(key + moved) {
                pressed[count] = note.min(127);
                count += 1;
            }
        }
        let last = self.handful(zone_id).voicing;
        let from = if last.as_slice().is_empty() { &pressed[..count] } else { last.as_slice() };
        let led = voicing::lead(from, classes, (low as u8, high as u8), None);
        self.handful_mut(zone_id).voicing = led;
        led
    }
}
