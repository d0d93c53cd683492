//! From a pressed key to notes: zones (rule R3), pitch (R4), velocity (R6), and the release that undoes the press (R1).

use super::Hand;
use super::handful::Gathering;
use crate::engine::ids::{KeyId, Micros, Source, ZoneId};
use crate::engine::notes::On;
use crate::engine::notes::owners::PressedKey;
use crate::engine::notes::struck::Owner;
use crate::engine::notes::unheld::{Unheld, Why};
use crate::engine::out::Reason;
use crate::engine::zone::PlanZone;
use crate::map::Linger;
use crate::music::range::fold_into;

/// The note that a zone makes of a key before `within`, of any number.
pub(super) fn pitch_anywhere(zone: &PlanZone, key: i32, shift: i32) -> i32 {
    key + zone.offset.at(shift)
}

/// The note that a zone makes of a key (rule R4); `None` outside 0–127.
pub(super) fn pitch(zone: &PlanZone, key: i32, shift: i32) -> Option<u8> {
    let pitch = pitch_anywhere(zone, key, shift);
    let pitch = zone.within.map_or(Some(pitch), |within| fold_into(pitch, within))?;
    u8::try_from(pitch).ok().filter(|pitch| *pitch < 128)
}

/// What comes of offering a key to a zone.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Offer {
    /// The zone takes it.
    Taken,
    /// Its velocity is not in the zone's window.
    OutOfWindow,
    /// It does not fit the key, and so it is not in the zone (rule R12).
    OutOfKey,
}

/// Why a key comes up.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Lift {
    /// A finger let go of it.
    Finger,
    /// Its input was lost, all keys of it come up, or it was struck again.
    Forced,
}

impl Hand {
    /// A key goes down.
    pub fn press(&mut self, id: KeyId, velocity: u8, on: &mut On<'_, '_>) {
        self.come_up(id, (64, Lift::Forced), on);
        let plan = on.step.plan;
        self.presses += 1;
        let velocity = plan.inputs[id.input()].curve[usize::from(velocity & 127)];
        on.notes.owners.press(id, PressedKey::struck(velocity, on.step.now, self.presses));
        on.notes.begin_strike();
        let (mut taken, mut wrong) = (false, false);
        for zone_id in on.current.in_use.iter().copied() {
            let zone = plan.zone(zone_id);
            if !zone.hears(id) {
                continue;
            }
            let offer = self.offer(id, zone_id, on);
            if offer == Offer::Taken && zone.is_at_once() {
                self.decide(zone_id, on);
            }
            taken |= offer == Offer::Taken;
            wrong |= offer == Offer::OutOfKey;
            if offer == Offer::Taken && zone.exclusive {
                on.notes.owners.key_mut(id).offered = Some(zone_id);
                break;
            }
        }
        if wrong && !taken {
            on.step.reason(Reason::Silent(id.key()));
        }
        // All that ends has ended by now, in whichever zone.
        on.notes.settle(0, on.step);
        on.notes.strike(on.step);
        self.move_drone(on);
    }

    /// Offers a key to a zone that hears it.
    fn offer(&mut self, id: KeyId, zone_id: ZoneId, on: &mut On<'_, '_>) -> Offer {
        let zone = on.step.plan.zone(zone_id);
        if zone.linger == Linger::Toggle && end_toggled(id, zone_id, on) {
            on.step.reason(Reason::LetsGo(id.key()));
            return Offer::Taken;
        }
        if zone.by_handful {
            return self.admit(id, zone_id, on);
        }
        match zone.takes(on.notes.owners.key(id).velocity) {
            true => self.enter_zone(id, zone_id, on),
            false => Offer::OutOfWindow,
        }
    }

    /// `velocity_by = "handful"`: the first note in the window lets in its whole handful, the keys that are still
    /// down at that moment.
    fn admit(&mut self, id: KeyId, zone_id: ZoneId, on: &mut On<'_, '_>) -> Offer {
        let (plan, now) = (on.step.plan, on.step.now);
        let zone = plan.zone(zone_id);
        let key = *on.notes.owners.key(id);
        if on.chosen(id, zone).is_none() {
            return Offer::OutOfKey;
        }
        let gathering = &mut self.gatherings[zone_id.index()];
        if gathering.begun.is_none_or(|begun| now - begun >= plan.gather) {
            *gathering = Gathering { begun: Some(now), first: key.press, admitted: false };
        }
        if gathering.admitted {
            return self.enter_zone(id, zone_id, on);
        }
        if !zone.takes(key.velocity) {
            return Offer::OutOfWindow;
        }
        gathering.admitted = true;
        let first = gathering.first;
        let begin = on.notes.aimed();
        let mut next = on.notes.owners.next_down(0);
        while let Some(other) = next {
            next = on.notes.owners.next_down(other.index() + 1);
            let state = on.notes.owners.key(other);
            let waits = state.press >= first && state.was_offered(zone_id);
            if waits && zone.hears(other) {
                self.enter_zone(other, zone_id, on);
            }
        }
        on.notes.sort_aimed(begin);
        Offer::Taken
    }

    /// A key enters a zone, if it fits where it has to: what the zone makes of it is added to what is about to be struck.
    fn enter_zone(&mut self, id: KeyId, zone_id: ZoneId, on: &mut On<'_, '_>) -> Offer {
        let zone = on.step.plan.zone(zone_id);
        if zone.one_key {
            self.strike_chord(id, zone_id, on);
            return Offer::Taken;
        }
        let Some(chosen) = on.chosen(id, zone) else { return Offer::OutOfKey };
        if chosen != id.key() {
            on.step.reason(Reason::Moved { key: id.key(), chosen });
        }
        let source = Source::Zone(zone_id);
        if zone.derives() {
            self.gather(id, zone_id, chosen, on);
            on.notes.owners.belong(id, source, chosen);
            return Offer::Taken;
        }
        let Some(note) = pitch(zone, i32::from(chosen), on.current.standing.shift) else {
            on.notes.out_of_range += 1;
            return Offer::Taken;
        };
        if zone.gathers || !on.notes.unheld.is_empty() {
            self.gather(id, zone_id, chosen, on);
        }
        let owner = match zone.linger {
            Linger::Toggle => {
                on.notes.owners.belong(id, source, chosen);
                Owner::Unheld(Why::Toggled(id))
            }
            _ => Owner::Key(id),
        };
        let velocity = on.notes.owners.key(id).velocity;
        let velocity = on.current.touched((zone_id, zone), velocity, on.step.plan);
        on.notes.aim(owner, (zone_id, zone), note, velocity);
        Offer::Taken
    }

    /// A finger lets go of a key: exactly what its press began ends, where it began (rule R1), or lingers (R10).
    pub fn release(&mut self, id: KeyId, velocity: u8, on: &mut On<'_, '_>) {
        self.come_up(id, (velocity, Lift::Finger), on);
    }

    fn come_up(&mut self, id: KeyId, (velocity, lift): (u8, Lift), on: &mut On<'_, '_>) {
        if !on.notes.owners.key(id).down {
            return;
        }
        on.notes.owners.lift(id);
        let press = on.notes.owners.key(id).press;
        for index in 0..on.notes.owners.shares(id).len() {
            let share = on.notes.owners.shares(id)[index];
            self.note_lift(share.source, press, on.step.plan);
            if !share.sounds {
                self.leave_handful(id, &share, velocity, on);
            } else if !(self.lingers(share.source, press, on) && on.notes.let_linger(&share)) {
                on.notes.let_go(&share, velocity, on.step);
            }
        }
        on.notes.owners.forget(id);
        self.leave_chord(id, (velocity, lift), on);
    }

    /// All keys of an input, or of one channel of it, come up, lowest first.
    pub fn lift_keys(&mut self, input: usize, channel: Option<u8>, on: &mut On<'_, '_>) {
        for key in 0..128 {
            for channel in channel.map_or(0..16, |channel| channel..channel + 1) {
                self.come_up(KeyId::new(input, channel, key), (64, Lift::Forced), on);
            }
        }
    }

    /// Keys struck so shortly before a change also sound in the zones that are new (rule R3). The key of the cue that
    /// made the change is none of them: it is the cue's alone.
    pub fn strike_early(&mut self, on: &mut On<'_, '_>) {
        let plan = on.step.plan;
        if plan.early == Micros::ZERO {
            return;
        }
        on.notes.begin_strike();
        for index in 0..on.current.in_use.len() {
            let zone_id = on.current.in_use[index];
            if on.current.before.contains(&zone_id) {
                continue;
            }
            let begin = on.notes.aimed();
            if plan.zone(zone_id).one_key {
                self.strike_early_chord(index, on);
            } else {
                self.enter_early(index, on);
            }
            on.notes.sort_aimed(begin);
        }
        on.notes.settle(0, on.step);
        on.notes.strike(on.step);
        self.move_drone(on);
    }

    /// The early keys that reach the zone that is new at this place among those in use enter it.
    fn enter_early(&mut self, place: usize, on: &mut On<'_, '_>) {
        let zone_id = on.current.in_use[place];
        let mut has_entered = false;
        let mut next = on.notes.owners.next_down(0);
        while let Some(id) = next {
            next = on.notes.owners.next_down(id.index() + 1);
            if on.is_early(id, place) {
                has_entered |= self.enter_zone(id, zone_id, on) == Offer::Taken;
            }
        }
        if has_entered && on.step.plan.zone(zone_id).is_at_once() {
            self.decide(zone_id, on);
        }
    }
}

/// A key that toggled a note ends it, and does nothing else in the zone (rule R10); whether there was one.
fn end_toggled(id: KeyId, zone_id: ZoneId, on: &mut On<'_, '_>) -> bool {
    let toggled =
        |unheld: &Unheld| unheld.source == Source::Zone(zone_id) && unheld.why == Why::Toggled(id) && !unheld.left;
    let channel = on.notes.unheld.iter().find(|unheld| toggled(unheld)).map(|unheld| unheld.channel);
    if let Some(channel) = channel {
        let time = on.step.plan.zone(zone_id).fade;
        on.notes.fade(channel, time, on.step, toggled);
    }
    channel.is_some()
}

impl On<'_, '_> {
    /// Whether a key that is down is early for the zone that is new at this place among those in use.
    pub(super) fn is_early(&self, id: KeyId, place: usize) -> bool {
        let PressedKey { at, velocity, .. } = *self.notes.owners.key(id);
        let is_early = self.step.now - at < self.step.plan.early;
        is_early && self.notes.owners.has_room(id) && self.reaches(&self.current.in_use[..=place], id, velocity)
    }

    /// Whether a held key would have reached the last of these zones in use, had it been struck now.
    fn reaches(&self, zones: &[ZoneId], id: KeyId, velocity: u8) -> bool {
        let takes = |zone: &PlanZone| zone.hears(id) && zone.takes(velocity) && self.chosen(id, zone).is_some();
        let mut zones = zones.iter().map(|zone| self.step.plan.zone(*zone));
        let Some(last) = zones.next_back() else { return false };
        takes(last) && !zones.any(|zone| zone.exclusive && takes(zone))
    }
}

impl PlanZone {
    /// Whether it listens to the input and contains the key.
    fn hears(&self, id: KeyId) -> bool {
        self.inputs & 1 << id.input() != 0 && (self.keys.0..=self.keys.1).contains(&id.key())
    }

    /// Whether the velocity is in its window.
    fn takes(&self, velocity: u8) -> bool {
        (self.window.0..=self.window.1).contains(&velocity)
    }
}
