//! Cues, compiled: names become numbers, and each song gets the list of those in use.

use std::convert::Infallible;

use super::Compiler;
use crate::engine::action::usual;
use crate::engine::ids::{Action, CueId, DetectorId, Micros};
use crate::engine::plan::{Detected, PlanCue, PlanDetector, PlanDoes, PlanTrigger};
use crate::evening::{entry_numbered, entry_titled, number_of};
use crate::map::{self, At, Book, ClockCommand, Cue, Does, LookUp, Rest, SongChoice, Trigger, WrittenAction};
use crate::midi::U7;
use crate::midi::machine_control;
use crate::music::Key;

impl Compiler<'_> {
    /// The gear's cues and the songs', each once, and the lists: first without a song, then for each song.
    pub(super) fn cues(&mut self, book: &Book) {
        let all: Vec<&Cue> = book.cues().collect();
        for cue in &all {
            let planned = self.cue(book, cue);
            if planned.off.is_some() {
                self.plan.switches.push(CueId(self.plan.cues.len() as u16));
            }
            self.plan.cues.push(planned);
        }
        let number =
            |cue: &Cue| all.iter().position(|known| std::ptr::eq(*known, cue)).map(|number| CueId(number as u16));
        for song in std::iter::once(None).chain(book.songs.iter().map(Some)) {
            let list: Vec<CueId> = book.cues_in(song).into_iter().filter_map(number).collect();
            let mut detectors: Vec<DetectorId> = list.iter().filter_map(|cue| self.plan.cue(*cue).detector()).collect();
            detectors.sort_unstable();
            detectors.dedup();
            self.plan.cue_lists.push(list);
            self.plan.detector_lists.push(detectors);
        }
        self.plan.numbers = (0..book.set.entries.len()).map(|entry| number_of(book, entry)).collect();
    }

    fn cue(&mut self, book: &Book, cue: &Cue) -> PlanCue {
        let input = self.input_number(&cue.when.input);
        let trigger = self.trigger(input, &cue.when.trigger);
        let mut does = self.does(book, &cue.does);
        let mut off = match (&cue.does, &cue.off) {
            (Does::Send { to, .. }, Some(off)) => Some(self.send(to, &off.message, Micros::ZERO, false)),
            _ => None,
        };
        if let (Some(Rest::On), PlanDoes::Send(message), Some(off)) = (cue.rest, &mut does, &mut off) {
            std::mem::swap(message, off);
        }
        let rests = cue.rest.is_some() && off.is_some();
        let off_says = off.map(|off| self.plan.send(off)).map(|send| (send.output, send.say.clone()));
        PlanCue { input, trigger, does, off, off_says, rests, while_down: cue.while_down, name: cue.name.clone() }
    }

    fn input_number(&self, name: &At<String>) -> usize {
        self.gear.inputs.iter().position(|input| input.name.value == name.value).unwrap_or(usize::MAX)
    }

    fn trigger(&mut self, input: usize, trigger: &Trigger) -> PlanTrigger {
        let number = |number: &Option<U7>| number.map(u8::from);
        match trigger {
            Trigger::Key { key, channel, press } => {
                let what = Detected::Key { key: *key, channel: channel.map(|channel| channel.index()) };
                PlanTrigger::Press { detector: self.detector(input, what), press: *press }
            }
            Trigger::Control { number, channel, press, reversed } => {
                let channel = channel.map(|channel| channel.index());
                let what = Detected::Control { number: u8::from(*number), channel, reversed: *reversed };
                PlanTrigger::Press { detector: self.detector(input, what), press: *press }
            }
            Trigger::Program { program, channel } => {
                PlanTrigger::Program { program: number(program), channel: channel.map(|channel| channel.index()) }
            }
            Trigger::SongSelect(song) => PlanTrigger::SongSelect(number(song)),
            Trigger::Clock(ClockCommand::Start) => PlanTrigger::Clock(0xFA),
            Trigger::Clock(ClockCommand::Continue) => PlanTrigger::Clock(0xFB),
            Trigger::Clock(ClockCommand::Stop) => PlanTrigger::Clock(0xFC),
            Trigger::Transport(transport) => {
                PlanTrigger::Transport(machine_control::command(&transport.bytes()).unwrap_or_default())
            }
        }
    }

    /// The number of a key or controller that has cues.
    fn detector(&mut self, input: usize, what: Detected) -> DetectorId {
        let detector = PlanDetector { input, what };
        let known = self.plan.detectors.iter().position(|known| *known == detector);
        let number = known.unwrap_or_else(|| {
            self.plan.detectors.push(detector);
            self.plan.detectors.len() - 1
        });
        DetectorId(number as u16)
    }

    fn does(&mut self, book: &Book, does: &Does) -> PlanDoes {
        match does {
            Does::Act(map::Action::Song(SongChoice::Received)) => PlanDoes::SongReceived,
            Does::Act(map::Action::LineUp(SongChoice::Received)) => PlanDoes::LineUpReceived,
            Does::Act(action) => PlanDoes::Act(self.action(book, action)),
            Does::Send { to, message } => PlanDoes::Send(self.send(to, message, Micros::ZERO, false)),
        }
    }

    /// An action with the numbers of what it names.
    pub(super) fn action(&mut self, book: &Book, action: &WrittenAction) -> Action {
        let Ok(action) = action.clone().resolve(&mut BookNumbers { compiler: self, book });
        action
    }
}

/// The numbers of what a cue or a deed names. The loader knows that the set has it; what it has not does nothing.
struct BookNumbers<'n, 'c> {
    compiler: &'n mut Compiler<'c>,
    book: &'n Book,
}

impl LookUp<SongChoice, At<String>, At<Key>> for BookNumbers<'_, '_> {
    type Song = usize;
    type Name = u16;
    type Key = Key;
    type Error = Infallible;

    fn song(&mut self, song: SongChoice) -> Result<usize, Infallible> {
        let found = match song {
            SongChoice::Titled(title) => entry_titled(self.book, &title.value),
            SongChoice::Number(number) => entry_numbered(self.book, number.value),
            SongChoice::Received => None,
        };
        Ok(found.unwrap_or(usize::MAX))
    }

    fn section(&mut self, name: At<String>) -> Result<u16, Infallible> {
        Ok(self.compiler.section_number(&name.value))
    }

    fn zone(&mut self, name: At<String>, on: Option<bool>) -> Result<(u16, Option<bool>), Infallible> {
        Ok((self.compiler.zone_number(&name.value), on))
    }

    fn key(&mut self, key: At<Key>) -> Key {
        usual(key.value)
    }
}
