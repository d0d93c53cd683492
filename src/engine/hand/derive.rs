//! Derived notes (rule R11): what a zone makes of its handful and the older keys still down.

use super::Hand;
use super::follower::{Follower, Harmony, Terms};
use super::gather::is_derived_by;
use super::press::{pitch, pitch_anywhere};
use crate::engine::current::Current;
use crate::engine::ids::Source;
use crate::engine::ids::{Micros, ZoneId};
use crate::engine::notes::On;
use crate::engine::notes::struck::Owner;
use crate::engine::notes::unheld::{Unheld, Why};
use crate::engine::out::Reason;
use crate::engine::plan::Plan;
use crate::engine::zone::PlanZone;
use crate::map::{Linger, Plays};
use crate::music::{follow, voicing};

/// Up to so many notes are derived from a handful: each pitch class once.
const MOST: usize = 12;

impl Terms<'_> {
    /// What a zone follows chords with, where the set stands.
    pub(super) fn of<'p>(zone: &PlanZone, on: &On<'_, 'p>) -> Terms<'p> {
        let standing = on.current.standing;
        let playing = on.current.playing(on.step.plan);
        let section = playing.and_then(|playing| playing.song.sections.get(standing.section));
        Terms {
            gather: on.step.plan.gather,
            min_keys: zone.min_keys,
            chords: section.map_or(&[], |section| &section.chords),
            tonic: standing.finger_tonic(),
            is_minor: playing.is_some_and(|playing| playing.tonight.keys.play_in.is_minor()),
        }
    }
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

    /// The note of a key, where it has one.
    fn add_key(&mut self, key: i32, zone: &PlanZone, on: &mut On<'_, '_>) {
        match pitch(zone, key, on.current.standing.shift) {
            Some(note) => self.add(note),
            None => on.notes.out_of_range += 1,
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
    pub fn next_decision(&self, current: &Current, plan: &Plan) -> Option<Micros> {
        if !current.decides {
            return None;
        }
        current.in_use.iter().filter_map(|zone| self.due(*zone, plan)).min()
    }

    /// The zones that are to decide at this time do so, in file order.
    pub fn run_decisions(&mut self, on: &mut On<'_, '_>) {
        let now = on.step.now;
        for zone_id in on.current.in_use.iter().copied() {
            if self.due(zone_id, on.step.plan).is_some_and(|due| due <= now) {
                self.handful_mut(zone_id).due = None;
                self.decide_now(zone_id, on);
            }
        }
    }

    /// When a zone decides next.
    fn due(&self, zone_id: ZoneId, plan: &Plan) -> Option<Micros> {
        let follower = self.follower(plan.zone(zone_id));
        follower.map_or(self.handful(zone_id).due, Follower::due)
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
        let Some((keys, derived)) = self.derive(zone_id, zone, on) else { return };
        let loudest = self.handful(zone_id).loudest;
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
        let velocity = on.current.touched((zone_id, zone), loudest, on.step.plan);
        for note in derived.notes() {
            if !on.notes.holds(|held| is_ours(held) && (held.channel, held.note) == (zone.channel, *note)) {
                on.notes.aim(Owner::Unheld(Why::Derived), (zone_id, zone), *note, velocity);
            }
        }
        on.notes.sort_aimed(begin);
        if ends || on.notes.aimed() > begin {
            on.step.reason(Reason::Decided { keys, root: derived.root });
        }
    }

    /// What a zone is to play, where that is decided now, and the keys that it was decided from.
    fn derive(&mut self, zone_id: ZoneId, zone: &PlanZone, on: &mut On<'_, '_>) -> Option<(u128, Derived)> {
        let mut derived = Derived::default();
        let Some(follower) = self.follower_mut(zone) else {
            let keys = self.handful(zone_id).keys | self.older_keys(zone_id, on);
            let highest = zone.plays == Plays::Highest;
            let key = if highest { 127 - keys.leading_zeros() as i32 } else { keys.trailing_zeros() as i32 };
            if keys.count_ones() < zone.min_keys {
                return None;
            }
            derived.add_key(key, zone, on);
            return Some((keys, derived));
        };
        let harmony = follower.decide(on.step.now, &Terms::of(zone, on))?;
        if zone.plays == Plays::Chord {
            let led = self.lead_chord(zone_id, zone, &harmony, on.current.standing.shift);
            led.as_slice().iter().for_each(|note| derived.add(*note));
        } else {
            derived.root = Some(harmony.root);
            derived.add_key(i32::from(harmony.root), zone, on);
        }
        if zone.plays == Plays::RootFifth {
            let fifth = follow::fifth_above(harmony.classes, harmony.root);
            derived.add_key(i32::from(harmony.root) + i32::from(fifth), zone, on);
        }
        Some((harmony.keys, derived))
    }

    /// Each pitch class once, led from the zone's last chord, else from the keys themselves.
    fn lead_chord(&mut self, zone_id: ZoneId, zone: &PlanZone, harmony: &Harmony, shift: i32) -> voicing::Voicing {
        let Some((low, high)) = zone.within else { return voicing::Voicing::default() };
        let moved = pitch_anywhere(zone, 0, shift);
        let (keys, classes) = (harmony.keys, harmony.classes.moved(moved));
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
