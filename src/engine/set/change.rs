//! Actions, songs, sections and keys: a change is one step (rule R8), with the shift (R5).

use super::entering::Doing;
use super::held_back::HeldBack;
use crate::engine::Engine;
use crate::engine::ids::Action;
use crate::engine::ids::{CueId, Micros, ZoneId};
use crate::engine::out::Notice;
use crate::engine::plan::{Plan, Playing};
use crate::engine::step::Step;
use crate::evening::{FURTHEST, Standing, transposed_for};
use crate::map::Plain;
use crate::music::Key;

impl Engine {
    /// The set begins.
    pub(in crate::engine) fn start(&mut self, entry: usize, order_step: usize, step: &mut Step<'_>) {
        let plan = step.plan;
        let entry = entry.min(plan.entries.len().saturating_sub(1));
        self.current.standing.entry = entry;
        (0..plan.inputs.len()).for_each(|input| self.cues.appear(input, step.now));
        step.notice(Notice::Song);
        if let Some(playing) = plan.playing(entry) {
            self.current.standing.song = Some(entry);
            self.current.stand_at(playing, order_step.min(playing.tonight.order.len() - 1));
            self.clock.enter_song(self.current.tick(plan), step.now);
            for list in self.current.lists(plan) {
                self.current.turn_zones(list, plan);
            }
            self.switch_zones(step);
        }
        self.rest_cues(step, |_, _| true);
        self.do_lists(Doing::NothingStarts, step);
        self.tell_not_done(step);
    }

    /// Does what a player asks for.
    pub(in crate::engine) fn act(&mut self, action: Action, step: &mut Step<'_>) {
        let Standing { entry, order_step, transposed, .. } = self.current.standing;
        match action {
            Action::Plain(Plain::NextSong) => {
                let next = self.next_song.filter(|next| *next != entry).unwrap_or(entry + 1);
                self.enter(next, step);
            }
            Action::Plain(Plain::PreviousSong) => self.enter(entry.wrapping_sub(1), step),
            Action::Song(wanted) if wanted == entry => {}
            Action::Song(wanted) => self.enter(wanted, step),
            Action::Plain(Plain::FromTheTop) => self.begin_again(step),
            Action::Plain(Plain::NextSection) => self.enter_step(order_step + 1, step),
            Action::Plain(Plain::PreviousSection) if self.current.is_aside(step.plan) => {
                self.enter_step(order_step, step)
            }
            Action::Plain(Plain::PreviousSection) => self.enter_step(order_step.wrapping_sub(1), step),
            Action::Section(name) => self.enter_named(name, step),
            Action::Plain(Plain::RaiseKey) => self.transpose_to(transposed + 1, step),
            Action::Plain(Plain::LowerKey) => self.transpose_to(transposed - 1, step),
            Action::Key(key) => self.go_to_key(key, step),
            Action::Plain(Plain::TonightsKey) => self.transpose_to(0, step),
            Action::Zone { name, on } => self.turn_zone(name, on, step),
            Action::Plain(Plain::ResendMessages) => self.resend_messages(step),
            Action::Plain(Plain::ResendSounds) => {
                for output in 0..step.plan.outputs.len() {
                    self.set_up_output(output, step);
                }
                step.notice(Notice::SetUpAgain);
            }
            Action::Plain(Plain::Panic) => self.panic(step),
            Action::LineUp(wanted) if wanted < step.plan.entries.len() => {
                self.next_song = Some(wanted);
                step.notice(Notice::LinedUp(wanted));
            }
            Action::LineUp(_) => step.notice(Notice::NothingThere),
            Action::Plain(Plain::Tap) => self.clock.tap(step),
            Action::Drone(on) => {
                if !self.notes.turn_drone(on, &self.current, step) {
                    step.notice(Notice::NothingThere);
                }
            }
            Action::Fade(time) => {
                if !self.notes.fade_all(Micros(time), step) {
                    step.notice(Notice::NothingToFade);
                }
            }
        }
    }

    /// Enters a song or a pause, leaving the one before.
    fn enter(&mut self, entry: usize, step: &mut Step<'_>) {
        let plan = step.plan;
        if entry >= plan.entries.len() {
            step.notice(Notice::NothingThere);
            return;
        }
        self.sends.leave_song(plan);
        let mut turned = false;
        if let Some(Playing { tonight, song, .. }) = self.current.entered(plan) {
            turned = self.current.turn_zones(&song.leave, plan);
            self.do_list(&song.leave, Doing::All, step);
            self.leave_song_cues(tonight.song, step);
        }
        self.current.standing.entry = entry;
        self.next_song = None;
        self.held_back = HeldBack::default();
        step.notice(Notice::Song);
        let Some(playing) = plan.playing(entry) else { return self.begin_pause(turned, step) };
        if self.current.standing.song != Some(entry) {
            self.current.standing.transposed = 0;
        }
        self.current.standing.song = Some(entry);
        self.rest_own_cues(playing.tonight.song, step);
        self.begin_song(playing, step);
    }

    /// A pause keeps the zones of the song that it leaves, but for those that are turned; `turned` says whether leaving
    /// the song has turned some.
    fn begin_pause(&mut self, turned: bool, step: &mut Step<'_>) {
        let plan = step.plan;
        let [_, list, _] = self.current.lists(plan);
        let turned = self.current.turn_zones(list, plan) || turned;
        if turned {
            self.switch_zones(step);
        }
        self.do_list(list, Doing::All, step);
        if turned {
            self.strike_early(step);
        }
    }

    fn begin_again(&mut self, step: &mut Step<'_>) {
        let Some(playing) = self.current.entered(step.plan) else {
            step.notice(Notice::NothingThere);
            return;
        };
        self.sends.leave_song(step.plan);
        self.held_back = HeldBack::default();
        step.notice(Notice::Song);
        self.begin_song(playing, step);
    }

    fn begin_song(&mut self, playing: Playing<'_>, step: &mut Step<'_>) {
        for zone in playing.song.zones.clone() {
            self.current.on[zone] = step.plan.zones[zone].on;
            // Voices are led from within the song only.
            self.hand.begin_song(ZoneId(zone as u16), step.plan);
        }
        self.current.stand_at(playing, 0);
        self.clock.enter_song(self.current.tick(step.plan), step.now);
        for list in self.current.lists(step.plan) {
            self.current.turn_zones(list, step.plan);
        }
        self.switch_zones(step);
        self.do_lists(Doing::All, step);
        self.strike_early(step);
    }

    /// Enters a step of tonight's order.
    fn enter_step(&mut self, order_step: usize, step: &mut Step<'_>) {
        let entered = self.current.entered(step.plan);
        let section = entered.and_then(|playing| playing.tonight.order.get(order_step).copied());
        match section {
            Some(section) => self.enter_section(order_step, usize::from(section), step),
            None => step.notice(Notice::NothingThere),
        }
    }

    /// Enters the section of this name: at its next step in tonight's order, or from the beginning of the order; one
    /// that the order lacks is played aside, and the order goes on from where it was left.
    fn enter_named(&mut self, name: u16, step: &mut Step<'_>) {
        let entered = self.current.entered(step.plan);
        let found = entered.and_then(|playing| {
            let named = playing.song.sections.iter().position(|section| section.name == Some(name));
            named.map(|section| (&playing.tonight.order, section))
        });
        let Some((order, section)) = found else {
            step.notice(Notice::NothingThere);
            return;
        };
        if section == self.current.standing.section {
            return;
        }
        let here = self.current.standing.order_step;
        let onward = (1..=order.len()).map(|ahead| (here + ahead) % order.len());
        let order_step = onward.into_iter().find(|order_step| usize::from(order[*order_step]) == section);
        self.enter_section(order_step.unwrap_or(here), section, step);
    }

    fn enter_section(&mut self, order_step: usize, section: usize, step: &mut Step<'_>) {
        let Some(playing) = self.current.playing(step.plan) else { return };
        let before = self.current.tick(step.plan);
        self.current.standing.order_step = order_step;
        self.current.standing.section = section;
        self.clock.change(before, self.current.tick(step.plan), step.now);
        self.current.find_shift(playing);
        for zone in playing.song.zones.clone() {
            self.hand.begin_section(ZoneId(zone as u16), step.plan);
        }
        self.held_back.section = 0;
        step.notice(Notice::Section);
        let list = &playing.song.sections[section].enter;
        self.current.turn_zones(list, step.plan);
        self.switch_zones(step);
        self.do_list(list, Doing::All, step);
        self.strike_early(step);
    }

    fn transpose_to(&mut self, transposed: i32, step: &mut Step<'_>) {
        match self.current.playing(step.plan) {
            Some(playing) if transposed.abs() <= FURTHEST => {
                self.current.standing.transposed = transposed;
                self.current.find_shift(playing);
                step.notice(Notice::Key);
            }
            Some(_) => step.notice(Notice::NoSuchKey),
            None => step.notice(Notice::NothingThere),
        }
    }

    /// To a key of the song's mode.
    fn go_to_key(&mut self, key: Key, step: &mut Step<'_>) {
        let other_mode = |playing: Playing<'_>| playing.tonight.keys.chart.is_minor() != key.is_minor();
        if self.current.playing(step.plan).is_some_and(other_mode) {
            step.notice(Notice::NoSuchKey);
            return;
        }
        self.transpose_to(transposed_for(key.tonic(), &self.current.standing), step);
    }

    fn turn_zone(&mut self, name: u16, on: Option<bool>, step: &mut Step<'_>) {
        let plan = step.plan;
        let zones = self.current.playing(plan).map_or(0..0, |playing| playing.song.zones.clone());
        let mut named = zones.filter(|zone| plan.zones[*zone].name == name).peekable();
        let Some(first) = named.peek() else {
            step.notice(Notice::NothingThere);
            return;
        };
        let on = on.unwrap_or(!self.current.on[*first]);
        for zone in named {
            self.current.on[zone] = on;
        }
        step.notice(Notice::Zone(name, on));
        self.switch_zones(step);
        self.strike_early(step);
    }

    /// Keys struck just before the change also sound in the zones that are new (rule R3).
    fn strike_early(&mut self, step: &mut Step<'_>) {
        let (hand, _, mut on) = self.parts(step);
        hand.strike_early(&mut on);
    }

    /// A song is left: what its own cues have on goes off, but for those whose key or pedal is still held.
    fn leave_song_cues(&mut self, song: usize, step: &mut Step<'_>) {
        let plan = step.plan;
        self.close_cues(step, |cue, planned| is_own(plan, song, cue) && !planned.while_down);
    }

    /// A song is entered: its own cues begin at rest, but for those whose key or pedal is still held.
    fn rest_own_cues(&mut self, song: usize, step: &mut Step<'_>) {
        let plan = step.plan;
        for cue in plan.cues_in(song as u16 + 1).filter(|cue| is_own(plan, song, *cue)) {
            if let Some(rest) = self.cues.rest(cue, song as u16 + 1, plan) {
                self.sends.send(rest, &mut self.notes, step);
            }
        }
    }
}

/// Whether a cue is a song's own.
fn is_own(plan: &Plan, song: usize, cue: CueId) -> bool {
    let in_list = |list| plan.cues_in(list).any(|other| other == cue);
    in_list(song as u16 + 1) && !in_list(0)
}
