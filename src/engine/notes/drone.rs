//! The drone (rule R14): degrees of the room's key that sound until told again, over talking and from song to song.

use super::Notes;
use super::owners::{Strike, Striker};
use super::sounding::Sounding;
use super::unheld::{Unheld, Why};
use crate::engine::current::Current;
use crate::engine::ids::{ChannelId, Source};
use crate::engine::out::Notice;
use crate::engine::plan::PlanDrone;
use crate::engine::step::Step;

/// The drone of the song whose zones the keys play.
fn own(current: &Current, step: &Step<'_>) -> Option<PlanDrone> {
    current.playing(step.plan).and_then(|playing| playing.song.drone)
}

impl Notes {
    /// What the drone would sound as here: the song's own, else the one that sounds.
    fn wanted_drone(&self, current: &Current, step: &Step<'_>) -> Option<Sounding> {
        let drone = own(current, step).or(self.drone.map(|sounding| sounding.drone))?;
        let minor = current.playing(step.plan).is_some_and(|playing| playing.tonight.keys.chart.is_minor());
        Some(Sounding { drone, tonic: current.standing.tonic, minor })
    }

    /// Whether the drone sounds.
    pub fn drone_sounds(&self) -> bool {
        self.drone.is_some() && self.holds(|unheld| unheld.why == Why::Drone)
    }

    /// The first handful after a change of key or song takes the drone along.
    pub fn move_drone(&mut self, current: &Current, step: &mut Step<'_>) {
        if self.drone_sounds() && self.wanted_drone(current, step) != self.drone {
            self.sound_drone(current, step);
        }
    }

    /// The drone on or off, or the other way. One that sounds in an earlier key only moves. Whether there is one.
    pub fn turn_drone(&mut self, on: Option<bool>, current: &Current, step: &mut Step<'_>) -> bool {
        let sounds = self.drone_sounds();
        let moves = sounds && self.wanted_drone(current, step) != self.drone;
        match on {
            Some(false) if !sounds => {}
            Some(true) if sounds && !moves => {}
            Some(false) => self.end_drone(step),
            None if sounds && !moves => self.end_drone(step),
            _ if self.wanted_drone(current, step).is_none() || !sounds && own(current, step).is_none() => return false,
            _ => {
                self.sound_drone(current, step);
                step.notice(Notice::Drone(true));
            }
        }
        true
    }

    /// A drone that something else ended is off too: all sound off, a fade, a panic.
    pub fn notice_ended_drone(&mut self, step: &mut Step<'_>) {
        if self.drone.is_some() && !self.drone_sounds() {
            self.drone = None;
            step.notice(Notice::Drone(false));
        }
    }

    fn end_drone(&mut self, step: &mut Step<'_>) {
        if let Some(Sounding { drone, .. }) = self.drone.take() {
            // Notes of an earlier sound of it may be held elsewhere.
            let elsewhere = |unheld: &Unheld| unheld.why == Why::Drone && unheld.channel != drone.channel;
            self.end_unheld(64, step, elsewhere);
            self.fade(drone.channel, drone.fade, step, |unheld| unheld.why == Why::Drone);
            step.notice(Notice::Drone(false));
        }
    }

    /// Sounds the drone as it is wanted here: notes in common stay, new ones start, then the others end.
    fn sound_drone(&mut self, current: &Current, step: &mut Step<'_>) {
        let Some(wanted) = self.wanted_drone(current, step) else { return };
        let PlanDrone { channel, set_up, velocity, .. } = wanted.drone;
        self.drone = Some(wanted);
        self.set_up(channel, set_up, step);
        for note in wanted.notes() {
            match note {
                Some(note) => self.strike_drone(channel, note, velocity, step),
                None => self.out_of_range += 1,
            }
        }
        let stays = |unheld: &Unheld| unheld.channel == channel && wanted.notes().any(|note| note == Some(unheld.note));
        self.end_unheld(64, step, |unheld| unheld.why == Why::Drone && !stays(unheld));
    }

    fn strike_drone(&mut self, channel: ChannelId, note: u8, velocity: u8, step: &mut Step<'_>) {
        let is_it = |unheld: &Unheld| unheld.why == Why::Drone && (unheld.channel, unheld.note) == (channel, note);
        if self.holds(is_it) || !self.has_room() {
            return;
        }
        self.end_fade(channel, step);
        let striker = Striker::Source(Source::Drone);
        let strike = self.owners.strike((channel, note), striker, step.now, step.plan.gather);
        if strike == Strike::Again {
            step.note_off(channel, note, 64);
        }
        let generation = self.owners.add_owner(channel, note);
        let why = Why::Drone;
        self.unheld.push(Unheld { source: Source::Drone, channel, note, why, left: false, generation });
        if strike != Strike::Join {
            self.owners.struck((channel, note), striker, velocity, step.now);
            self.channels.note_on(channel, note, velocity, step);
        }
    }

    /// The set-up of the song's drone, after that of its zones (rule R8).
    pub fn set_up_drone(&mut self, current: &Current, step: &mut Step<'_>) {
        if let Some(drone) = own(current, step) {
            self.set_up(drone.channel, drone.set_up, step);
        }
    }

    /// The set-up of the song's drone, or of the one that sounds, at an output that came back (rule R21).
    pub fn set_up_drone_at(&mut self, output: usize, current: &Current, step: &mut Step<'_>) {
        let wanted = self.wanted_drone(current, step).filter(|wanted| step.plan.is_at(wanted.drone.channel, output));
        if let Some(Sounding { drone, .. }) = wanted {
            self.set_up(drone.channel, drone.set_up, step);
        }
    }
}

#[cfg(test)]
mod tests {
    use std::sync::Arc;

    use crate::engine::{Action, Engine, Event, Micros, Notice, Out, Plain, Plan};
    use crate::map::load;
    use crate::midi::decode;

    /// A song with a drone at a place where a zone plays too.
    fn engine() -> Engine {
        let mut read = |path: &str| match path {
            "set.toml" => Ok(b"title = \"Evening\"\ngear = \"gear.toml\"\n[[song]]\nmap = \"song.toml\"\n".to_vec()),
            "gear.toml" => Ok(b"[inputs.keyboard]\nport = \"piano\"\n[outputs.keys]\nvirtual = true\n\
                [sounds.warm]\noutput = \"keys\"\nchannel = 1\n"
                .to_vec()),
            _ => Ok(b"title = \"Snow\"\nkey = \"C\"\n[[zone]]\nsound = \"warm\"\n\
                [drone]\nsound = \"warm\"\ndegrees = [1, 5]\noctave = 3\n"
                .to_vec()),
        };
        Engine::new(Arc::new(Plan::new(&load("set.toml", &mut read).book.expect("the maps load"))))
    }

    /// What was noticed of the drone when this happened.
    fn noticed(engine: &mut Engine, event: Event<'_>, at: u64) -> Vec<bool> {
        let mut out: Out = engine.out();
        engine.step(event, Micros::from_millis(at), &mut out);
        let drones = out.notices().iter().filter_map(|notice| match notice {
            Notice::Drone(on) => Some(*on),
            _ => None,
        });
        drones.collect()
    }

    #[test]
    fn whatever_ends_the_drone_is_told() {
        // R7 (120), R14, R15, R16.
        let on = Event::Action(Action::Drone(None));
        let message = decode(&[0xB0, 120, 0]).expect("a message");
        let all_sound_off = Event::Message { input: 0, message };
        let fade = Event::Action(Action::Fade(300_000));
        let ends = [all_sound_off, fade, Event::Silence(0), Event::Action(Action::Plain(Plain::Panic)), on];
        let mut engine = engine();
        assert!(noticed(&mut engine, Event::Start { entry: 0, order_step: 0 }, 0).is_empty());
        for (number, end) in (1u64..).zip(ends) {
            let at = 1000 * number;
            assert_eq!(noticed(&mut engine, on, at), [true], "{end:?}");
            assert_eq!(noticed(&mut engine, end, at + 100), [false], "{end:?}");
            assert!(!engine.drone_sounds(), "{end:?}");
            assert!(noticed(&mut engine, Event::Time, at + 500).is_empty(), "{end:?}");
            assert!(noticed(&mut engine, end, at + 600).iter().all(|on| *on), "{end:?}");
            noticed(&mut engine, Event::Action(Action::Drone(Some(false))), at + 700);
        }
    }

    #[test]
    fn the_end_of_the_performance_tells_nothing_of_the_drone() {
        // R17: nobody turned it off.
        let mut engine = engine();
        noticed(&mut engine, Event::Start { entry: 0, order_step: 0 }, 0);
        assert_eq!(noticed(&mut engine, Event::Action(Action::Drone(None)), 100), [true]);
        assert!(noticed(&mut engine, Event::Stop, 200).is_empty());
    }
}
