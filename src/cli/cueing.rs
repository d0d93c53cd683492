//! Which cues of a take fired, when that was known, and what they did (rule R19), in the player's words.

#[cfg(test)]
mod tests;

use crate::engine::sensor::{Awaited, Crossing, Pressed, Sensor};
use crate::engine::{Cause, Notice, Rehearsal, Standing};
use crate::map::{Book, Clock, Cue, Does, Input, Press, SongChoice, Trigger};
use crate::midi::file::{Take, TakeKind};
use crate::midi::machine_control::{self, Transport};
use crate::midi::{Channel, Message, Note, U7, decode};
use crate::music::note;

/// Cues are not listened to for so long after their input appeared, in microseconds.
const DEAF: u64 = 500_000;

/// A cue that fired.
pub(super) struct Fired<'a> {
    /// The step of the rehearsal in which it did.
    pub step: usize,
    /// When, in microseconds.
    pub at: u64,
    /// What let it fire.
    pub by: By,
    /// The input that it came from.
    pub input: &'a str,
    /// The cue.
    pub cue: &'a Cue,
    /// The number that came in, from 1, where one did.
    received: Option<u8>,
}

/// What let a cue fire.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum By {
    /// A message, or a key or pedal that went down.
    Event,
    /// A key or pedal that came up.
    Release,
    /// Time, which told what a press had been.
    Time,
}

impl Fired<'_> {
    /// What came, such as `control 67`.
    pub fn what(&self) -> String {
        let of = |number: u8| U7::try_from(number).map(Note::from).map(|key| note::name(key, 4)).unwrap_or_default();
        match self.cue.when.trigger {
            Trigger::Key { key, .. } => format!("key {}", of(key)),
            Trigger::Control { number, .. } => format!("control {}", u8::from(number)),
            Trigger::Program { program, .. } => numbered("program", self.received.or(program.map(from_one))),
            Trigger::SongSelect(song) => numbered("song select", self.received.or(song.map(from_one))),
            Trigger::Clock(Clock::Start) => "clock start".to_owned(),
            Trigger::Clock(Clock::Stop) => "clock stop".to_owned(),
            Trigger::Clock(Clock::Continue) => "clock continue".to_owned(),
            Trigger::Transport(Transport::Play) => "transport play".to_owned(),
            Trigger::Transport(_) => "transport stop".to_owned(),
        }
    }

    /// What the press was; nothing for a single one that was known at once, and for messages.
    pub fn how(&self) -> &'static str {
        match (self.cue.when.trigger.press(), self.by) {
            (Some(Press::Double), _) => "twice",
            (Some(Press::Long), _) => "held for 0.7 s",
            (Some(Press::Single), By::Time) => "once, 0.4 s ago",
            (Some(_), By::Release) => "comes up",
            _ => "",
        }
    }

    /// What it did, with the song or pause that it led to.
    pub fn does(&self, book: &Book, rehearsal: &Rehearsal) -> (String, Option<String>) {
        let Some(step) = rehearsal.steps.get(self.step) else { return (String::new(), None) };
        let mut does = words(&self.cue.does, self.received, self.cue.name.as_deref());
        if self.cue.off.is_some() {
            let on = step.notices.iter().any(|notice| matches!(notice, Notice::Cue(_, true)));
            does.push_str(if on { " on" } else { " off" });
        }
        if step.notices.contains(&Notice::NothingThere) {
            does.push_str(": nothing there");
        }
        let title = step.notices.contains(&Notice::Song).then(|| book.title_of(step.standing.entry).to_owned());
        (does, title)
    }

    /// One line for a list.
    pub fn line(&self, book: &Book, rehearsal: &Rehearsal) -> String {
        let (does, title) = self.does(book, rehearsal);
        let how = match self.how() {
            "" => String::new(),
            how => format!(" {how}"),
        };
        let title = title.map_or_else(String::new, |title| format!(": {title}"));
        format!("{:8.2} s  {}: {}{how} → {does}{title}", self.at as f64 / 1e6, self.input, self.what())
    }
}

fn from_one(number: U7) -> u8 {
    u8::from(number) + 1
}

fn numbered(what: &str, number: Option<u8>) -> String {
    number.map_or_else(|| what.to_owned(), |number| format!("{what} {number}"))
}

/// What a cue does.
pub(super) fn words(does: &Does, received: Option<u8>, name: Option<&str>) -> String {
    let song = |choice: &SongChoice| match choice {
        SongChoice::Titled(title) => title.value.clone(),
        SongChoice::Number(number) => number.value.to_string(),
        SongChoice::Received => received.map_or_else(String::new, |number| number.to_string()),
    };
    let turned = |turn: Option<bool>| match turn {
        None => "",
        Some(true) => " on",
        Some(false) => " off",
    };
    match does {
        Does::NextSong => "next song".to_owned(),
        Does::PreviousSong => "previous song".to_owned(),
        Does::Song(choice) => format!("song {}", song(choice)),
        Does::LineUp(choice) => format!("line up song {}", song(choice)),
        Does::NextSection => "next section".to_owned(),
        Does::PreviousSection => "previous section".to_owned(),
        Does::Section(section) => format!("section {}", section.value),
        Does::RaiseKey => "a semitone up".to_owned(),
        Does::LowerKey => "a semitone down".to_owned(),
        Does::Key(key) => format!("key {}", key.value),
        Does::TonightsKey => "tonight's key".to_owned(),
        Does::FromTheTop => "from the top".to_owned(),
        Does::Drone(turn) => format!("drone{}", turned(*turn)),
        Does::Zone { name, turn } => format!("zone {}{}", name.value, turned(*turn)),
        Does::Fade(_) => "fade".to_owned(),
        Does::Send { to, .. } => name.map_or_else(|| format!("send to {}", to.value), str::to_owned),
        Does::SendAgain => "send again".to_owned(),
        Does::Resend => "all sounds again".to_owned(),
        Does::Tap => "a beat".to_owned(),
        Does::Panic => "panic".to_owned(),
    }
}

/// A key or controller with the cues that were in force when it went down.
struct Watched<'a> {
    input: usize,
    /// What it is, whatever the press.
    trigger: Trigger,
    sensor: Sensor,
    cues: Vec<&'a Cue>,
}

/// Follows a take as the engine does.
struct Follower<'a> {
    book: &'a Book,
    from: usize,
    appeared: Vec<u64>,
    watched: Vec<Watched<'a>>,
    fired: Vec<Fired<'a>>,
}

/// All cues that fired in a take, which begins at the input of number `input`.
pub(super) fn fired<'a>(book: &'a Book, rehearsal: &Rehearsal, take: &Take, input: usize) -> Vec<Fired<'a>> {
    let appeared = vec![0; book.gear.inputs.len()];
    let mut follower = Follower { book, from: input, appeared, watched: Vec::new(), fired: Vec::new() };
    let mut before = Standing::default();
    let mut next = 0;
    for (number, step) in rehearsal.steps.iter().enumerate() {
        let event = match step.cause {
            Cause::Event(event) => Some(event),
            Cause::Start | Cause::End => None,
        };
        // Markers that say only where things come from have no step of their own.
        while event.is_some_and(|event| next <= event) {
            follower.marker(take, next);
            next += 1;
        }
        let due = follower.known_by_now(number, step.at);
        let standing = if due { step.standing } else { before };
        if let Some(TakeKind::Message(bytes)) = event.and_then(|event| take.events.get(event)).map(|event| &event.kind)
            && let Ok(message) = decode(bytes)
        {
            follower.hear(message, &standing, (number, step.at));
        }
        before = step.standing;
    }
    follower.fired
}

/// The input that a take's events come from, event by event.
pub(super) fn inputs_of(book: &Book, take: &Take, input: usize) -> Vec<usize> {
    let mut from = input;
    let heard = take.events.iter().map(|event| {
        if let TakeKind::Marker(text) = &event.kind {
            from = named(book, text, "from").unwrap_or(from);
        }
        from
    });
    heard.collect()
}

/// The input that a marker of this word names.
fn named(book: &Book, marker: &str, word: &str) -> Option<usize> {
    let name = marker.strip_prefix(word)?.strip_prefix(' ')?.trim();
    book.gear.inputs.iter().position(|input| input.name.value.trim() == name)
}

impl<'a> Follower<'a> {
    fn marker(&mut self, take: &Take, event: usize) {
        let Some(event) = take.events.get(event) else { return };
        let TakeKind::Marker(text) = &event.kind else { return };
        if let Some(input) = named(self.book, text, "from") {
            self.from = input;
        }
        if let Some(input) = named(self.book, text, "found") {
            self.appeared[input] = event.at;
        }
        if let Some(input) = named(self.book, text, "lost") {
            self.watched.iter_mut().filter(|watched| watched.input == input).for_each(|lost| lost.sensor.forget());
        }
    }

    /// Fires what only time told; whether there was something.
    fn known_by_now(&mut self, number: usize, now: u64) -> bool {
        let due = self.watched.iter().filter_map(|watched| watched.sensor.due().filter(|due| *due <= now));
        let mut due: Vec<u64> = due.collect();
        due.sort_unstable();
        for at in &due {
            for watched in 0..self.watched.len() {
                if let Some(pressed) = self.watched[watched].sensor.resolve(*at) {
                    self.fire(watched, kind(pressed), By::Time, *at, number);
                }
            }
        }
        !due.is_empty()
    }

    fn hear(&mut self, message: Message<'_>, standing: &Standing, (step, at): (usize, u64)) {
        let Some(input) = self.book.gear.inputs.get(self.from) else { return };
        let deaf = at.saturating_sub(self.appeared[self.from]) < DEAF;
        let entry = standing.song.filter(|song| *song == standing.entry).and_then(|at| self.book.set.entries.get(at));
        let song = entry.and_then(|entry| self.book.songs.get(entry.song?));
        let here = |cue: &&Cue| cue.when.input.value == input.name.value;
        let cues: Vec<&'a Cue> = self.book.cues_in(song).into_iter().filter(here).collect();
        self.watch(&cues);
        for watched in 0..self.watched.len() {
            self.turn(watched, message, &cues, deaf, (step, at));
        }
        for cue in cues.iter().filter(|cue| !deaf && is_fired_by(cue.when.trigger, message)) {
            let received = match message {
                Message::Program { program, .. } => Some(from_one(program)),
                Message::SongSelect(song) => Some(from_one(song)),
                _ => None,
            };
            self.fired.push(Fired { step, at, by: By::Event, input: &input.name.value, cue, received });
        }
    }

    /// Has a sensor for each key and controller of these cues.
    fn watch(&mut self, cues: &[&'a Cue]) {
        for trigger in cues.iter().filter_map(|cue| without_press(cue.when.trigger)) {
            if !self.watched.iter().any(|known| known.input == self.from && known.trigger == trigger) {
                let (input, sensor) = (self.from, Sensor::default());
                self.watched.push(Watched { input, trigger, sensor, cues: Vec::new() });
            }
        }
    }

    /// Turns a sensor by a message, where it is its own.
    fn turn(&mut self, number: usize, message: Message<'_>, cues: &[&'a Cue], deaf: bool, (step, at): (usize, u64)) {
        let Some(input) = self.book.gear.inputs.get(self.from) else { return };
        let watched = &mut self.watched[number];
        let own = |cue: &&&Cue| without_press(cue.when.trigger) == Some(watched.trigger);
        let own: Vec<&Cue> = cues.iter().filter(own).copied().collect();
        if watched.input != self.from {
            return;
        }
        let Some(crossing) = crossing(watched, input, message, deaf, !own.is_empty(), at) else { return };
        match crossing {
            (Crossing::Down, true) => {
                let waits = |press| own.iter().any(|cue| cue.when.trigger.press() == Some(press));
                let awaited = Awaited { double: waits(Press::Double), long: waits(Press::Long) };
                watched.cues = own;
                let pressed = watched.sensor.press(awaited, at);
                self.fire(number, Press::Either, By::Event, at, step);
                if let Some(pressed) = pressed {
                    self.fire(number, kind(pressed), By::Event, at, step);
                }
            }
            (Crossing::Up, true) => {
                let input = input.name.value.as_str();
                let held = watched.cues.iter().filter(|cue| cue.hold);
                let ended = held.map(|cue| Fired { step, at, by: By::Release, input, cue, received: None });
                self.fired.extend(ended);
                let pressed = watched.sensor.lift(at);
                self.fire(number, Press::Either, By::Release, at, step);
                if let Some(pressed) = pressed {
                    self.fire(number, kind(pressed), By::Release, at, step);
                }
            }
            (_, false) => {}
        }
    }

    /// Fires the cues that wait for such a press.
    fn fire(&mut self, number: usize, press: Press, by: By, at: u64, step: usize) {
        let watched = &self.watched[number];
        let input = self.book.gear.inputs.get(watched.input).map_or("", |input| input.name.value.as_str());
        let fires = |cue: &&&Cue| cue.when.trigger.press() == Some(press);
        let fired = watched.cues.iter().filter(fires);
        self.fired.extend(fired.map(|cue| Fired { step, at, by, input, cue, received: None }));
    }
}

/// How a message moves a key or controller; whether that counts.
fn crossing(
    watched: &mut Watched<'_>,
    input: &Input,
    message: Message<'_>,
    deaf: bool,
    in_force: bool,
    at: u64,
) -> Option<(Crossing, bool)> {
    let heard = |only: Option<Channel>, on: Channel| only.or(input.channel).is_none_or(|only| only == on);
    match (watched.trigger, message) {
        (Trigger::Key { key, channel, .. }, Message::NoteOn { note, channel: on, .. })
            if key == u8::from(note) && heard(channel, on) && in_force =>
        {
            Some((Crossing::Down, watched.sensor.go_down(!deaf, at)))
        }
        (Trigger::Key { key, channel, .. }, Message::NoteOff { note, channel: on, .. })
            if key == u8::from(note) && heard(channel, on) && watched.sensor.is_down() =>
        {
            Some((Crossing::Up, watched.sensor.go_up()))
        }
        (Trigger::Control { number, channel, reversed, .. }, Message::Control { number: came, value, channel: on })
            if heard(channel, on) && (in_force || watched.sensor.is_down()) =>
        {
            let renumbered = input.controls.iter().find(|(from, _)| *from == came).map_or(came, |(_, to)| *to);
            let turn = |sensor: &mut Sensor| sensor.turn(u8::from(value), reversed, deaf || !in_force, at);
            (renumbered == number).then(|| turn(&mut watched.sensor)).flatten()
        }
        _ => None,
    }
}

/// A key or controller, whatever the press.
fn without_press(trigger: Trigger) -> Option<Trigger> {
    let press = Press::Single;
    match trigger {
        Trigger::Key { key, channel, .. } => Some(Trigger::Key { key, channel, press }),
        Trigger::Control { number, channel, reversed, .. } => {
            Some(Trigger::Control { number, channel, press, reversed })
        }
        _ => None,
    }
}

/// Whether a message that is neither a key nor a controller fires a cue.
fn is_fired_by(trigger: Trigger, message: Message<'_>) -> bool {
    match (trigger, message) {
        (Trigger::Program { program, channel }, Message::Program { program: came, channel: on }) => {
            program.is_none_or(|program| program == came) && channel.is_none_or(|channel| channel == on)
        }
        (Trigger::SongSelect(song), Message::SongSelect(came)) => song.is_none_or(|song| song == came),
        (Trigger::Clock(clock), Message::Clock(came)) => {
            // MIDI 1.0 Detailed Specification 4.2.1 p. 30.
            let status = match clock {
                Clock::Start => 0xFA,
                Clock::Continue => 0xFB,
                Clock::Stop => 0xFC,
            };
            came == status
        }
        (Trigger::Transport(transport), Message::Exclusive(bytes)) => {
            machine_control::command(bytes) == transport.bytes().get(4).copied()
        }
        _ => false,
    }
}

fn kind(pressed: Pressed) -> Press {
    match pressed {
        Pressed::Single => Press::Single,
        Pressed::Double => Press::Double,
        Pressed::Long => Press::Long,
    }
}
