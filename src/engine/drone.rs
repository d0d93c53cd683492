//! The drone (rule R14): degrees of the sounding key that ring until told again, over talking and from song to song.

use super::Engine;
use super::ledger::{FIRST_ZONE, Strike};
use super::out::{Notice, Out};
use super::plan::PlanDrone;
use super::rings::{Ring, Why};
use crate::music::scale;

/// In place of a zone.
const DRONE: u16 = u16::MAX;

/// What the drone sounds as.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Sounding {
    drone: PlanDrone,
    tonic: u8,
    minor: bool,
}

impl Sounding {
    /// The notes of its degrees, upward; `None` for one outside 0–127.
    fn notes(self) -> impl Iterator<Item = Option<u8>> {
        let Sounding { drone, tonic, minor } = self;
        let degrees = (1..=7).filter(move |degree| drone.degrees & 1 << (degree - 1) != 0);
        degrees.map(move |degree| {
            let note = drone.octave + i32::from(tonic) + i32::from(scale::step(minor, degree));
            u8::try_from(note).ok().filter(|note| *note < 128)
        })
    }

    /// The same drone after a saved map, where a place may have another number.
    pub(super) fn at_place(self, place: impl Fn(u16) -> u16) -> Sounding {
        Sounding { drone: PlanDrone { place: place(self.drone.place), ..self.drone }, ..self }
    }
}

impl Engine {
    /// What the drone would sound as here: the song's own, else the one that sounds.
    fn wanted_drone(&self) -> Option<Sounding> {
        let drone = self.own_drone().or(self.drone.map(|sounding| sounding.drone))?;
        let minor = self.tonight().is_some_and(|(_, tonight, _)| tonight.keys.chart.is_minor());
        Some(Sounding { drone, tonic: self.standing.tonic, minor })
    }

    /// Whether the drone sounds.
    #[must_use]
    pub fn drone_sounds(&self) -> bool {
        self.drone.is_some() && self.rings(|ring| ring.why == Why::Drone)
    }

    /// The first handful after a change of key or song takes the drone along.
    pub(super) fn move_drone_with_hand(&mut self, now: u64, out: &mut Out) {
        if std::mem::take(&mut self.hand_moved) && self.drone_sounds() && self.wanted_drone() != self.drone {
            self.sound_drone(now, out);
        }
    }

    /// The drone on or off, or the other way. One that sounds in an earlier key only moves.
    pub(super) fn turn_drone(&mut self, on: Option<bool>, now: u64, out: &mut Out) {
        let sounds = self.drone_sounds();
        let moves = sounds && self.wanted_drone() != self.drone;
        match on {
            Some(false) if !sounds => {}
            Some(true) if sounds && !moves => {}
            Some(false) => self.end_drone(now, out),
            None if sounds && !moves => self.end_drone(now, out),
            _ if self.wanted_drone().is_none() || !sounds && self.own_drone().is_none() => {
                out.notice(Notice::NothingThere);
            }
            _ => {
                self.sound_drone(now, out);
                out.notice(Notice::Drone(true));
            }
        }
    }

    /// The drone of the song whose zones the keys play.
    fn own_drone(&self) -> Option<PlanDrone> {
        self.tonight().and_then(|(.., song)| song.drone)
    }

    fn end_drone(&mut self, now: u64, out: &mut Out) {
        if let Some(Sounding { drone, .. }) = self.drone.take() {
            // Notes of an earlier sound of it may ring elsewhere.
            self.end_rings(64, out, |ring| ring.why == Why::Drone && ring.place != drone.place);
            self.fade_rings(drone.place, drone.fade, now, out, |ring| ring.why == Why::Drone);
            out.notice(Notice::Drone(false));
        }
    }

    /// Sounds the drone as it is wanted here: notes in common stay, new ones start, then the others end.
    fn sound_drone(&mut self, now: u64, out: &mut Out) {
        let Some(wanted) = self.wanted_drone() else { return };
        let place = wanted.drone.place;
        self.drone = Some(wanted);
        self.set_up(place, wanted.drone.set_up, out);
        for note in wanted.notes() {
            match note {
                Some(note) => self.strike_drone(place, note, wanted.drone.velocity, now, out),
                None => self.counts.out_of_range += 1,
            }
        }
        let stays = |ring: &Ring| ring.place == place && wanted.notes().any(|note| note == Some(ring.note));
        self.end_rings(64, out, |ring| ring.why == Why::Drone && !stays(ring));
    }

    fn strike_drone(&mut self, place: u16, note: u8, velocity: u8, now: u64, out: &mut Out) {
        let is_it = |ring: &Ring| ring.why == Why::Drone && (ring.place, ring.note) == (place, note);
        if self.rings(is_it) || !self.has_room_to_ring() {
            return;
        }
        self.wake_place(place, out);
        let striker = FIRST_ZONE + u32::from(DRONE);
        let strike = self.ledger.strike(place, note, striker, now, self.plan.gather);
        if strike == Strike::Again {
            self.say_off(place, note, 64, out);
        }
        let generation = self.ledger.add_owner(place, note);
        self.rings.push(Ring { zone: DRONE, place, note, why: Why::Drone, left: false, generation });
        if strike != Strike::Join {
            self.ledger.struck(place, note, striker, velocity, now);
            self.say_on(place, note, velocity, out);
        }
    }

    /// The set-up of the song's drone, after that of its zones (rule R8).
    pub(super) fn set_up_drone(&mut self, out: &mut Out) {
        if let Some(drone) = self.own_drone() {
            self.set_up(drone.place, drone.set_up, out);
        }
    }

    /// The set-up of the song's drone, or of the one that sounds, at an output that came back (rule R21).
    pub(super) fn set_up_drone_at(&mut self, output: usize, out: &mut Out) {
        let there = |place| usize::from(self.place(place).output) == output;
        if let Some(Sounding { drone, .. }) = self.wanted_drone().filter(|wanted| there(wanted.drone.place)) {
            self.set_up(drone.place, drone.set_up, out);
        }
    }
}
