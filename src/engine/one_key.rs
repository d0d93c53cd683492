//! One-key chords (rule R13): the chord that belongs on the degree of the key that is struck.

use std::sync::Arc;

use super::Engine;
use super::ledger::KeyNumber;
use super::out::Out;
use super::plan::{PlanChord, PlanZone};
use super::press::{Owner, pitch_anywhere};
use super::rings::Why;
use crate::map::Linger;
use crate::music::voicing::{Voicing, lead, root_position};

/// A chord without `within` lies no further from its key, in semitones.
const AROUND: i32 = 8;

impl Engine {
    /// A key strikes the chord of its degree in a zone. Of keys struck within gather only the first counts.
    pub(super) fn strike_chord(
        &mut self,
        number: KeyNumber,
        zone_number: u16,
        zone: &PlanZone,
        now: u64,
        out: &mut Out,
    ) {
        let last = self.handfuls[usize::from(zone_number)].chord;
        if last.is_some_and(|last| now.saturating_sub(last) < self.plan.gather) {
            return;
        }
        let key = (number & 127) as u8;
        let voicing = match self.chord_on(zone, key) {
            Some(chord) => self.voice(zone_number, zone, key, chord),
            None => Voicing::default(),
        };
        if voicing.as_slice().is_empty() {
            self.counts.out_of_range += 1;
            return;
        }
        self.gather(number, (zone_number, zone), key, now, out);
        self.ledger.belong(number, zone_number, key);
        self.end_rings(64, out, |ring| {
            let is_chord = matches!(ring.why, Why::Chord(_) | Why::Toggled(_)) || ring.lingers();
            ring.zone == zone_number && is_chord && !ring.left
        });
        let handful = &mut self.handfuls[usize::from(zone_number)];
        handful.voicing = voicing;
        handful.chord = Some(now);
        let why = if zone.linger == Linger::Toggle { Why::Toggled(number) } else { Why::Chord(number) };
        let velocity = self.ledger.key(number).velocity;
        for note in voicing.as_slice() {
            self.aim(Owner::Ring(why), zone_number, *note, velocity);
        }
    }

    /// The chord that a key plays, by its place above the tonic of the key that the fingers play in, as the zone moves it.
    fn chord_on(&self, zone: &PlanZone, key: u8) -> Option<PlanChord> {
        let tonic = self.standing.finger_tonic();
        let (.., song) = self.tonight()?;
        let chord = song.fingers[usize::from((12 + key % 12 - tonic) % 12)];
        let moved = pitch_anywhere(zone, i32::from(tonic), self.standing.shift);
        let at = |class: u8| (i32::from(class) + moved).rem_euclid(12) as u8;
        Some(PlanChord { classes: chord.classes.moved(moved), root: at(chord.root), bass: chord.bass.map(at) })
    }

    /// The chord as notes: led from the zone's last, at first from the root position nearest the key.
    fn voice(&self, zone_number: u16, zone: &PlanZone, key: u8, chord: PlanChord) -> Voicing {
        let near = pitch_anywhere(zone, i32::from(key), self.standing.shift);
        let range = match zone.within {
            Some((low, high)) => (low as u8, high as u8),
            None if !(0..128).contains(&near) => return Voicing::default(),
            None => {
                let low = (near - AROUND).clamp(0, 127 - 2 * AROUND);
                (low as u8, (low + 2 * AROUND) as u8)
            }
        };
        let last = self.handfuls[usize::from(zone_number)].voicing;
        let first = root_position(chord.classes, chord.root, near.clamp(0, 127) as u8);
        let from = if last.as_slice().is_empty() { first } else { last };
        lead(from.as_slice(), chord.classes, range, chord.bass)
    }

    /// The key that struck a chord came up: it ends, or lingers.
    pub(super) fn release_chord(&mut self, number: KeyNumber, velocity: u8, out: &mut Out) {
        if self.rings.is_empty() {
            return;
        }
        let plan = Arc::clone(&self.plan);
        for index in 0..self.rings.len() {
            let ring = self.rings[index];
            let zone = plan.zones.get(usize::from(ring.zone)).filter(|_| ring.why == Why::Chord(number));
            if zone.is_some_and(|zone| zone.linger == Linger::Next) && self.in_use.contains(&ring.zone) {
                self.rings[index].why = Why::Lingers;
            }
        }
        self.end_rings(velocity, out, |ring| ring.why == Why::Chord(number));
    }
}
