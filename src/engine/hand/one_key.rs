//! One-key chords (rule R13): the chord that belongs on the degree of the key that is struck.

use super::Hand;
use super::press::pitch_anywhere;
use crate::engine::current::Current;
use crate::engine::ids::Source;
use crate::engine::ids::{KeyId, ZoneId};
use crate::engine::notes::On;
use crate::engine::notes::struck::Owner;
use crate::engine::notes::unheld::Why;
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
        let (plan, now) = (on.step.plan, on.step.now);
        let zone = plan.zone(zone_id);
        let handful = self.handful(zone_id);
        if handful.chord.is_some_and(|last| now - last < plan.gather) {
            return;
        }
        let key = id.key();
        let chord = chord_on(zone, key, on.current, plan);
        let voicing = chord.map(|chord| voice(zone, key, chord, handful.voicing, on.current)).unwrap_or_default();
        if voicing.as_slice().is_empty() {
            on.notes.out_of_range += 1;
            return;
        }
        self.gather(id, zone_id, key, on);
        let source = Source::Zone(zone_id);
        on.notes.owners.belong(id, source, key);
        on.notes.end_unheld(64, on.step, |unheld| {
            let is_chord = matches!(unheld.why, Why::Chord(_) | Why::Toggled(_)) || unheld.lingers();
            unheld.source == source && is_chord && !unheld.left
        });
        let handful = self.handful_mut(zone_id);
        handful.voicing = voicing;
        handful.chord = Some(now);
        on.step.reason(Reason::Chord(key));
        let why = if zone.linger == Linger::Toggle { Why::Toggled(id) } else { Why::Chord(id) };
        let velocity = on.notes.owners.key(id).velocity;
        for note in voicing.as_slice() {
            on.notes.aim(Owner::Unheld(why), (zone_id, zone), *note, velocity);
        }
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
    /// The key that struck a chord came up: it ends, or lingers.
    pub(super) fn release_chord(&mut self, id: KeyId, velocity: u8) {
        if self.notes.unheld.is_empty() {
            return;
        }
        let (plan, in_use) = (self.step.plan, &self.current.in_use);
        for unheld in self.notes.unheld.iter_mut().filter(|unheld| unheld.why == Why::Chord(id)) {
            let Some(zone) = unheld.source.zone() else { continue };
            if plan.zone(zone).linger == Linger::Next && in_use.contains(&zone) {
                unheld.why = Why::Lingers;
            }
        }
        self.notes.end_unheld(velocity, self.step, |unheld| unheld.why == Why::Chord(id));
    }
}
