//! One-key chords (rule R13): the chord that belongs on the degree of the key that is struck.

use super::Hand;
use super::handful::BRUSHED;
use super::press::{Lift, pitch_anywhere};
use crate::engine::current::Current;
use crate::engine::ids::{KeyId, Source, ZoneId};
use crate::engine::notes::On;
use crate::engine::notes::owners::PressedKey;
use crate::engine::notes::struck::Owner;
use crate::engine::notes::unheld::{Unheld, Why};
use crate::engine::out::Reason;
use crate::engine::plan::{Plan, PlanChord};
use crate::engine::zone::PlanZone;
use crate::map::Linger;
use crate::music::voicing::{Voicing, lead, root_position};

/// A chord without `within` lies no further from its key, in semitones.
const AROUND: i32 = 8;

impl Hand {
    /// A key strikes the chord of its degree in a zone. Of keys struck within gather only the first counts.
    pub(super) fn strike_chord(&mut self, id: KeyId, zone_id: ZoneId, on: &mut On<'_, '_>) {
        let (at, gather) = (on.notes.owners.key(id).at, on.step.plan.gather);
        on.notes.owners.belong(id, Source::Zone(zone_id), id.key());
        if self.handful(zone_id).chord.is_some_and(|last| at - last < gather) {
            return;
        }
        if let Some(voicing) = self.chord_of(id, zone_id, on) {
            self.gather(id, zone_id, id.key(), on);
            self.handful_mut(zone_id).chord = Some(at);
            self.sound_chord(id, zone_id, voicing, on);
        }
    }

    /// Of the early keys that reach a zone that is new, at this place among those in use, the one that counts sounds its
    /// chord, whatever the zone was handed over.
    pub(super) fn strike_early_chord(&mut self, place: usize, on: &mut On<'_, '_>) {
        let (zone_id, gather) = (on.current.in_use[place], on.step.plan.gather);
        let (mut counted, mut press) = (None, 0);
        while let Some(id) = on.next_early(place, press) {
            let PressedKey { at, press: own, .. } = *on.notes.owners.key(id);
            press = own;
            on.notes.owners.belong(id, Source::Zone(zone_id), id.key());
            if counted.is_none_or(|(_, last)| at - last >= gather) {
                counted = Some((id, at));
            }
        }
        if let Some((id, _)) = counted {
            self.handful_mut(zone_id).chord = None;
            self.strike_chord(id, zone_id, on);
        }
    }

    /// The chord that a key plays in a zone, as notes; `None`, and counted, where it has none.
    fn chord_of(&self, id: KeyId, zone_id: ZoneId, on: &mut On<'_, '_>) -> Option<Voicing> {
        let (zone, key, last) = (on.step.plan.zone(zone_id), id.key(), self.handful(zone_id).voicing);
        let chord = chord_on(zone, key, on.current, on.step.plan);
        let voicing = chord.map(|chord| voice(zone, key, chord, last, on.current));
        let voicing = voicing.filter(|voicing| !voicing.as_slice().is_empty());
        on.notes.out_of_range += u64::from(voicing.is_none());
        voicing
    }

    /// A key sounds its chord, and the zone's chord before ends.
    fn sound_chord(&mut self, id: KeyId, zone_id: ZoneId, voicing: Voicing, on: &mut On<'_, '_>) {
        let (zone, source) = (on.step.plan.zone(zone_id), Source::Zone(zone_id));
        on.notes.end_unheld(64, on.step, |unheld| {
            let is_chord = matches!(unheld.why, Why::Chord(_) | Why::Toggled(_)) || unheld.lingers();
            unheld.source == source && is_chord && !unheld.left
        });
        self.handful_mut(zone_id).voicing = voicing;
        on.step.reason(Reason::Chord(id.key()));
        let why = if zone.linger == Linger::Toggle { Why::Toggled(id) } else { Why::Chord(id) };
        let velocity = on.notes.owners.key(id).velocity;
        let velocity = on.current.touched((zone_id, zone), velocity, on.step.plan);
        for note in voicing.as_slice() {
            on.notes.aim(Owner::Unheld(why), (zone_id, zone), *note, velocity);
        }
    }

    /// The key that struck a chord came up: it ends, or lingers; or it was brushed, and gives way to the key that is
    /// still down.
    pub(super) fn leave_chord(&mut self, id: KeyId, (velocity, lift): (u8, Lift), on: &mut On<'_, '_>) {
        if on.notes.unheld.is_empty() {
            return;
        }
        let is_brushed = lift == Lift::Finger && on.step.now - on.notes.owners.key(id).at < BRUSHED;
        on.notes.begin_strike();
        for zone_id in on.current.in_use.iter().copied() {
            let source = Source::Zone(zone_id);
            let is_its = |unheld: &Unheld| (unheld.source, unheld.why) == (source, Why::Chord(id)) && !unheld.left;
            if !on.notes.holds(is_its) {
                continue;
            }
            self.handful_mut(zone_id).chord = None;
            if let Some(next) = on.struck_last(source).filter(|_| is_brushed) {
                on.notes.end_unheld(velocity, on.step, is_its);
                if let Some(voicing) = self.chord_of(next, zone_id, on) {
                    self.sound_chord(next, zone_id, voicing, on);
                }
            } else if on.step.plan.zone(zone_id).linger == Linger::Next {
                on.notes.unheld.iter_mut().filter(|unheld| is_its(unheld)).for_each(|unheld| unheld.why = Why::Lingers);
            }
        }
        on.notes.end_unheld(velocity, on.step, |unheld| unheld.why == Why::Chord(id));
        on.notes.settle(0, on.step);
        on.notes.strike(on.step);
    }
}

/// The chord that a key plays, by its place above the tonic of the fingers' key, as the zone moves it.
fn chord_on(zone: &PlanZone, key: u8, current: &Current, plan: &Plan) -> Option<PlanChord> {
    let tonic = current.standing.finger_tonic();
    let chord = current.playing(plan)?.song.fingers[usize::from((12 + key % 12 - tonic) % 12)];
    let moved = pitch_anywhere(zone, i32::from(tonic), current.standing.shift);
    let at = |class: u8| (i32::from(class) + moved).rem_euclid(12) as u8;
    Some(PlanChord { classes: chord.classes.moved(moved), root: at(chord.root), bass: chord.bass.map(at) })
}

/// The chord as notes: led from the zone's last, at first from the root position nearest the key.
fn voice(zone: &PlanZone, key: u8, chord: PlanChord, last: Voicing, current: &Current) -> Voicing {
    let near = pitch_anywhere(zone, i32::from(key), current.standing.shift);
    let range = match zone.within {
        Some((low, high)) => (low as u8, high as u8),
        None if !(0..128).contains(&near) => return Voicing::default(),
        None => {
            let low = (near - AROUND).clamp(0, 127 - 2 * AROUND);
            (low as u8, (low + 2 * AROUND) as u8)
        }
    };
    let first = root_position(chord.classes, chord.root, near.clamp(0, 127) as u8);
    let from = if last.as_slice().is_empty() { first } else { last };
    lead(from.as_slice(), chord.classes, range, chord.bass)
}

impl On<'_, '_> {
    /// The first key after this count of presses that is early for a zone.
    fn next_early(&self, place: usize, press: u64) -> Option<KeyId> {
        let owners = &self.notes.owners;
        let later = owners.down().filter(|key| owners.key(*key).press > press && self.is_early(*key, place));
        later.min_by_key(|key| owners.key(*key).press)
    }

    /// Of a zone's keys that are down the one struck last, of several at one time the highest.
    fn struck_last(&self, source: Source) -> Option<KeyId> {
        let owners = &self.notes.owners;
        let keys = owners.down().filter(|key| owners.shares(*key).iter().any(|share| share.is_hand(source)));
        keys.max_by_key(|key| (owners.key(*key).at, key.key(), *key))
    }
}
