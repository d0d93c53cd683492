//! Songs, sections and keys: a change is one step (rule R8), with the shift (R5). What the change does to zones and
//! places is in `switch`.

use std::sync::Arc;

use super::action::Action;
use super::out::{Notice, Out};
use super::plan::{PlanSong, PlanTonight};
use super::{Engine, Standing};
use crate::evening::{FURTHEST, added_for, lift};
use crate::music::voicing::Voicing;

/// Which of the new song's or section's sends are said.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Saying {
    All,
    /// At the start nothing is set going: no transport, clock or note.
    NothingStarts,
}

impl Engine {
    /// The set begins.
    pub(super) fn start(&mut self, entry: usize, place: usize, now: u64, out: &mut Out) {
        let entry = entry.min(self.plan.entries.len().saturating_sub(1));
        self.standing.entry = entry;
        (0..self.plan.inputs.len()).for_each(|input| self.cues.appear(input, now));
        out.notice(Notice::Song);
        let plan = Arc::clone(&self.plan);
        if let Some(tonight) = plan.entries.get(entry).and_then(|entry| entry.song.as_ref()) {
            self.standing.song = Some(entry);
            self.take_song_tempo(tonight.song, now);
            self.stand_at(tonight, place.min(tonight.order.len() - 1));
            self.switch_zones(now, out);
            let song = &plan.songs[tonight.song];
            self.say_all(&song.enter, Saying::NothingStarts, now, out);
            self.say_all(&song.sections[self.standing.section].sends, Saying::NothingStarts, now, out);
            let held = song.enter.iter().chain(&song.sections[self.standing.section].sends);
            let held = held.filter(|send| plan.sends[usize::from(**send)].say.starts_something()).count();
            if held > 0 {
                self.not_sent = held as u16;
                out.notice(Notice::HeldBack(held as u16));
            }
        }
    }

    /// Does what a player asks for. `source` is the input that asked, if one did.
    pub(super) fn act(&mut self, action: Action, source: Option<usize>, now: u64, out: &mut Out) {
        let Standing { entry, place, section, added, .. } = self.standing;
        match action {
            Action::NextSong => {
                let next = self.cues.lined_up.filter(|lined_up| *lined_up != entry).unwrap_or(entry + 1);
                self.enter(next, source, now, out);
            }
            Action::PreviousSong => self.enter(entry.wrapping_sub(1), source, now, out),
            Action::Song(wanted) if wanted == entry => {}
            Action::Song(wanted) => self.enter(wanted, source, now, out),
            Action::FromTheTop => self.begin_again(source, now, out),
            Action::NextSection => self.enter_place(place + 1, source, now, out),
            Action::PreviousSection if self.is_aside() => self.enter_place(place, source, now, out),
            Action::PreviousSection => self.enter_place(place.wrapping_sub(1), source, now, out),
            Action::Section(name) => self.enter_named(name, section, source, now, out),
            Action::RaiseKey => self.add_to_key(added + 1, out),
            Action::LowerKey => self.add_to_key(added - 1, out),
            Action::Key { tonic, minor } => self.go_to_key(tonic, minor, out),
            Action::TonightsKey => self.add_to_key(0, out),
            Action::Zone { name, on } => self.turn_zone(name, on, source, now, out),
            Action::SendAgain => self.send_again(now, out),
            Action::Resend => {
                for output in 0..self.plan.outputs.len() {
                    self.set_up_output(output, out);
                }
                out.notice(Notice::SetUpAgain);
            }
            Action::Panic => self.panic(now, out),
            Action::LineUp(wanted) if wanted < self.plan.entries.len() => {
                self.cues.lined_up = Some(wanted);
                out.notice(Notice::LinedUp(wanted));
            }
            Action::LineUp(_) => out.notice(Notice::NothingThere),
            Action::Tap => self.tap(now, out),
            Action::Drone(on) => self.turn_drone(on, now, out),
            Action::Fade(time) => self.fade_all(time, now, out),
        }
    }
}

/// The current song: its entry's index, how it goes tonight, and the song itself. `None` in a pause.
pub(super) type Current<'a> = (usize, &'a PlanTonight, &'a PlanSong);

impl Engine {
    /// Whether a section is sounding that tonight's order does not have at this place.
    fn is_aside(&self) -> bool {
        let tonight = self.tonight();
        tonight.is_some_and(|(_, tonight, _)| usize::from(tonight.order[self.standing.place]) != self.standing.section)
    }

    /// The song whose zones the keys play, in a pause too.
    pub(super) fn tonight(&self) -> Option<Current<'_>> {
        let entry = self.standing.song?;
        let tonight = self.plan.entries.get(entry)?.song.as_ref()?;
        Some((entry, tonight, self.plan.songs.get(tonight.song)?))
    }

    /// The song that was entered and not left.
    pub(super) fn current(&self) -> Option<Current<'_>> {
        self.tonight().filter(|(entry, ..)| *entry == self.standing.entry)
    }

    /// Enters a song or a pause, leaving the one before.
    fn enter(&mut self, entry: usize, source: Option<usize>, now: u64, out: &mut Out) {
        let plan = Arc::clone(&self.plan);
        let Some(entered) = plan.entries.get(entry) else {
            out.notice(Notice::NothingThere);
            return;
        };
        if let Some((_, tonight, _)) = self.current() {
            let song = tonight.song;
            self.drop_waiting_sends();
            self.say_all(&plan.songs[song].leave, Saying::All, now, out);
            self.leave_song_cues(song, now, out);
        }
        self.standing.entry = entry;
        self.cues.lined_up = None;
        self.not_sent = 0;
        out.notice(Notice::Song);
        // A pause keeps the zones of the song that it leaves.
        if let Some(tonight) = &entered.song {
            if self.standing.song != Some(entry) {
                self.standing.added = 0;
            }
            self.standing.song = Some(entry);
            self.begin_song(tonight, source, now, out);
        }
    }

    fn begin_again(&mut self, source: Option<usize>, now: u64, out: &mut Out) {
        let plan = Arc::clone(&self.plan);
        let Some((entry, ..)) = self.current() else {
            out.notice(Notice::NothingThere);
            return;
        };
        if let Some(tonight) = &plan.entries[entry].song {
            self.drop_waiting_sends();
            self.not_sent = 0;
            out.notice(Notice::Song);
            self.begin_song(tonight, source, now, out);
        }
    }

    fn begin_song(&mut self, tonight: &PlanTonight, source: Option<usize>, now: u64, out: &mut Out) {
        let plan = Arc::clone(&self.plan);
        let song = &plan.songs[tonight.song];
        self.take_song_tempo(tonight.song, now);
        for zone in song.zones.clone() {
            self.on[zone] = plan.zones[zone].on;
            // Voices are led from within the song only.
            self.handfuls[zone].voicing = Voicing::default();
        }
        self.stand_at(tonight, 0);
        self.switch_zones(now, out);
        self.say_all(&song.enter, Saying::All, now, out);
        self.say_all(&song.sections[self.standing.section].sends, Saying::All, now, out);
        self.strike_early(source, now, out);
    }

    /// Enters a place of tonight's order.
    fn enter_place(&mut self, place: usize, source: Option<usize>, now: u64, out: &mut Out) {
        let section = self.current().and_then(|(_, tonight, _)| tonight.order.get(place).copied());
        match section {
            Some(section) => self.enter_section(place, usize::from(section), source, now, out),
            None => out.notice(Notice::NothingThere),
        }
    }

    /// Enters the section of this name: at its next place in tonight's order, or from the beginning of the order; one
    /// that the order lacks is played aside, and the order goes on from where it was left.
    fn enter_named(&mut self, name: u16, current: usize, source: Option<usize>, now: u64, out: &mut Out) {
        let Some((_, tonight, song)) = self.current() else {
            out.notice(Notice::NothingThere);
            return;
        };
        let Some(section) = song.sections.iter().position(|section| section.name == Some(name)) else {
            out.notice(Notice::NothingThere);
            return;
        };
        if section == current {
            return;
        }
        let (length, here) = (tonight.order.len(), self.standing.place);
        let onward = (1..=length).map(|step| (here + step) % length);
        let place = onward.into_iter().find(|place| usize::from(tonight.order[*place]) == section);
        self.enter_section(place.unwrap_or(here), section, source, now, out);
    }

    fn enter_section(&mut self, place: usize, section: usize, source: Option<usize>, now: u64, out: &mut Out) {
        let plan = Arc::clone(&self.plan);
        let Some(entry) = self.standing.song else { return };
        if let Some(tonight) = &plan.entries[entry].song {
            self.standing.place = place;
            self.standing.section = section;
            self.find_shift(tonight);
            out.notice(Notice::Section);
            self.switch_zones(now, out);
            self.say_all(&plan.songs[tonight.song].sections[section].sends, Saying::All, now, out);
            self.strike_early(source, now, out);
        }
    }

    fn stand_at(&mut self, tonight: &PlanTonight, place: usize) {
        self.standing.place = place;
        self.standing.section = usize::from(tonight.order[place]);
        self.find_shift(tonight);
    }

    /// Stands in the section of this name, at `place` where the order has it there, else at its first place; one that the
    /// song lacks by now gives way to what stands at `place`.
    pub(super) fn stand_in_section(&mut self, tonight: &PlanTonight, place: usize, name: Option<&str>) {
        let plan = Arc::clone(&self.plan);
        let sections = &plan.songs[tonight.song].sections;
        let is_named = |section: &usize| {
            sections[*section].name.and_then(|name| plan.section_names.get(usize::from(name))).map(String::as_str)
                == name
        };
        let place = place.min(tonight.order.len() - 1);
        let at = |place: &usize| usize::from(tonight.order[*place]);
        let named_place = [place].into_iter().chain(0..tonight.order.len()).find(|place| is_named(&at(place)));
        let section = (0..sections.len()).find(is_named).unwrap_or(at(&place));
        self.standing.place = named_place.unwrap_or(place);
        self.standing.section = named_place.as_ref().map_or(section, at);
        self.find_shift(tonight);
    }

    /// Rule R5: the shift and the room's tonic where we stand. A section that is played aside has its own key, or that
    /// of the place that was left for it.
    pub(super) fn find_shift(&mut self, tonight: &PlanTonight) {
        let Standing { place, section, added, .. } = self.standing;
        let lift = lift(self.plan.songs[tonight.song].sections[section].key, tonight.lifts[place]);
        self.standing.shift = tonight.keys.shift_at(lift, added);
        self.standing.tonic = tonight.keys.tonic_at(lift, added);
    }

    fn add_to_key(&mut self, added: i32, out: &mut Out) {
        let plan = Arc::clone(&self.plan);
        let tonight = self.standing.song.and_then(|entry| plan.entries[entry].song.as_ref());
        match tonight {
            Some(tonight) if added.abs() <= FURTHEST => {
                self.standing.added = added;
                self.find_shift(tonight);
                out.notice(Notice::Key);
            }
            Some(_) => out.notice(Notice::NoSuchKey),
            None => out.notice(Notice::NothingThere),
        }
    }

    /// To a key of the song's mode.
    fn go_to_key(&mut self, tonic: u8, minor: bool, out: &mut Out) {
        if self.tonight().is_some_and(|(_, tonight, _)| tonight.keys.chart.is_minor() != minor) {
            out.notice(Notice::NoSuchKey);
            return;
        }
        self.add_to_key(added_for(tonic, &self.standing), out);
    }

    fn turn_zone(&mut self, name: u16, on: Option<bool>, source: Option<usize>, now: u64, out: &mut Out) {
        let plan = Arc::clone(&self.plan);
        let zones = self.tonight().map_or(0..0, |(.., song)| song.zones.clone());
        let mut named = zones.filter(|zone| plan.zones[*zone].name == name).peekable();
        let Some(first) = named.peek() else {
            out.notice(Notice::NothingThere);
            return;
        };
        let on = on.unwrap_or(!self.on[*first]);
        for zone in named {
            self.on[zone] = on;
        }
        out.notice(Notice::Zone(name, on));
        self.switch_zones(now, out);
        self.strike_early(source, now, out);
    }

    /// The current song's enter-sends again.
    fn send_again(&mut self, now: u64, out: &mut Out) {
        let plan = Arc::clone(&self.plan);
        match self.current() {
            Some((_, tonight, _)) => {
                let song = tonight.song;
                self.say_all(&plan.songs[song].enter, Saying::All, now, out);
                self.not_sent = 0;
                out.notice(Notice::SaidAgain);
            }
            None => out.notice(Notice::NothingThere),
        }
    }

    fn say_all(&mut self, sends: &[u16], saying: Saying, now: u64, out: &mut Out) {
        for send in sends {
            let starts = self.plan.sends[usize::from(*send)].say.starts_something();
            if saying == Saying::All || !starts {
                self.send(*send, now, out);
            }
        }
    }
}
