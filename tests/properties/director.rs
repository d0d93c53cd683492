//! A second, plain telling of what cues do (rule R19), straight from the maps as written: which of them are in force,
//! what is theirs altogether, when they fire, and which stand on.
//!
//! It directs another engine that knows no cues: that one hears only what is nobody's cue, and is told by hand what the
//! cues do. What the cues themselves send is noted beside it.

use std::collections::{BTreeMap, BTreeSet};

use handspan::engine::{Action, Event};
use handspan::map::{Book, Clock, Cue, Does, Press, SendMessage, SongChoice, Trigger};

use crate::maps::INPUTS;
use crate::model::Pressed;

const DEAF: u64 = 500_000;
const BOUNCE: u64 = 200_000;
const DOUBLE: u64 = 400_000;
const LONG: u64 = 700_000;

/// The engine that knows no cues, and what it says.
pub trait Directed {
    /// Takes an event.
    fn step(&mut self, event: Event<'_>, now: u64);
    /// The action of these words.
    fn action(&self, words: &str) -> Action;
    /// The entry that stands, and that of the song that the keys play.
    fn stands(&self) -> (usize, Option<usize>);
}

/// A cue by its place among all of the set, the gear's first.
type Number = usize;

/// Which of its presses a cue waits for, and on what.
type Sensor = (usize, Trigger);

#[derive(Debug, Clone, Default)]
struct State {
    down: bool,
    counted: bool,
    last: Option<u64>,
    /// The cues in force at its last press that counted.
    force: Vec<Number>,
    /// When a press that may become another was made, and whether it is up again.
    waits: Option<(u64, bool)>,
}

/// Tells what cues do.
pub struct Director<'b> {
    book: &'b Book,
    /// Each cue, and the song that it belongs to.
    cues: Vec<(Option<usize>, &'b Cue)>,
    sensors: Vec<(Sensor, State)>,
    appeared: [u64; INPUTS],
    keys: BTreeSet<Pressed>,
    /// Pedals as the directed engine heard them.
    pedals: BTreeMap<(usize, u8, u8), u8>,
    standing: BTreeSet<Number>,
    /// What cues send, with its time.
    pub sent: Vec<(u64, Vec<u8>)>,
    /// How often cues fired.
    pub fired: usize,
}

/// What a key or controller senses, whichever press of it a cue waits for.
fn sensor(input: usize, trigger: Trigger) -> Option<Sensor> {
    let single = Press::Single;
    Some(match trigger {
        Trigger::Key { key, channel, .. } => (input, Trigger::Key { key, channel, press: single }),
        Trigger::Control { number, channel, reversed, .. } => {
            (input, Trigger::Control { number, channel, press: single, reversed })
        }
        _ => return None,
    })
}

impl<'b> Director<'b> {
    pub fn new(book: &'b Book) -> Director<'b> {
        let songs = book.songs.iter().enumerate();
        let own = songs.flat_map(|(number, song)| song.cues.iter().map(move |cue| (Some(number), cue)));
        let cues: Vec<_> = book.gear.cues.iter().map(|cue| (None, cue)).chain(own).collect();
        let mut sensors: Vec<(Sensor, State)> = Vec::new();
        for (_, cue) in &cues {
            let sensor = sensor(input_of(book, cue), cue.when.trigger);
            if let Some(sensor) = sensor.filter(|sensor| !sensors.iter().any(|(known, _)| known == sensor)) {
                sensors.push((sensor, State::default()));
            }
        }
        Director {
            book,
            cues,
            sensors,
            appeared: [0; INPUTS],
            keys: BTreeSet::new(),
            pedals: BTreeMap::new(),
            standing: BTreeSet::new(),
            sent: Vec::new(),
            fired: 0,
        }
    }

    /// Cues that stand on, by number.
    pub fn standing(&self) -> impl Iterator<Item = u16> {
        self.standing.iter().map(|number| *number as u16)
    }

    /// The song that was entered and not left.
    fn song(&self, stage: &impl Directed) -> Option<usize> {
        let (entry, song) = stage.stands();
        song.filter(|song| *song == entry).and_then(|entry| self.book.set.entries[entry].song)
    }

    /// The cues in force: the gear's, but for those that the song replaces, then the song's own.
    fn force(&self, stage: &impl Directed) -> Vec<Number> {
        let song = self.song(stage);
        let own = |number: &Number| song.is_some() && self.cues[*number].0 == song;
        let all = 0..self.cues.len();
        let when = |number: Number| (&self.cues[number].1.when.input.value, self.cues[number].1.when.trigger);
        let replaced = |number: &Number| all.clone().filter(own).any(|other| when(other) == when(*number));
        let gears = all.clone().filter(|number| self.cues[*number].0.is_none() && !replaced(number));
        gears.chain(all.clone().filter(own)).collect()
    }

    fn sensor_of(&self, number: Number) -> Option<Sensor> {
        let cue = self.cues[number].1;
        sensor(input_of(self.book, cue), cue.when.trigger)
    }

    /// Presses of which it is known by now what they were fire, each at its time.
    pub fn until(&mut self, now: u64, stage: &mut impl Directed) {
        loop {
            let due = (0..self.sensors.len()).filter_map(|index| self.due(index)).min().filter(|due| *due <= now);
            let Some(due) = due else { break };
            for index in 0..self.sensors.len() {
                if self.due(index).is_some_and(|own| own <= due) {
                    let (_, lifted) = self.sensors[index].1.waits.take().expect("a press");
                    let long = !lifted && self.awaits(index, Press::Long);
                    self.fire_all(index, if long { Press::Long } else { Press::Single }, None, due, stage);
                }
            }
        }
    }

    fn due(&self, index: usize) -> Option<u64> {
        let (at, lifted) = self.sensors[index].1.waits?;
        Some(at + if !lifted && self.awaits(index, Press::Long) { LONG } else { DOUBLE })
    }

    /// Whether one of the cues that were in force at a sensor's press waits for such a press.
    fn awaits(&self, index: usize, press: Press) -> bool {
        let (sensor, state) = &self.sensors[index];
        state.force.iter().any(|cue| self.sensor_of(*cue).as_ref() == Some(sensor) && self.presses(*cue) == Some(press))
    }

    fn presses(&self, number: Number) -> Option<Press> {
        self.cues[number].1.when.trigger.press()
    }

    fn fire_all(&mut self, index: usize, press: Press, received: Option<u8>, now: u64, stage: &mut impl Directed) {
        let (sensor, state) = self.sensors[index].clone();
        for cue in state.force {
            if self.sensor_of(cue) == Some(sensor) && self.presses(cue) == Some(press) {
                self.fire(cue, received, now, stage);
                // What is held goes off with the release, though it was known only then that it goes on.
                if self.cues[cue].1.hold && !self.sensors[index].1.down && self.standing.remove(&cue) {
                    self.say_off(cue, now);
                }
            }
        }
    }

    fn fire(&mut self, number: Number, received: Option<u8>, now: u64, stage: &mut impl Directed) {
        self.fired += 1;
        let cue = self.cues[number].1;
        let entries = self.book.set.entries.len();
        let song = |choice: &SongChoice| match choice {
            SongChoice::Received => received.map(usize::from).filter(|number| *number <= entries),
            SongChoice::Number(number) => Some(usize::from(number.value)),
            SongChoice::Titled(_) => panic!("not drawn"),
        };
        let turned = |turn: &Option<bool>| turn.map_or("", |on| if on { " on" } else { " off" });
        let words = match &cue.does {
            Does::Send { message, .. } => {
                if self.standing.remove(&number) {
                    self.say_off(number, now);
                } else {
                    let own = self.cues[number].0;
                    if cue.off.is_some() && own.is_some() && own != self.song(stage) {
                        // Its song was left since the press.
                        return;
                    }
                    if cue.off.is_some() {
                        self.standing.insert(number);
                    }
                    self.sent.push((now, bytes(message)));
                }
                return;
            }
            Does::Song(choice) => song(choice).map(|place| format!("song {place}")),
            Does::LineUp(choice) => song(choice).map(|place| format!("line-up {place}")),
            Does::Section(name) => Some(format!("section {}", name.value)),
            Does::Key(key) => Some(format!("key {}", key.value)),
            Does::Drone(turn) => Some(format!("drone{}", turned(turn))),
            Does::Zone { name, turn } => Some(format!("zone {}{}", name.value, turned(turn))),
            Does::Fade(time) => Some(format!("fade {}", time / 1000)),
            plain => Some(word(plain).to_owned()),
        };
        if let Some(words) = words {
            let action = stage.action(&words);
            self.act(action, now, stage);
        }
    }

    /// Something is done to the set; what that does to cues.
    pub fn act(&mut self, action: Action, now: u64, stage: &mut impl Directed) {
        let (song, (entry, _)) = (self.song(stage), stage.stands());
        stage.step(Event::Action(action), now);
        if action == Action::Panic {
            self.sensors.iter_mut().for_each(|(_, state)| state.waits = None);
            self.close(now, |_, _| true);
        }
        if stage.stands().0 != entry && song.is_some() {
            // What is held is a finger's.
            self.close(now, |own, cue| own == song && !cue.hold);
        }
    }

    fn say_off(&mut self, number: Number, now: u64) {
        let off = self.cues[number].1.off.as_ref().expect("an off");
        self.sent.push((now, bytes(&off.message)));
    }

    /// Cues that stand on go off.
    fn close(&mut self, now: u64, which: impl Fn(Option<usize>, &Cue) -> bool) {
        let (go, stay) = self.standing.iter().copied().partition(|number| {
            let (song, cue) = self.cues[*number];
            which(song, cue)
        });
        self.standing = stay;
        let go: BTreeSet<Number> = go;
        go.into_iter().for_each(|number| self.say_off(number, now));
    }

    /// An input says something.
    pub fn hear(&mut self, input: usize, bytes: &[u8], now: u64, stage: &mut impl Directed) {
        self.until(now, stage);
        let channel = bytes[0] & 15;
        let mut passes = true;
        match (bytes[0] & 0xF0, bytes) {
            (0x90, [_, key, 1..=127]) => passes = self.strike((input, channel, *key), now, stage),
            (0x80 | 0x90, [_, key, _]) => passes = !self.lift((input, channel, *key), now, stage),
            (0xA0, [_, key, _]) => passes = !self.keys.contains(&(input, channel, *key)),
            (0xB0, [_, number, value]) => {
                // So the gear file has it.
                let number = if (input, *number) == (1, 30) { 31 } else { *number };
                passes = self.turn((input, channel, number), *value, now, stage);
            }
            _ if now - self.appeared[input] < DEAF => {}
            (_, bytes) => self.receive(input, bytes, now, stage),
        }
        if passes {
            stage.step(Event::Message { input, message: handspan::midi::decode(bytes).expect("a message") }, now);
        }
    }

    /// A key goes down; whether it is a zone's.
    fn strike(&mut self, key: Pressed, now: u64, stage: &mut impl Directed) -> bool {
        let force = self.force(stage);
        let is_key = |trigger: Trigger| {
            matches!(trigger, Trigger::Key { key: own, channel, .. }
                if own == key.2 && channel.is_none_or(|channel| channel.index() == key.1))
        };
        let struck = self.touched(&force, key.0, is_key);
        self.lift(key, now, stage);
        if struck.is_empty() {
            return true;
        }
        self.keys.insert(key);
        let off = [0x80 | key.1, key.2, 64];
        stage.step(Event::Message { input: key.0, message: handspan::midi::decode(&off).expect("an off") }, now);
        let counts = now - self.appeared[key.0] >= DEAF;
        for index in struck {
            self.press(index, &force, counts, now, stage);
        }
        false
    }

    /// The sensors of cues in force that a message touches, in order.
    fn touched(&self, force: &[Number], input: usize, is_it: impl Fn(Trigger) -> bool) -> Vec<usize> {
        let in_force = |sensor: &Sensor| force.iter().any(|cue| self.sensor_of(*cue).as_ref() == Some(sensor));
        let here = |sensor: &Sensor| sensor.0 == input && is_it(sensor.1) && in_force(sensor);
        (0..self.sensors.len()).filter(|index| here(&self.sensors[*index].0)).collect()
    }

    /// A key comes up; whether it was a cue's.
    fn lift(&mut self, key: Pressed, now: u64, stage: &mut impl Directed) -> bool {
        let was = self.keys.remove(&key);
        for index in 0..self.sensors.len() {
            let (sensor, state) = &self.sensors[index];
            let is_it = matches!(sensor, (input, Trigger::Key { key: own, channel, .. })
                if (*input, *own) == (key.0, key.2) && channel.is_none_or(|channel| channel.index() == key.1));
            if was && is_it && state.down {
                self.release(index, now, stage);
            }
        }
        was
    }

    /// A controller says a value; whether a zone hears that.
    fn turn(&mut self, control: (usize, u8, u8), value: u8, now: u64, stage: &mut impl Directed) -> bool {
        let (input, channel, number) = control;
        let force = self.force(stage);
        let is_it = |trigger: Trigger| {
            matches!(trigger, Trigger::Control { number: own, channel: only, .. }
                if u8::from(own) == number && only.is_none_or(|only| only.index() == channel))
        };
        let touched = self.touched(&force, input, is_it);
        let mut is_cue = false;
        for index in 0..self.sensors.len() {
            let (sensor, state) = &self.sensors[index];
            let in_force = touched.contains(&index);
            if !(in_force || state.down && sensor.0 == input && is_it(sensor.1)) {
                continue;
            }
            is_cue = true;
            let reversed = matches!(sensor.1, Trigger::Control { reversed: true, .. });
            let value = if reversed { 127 - value } else { value };
            if !state.down && value >= 64 {
                let bounces = state.last.is_some_and(|last| now - last < BOUNCE);
                let counts = in_force && !bounces && now - self.appeared[input] >= DEAF;
                self.press(index, &force, counts, now, stage);
            } else if state.down && value <= 40 {
                self.release(index, now, stage);
            }
        }
        let known = self.pedals.entry(control).or_insert(0);
        let passes = !is_cue || (64..=69).contains(&number) && value < *known;
        if passes {
            *known = value;
        }
        // RP-015, and a channel mode message is no cue.
        if number == 121 {
            self.pedals.retain(|pedal, _| (pedal.0, pedal.1) != (input, channel) || pedal.2 > 67);
        }
        passes
    }

    fn press(&mut self, index: usize, force: &[Number], counts: bool, now: u64, stage: &mut impl Directed) {
        let state = &mut self.sensors[index].1;
        (state.down, state.counted) = (true, counts);
        if !counts {
            return;
        }
        state.last = Some(now);
        // A press that may still become a double one is known to be none, where nobody waits for a double one now.
        let before = std::mem::replace(&mut state.force, force.to_vec());
        let doubles = self.awaits(index, Press::Double);
        let state = &mut self.sensors[index].1;
        if state.waits.is_some() && !doubles {
            state.waits = None;
            let now_in_force = std::mem::replace(&mut state.force, before);
            self.fire_all(index, Press::Single, None, now, stage);
            self.sensors[index].1.force = now_in_force;
        }
        self.fire_all(index, Press::Either, None, now, stage);
        let waits = self.sensors[index].1.waits.take();
        if waits.is_some() {
            self.fire_all(index, Press::Double, None, now, stage);
        } else if doubles || self.awaits(index, Press::Long) {
            self.sensors[index].1.waits = Some((now, false));
        } else {
            self.fire_all(index, Press::Single, None, now, stage);
        }
    }

    fn release(&mut self, index: usize, now: u64, stage: &mut impl Directed) {
        let (sensor, state) = &mut self.sensors[index];
        let (sensor, force) = (*sensor, state.force.clone());
        state.down = false;
        let counted = std::mem::take(&mut state.counted);
        for cue in force {
            let holds = self.cues[cue].1.hold && self.sensor_of(cue) == Some(sensor);
            if holds && self.standing.remove(&cue) {
                self.say_off(cue, now);
            }
        }
        if !counted {
            return;
        }
        self.fire_all(index, Press::Either, None, now, stage);
        let doubles = self.awaits(index, Press::Double);
        let state = &mut self.sensors[index].1;
        if let Some((at, lifted)) = &mut state.waits {
            *lifted = true;
            if !doubles || now >= *at + DOUBLE {
                state.waits = None;
                self.fire_all(index, Press::Single, None, now, stage);
            }
        }
    }

    /// A message that is neither a key nor a controller; it is no cue's altogether.
    fn receive(&mut self, input: usize, bytes: &[u8], now: u64, stage: &mut impl Directed) {
        for number in self.force(stage) {
            let cue = self.cues[number].1;
            if input_of(self.book, cue) != input {
                continue;
            }
            let received = match (cue.when.trigger, bytes) {
                (Trigger::Program { program, channel }, [status @ 0xC0..=0xCF, said])
                    if program.is_none_or(|program| u8::from(program) == *said)
                        && channel.is_none_or(|channel| channel.index() == status & 15) =>
                {
                    Some(said + 1)
                }
                (Trigger::SongSelect(song), [0xF3, said]) if song.is_none_or(|song| u8::from(song) == *said) => {
                    Some(said + 1)
                }
                (Trigger::Clock(Clock::Start), [0xFA])
                | (Trigger::Clock(Clock::Continue), [0xFB])
                | (Trigger::Clock(Clock::Stop), [0xFC]) => None,
                // RP-013: stop is 1, play 2, and deferred play 3 counts as play.
                (Trigger::Transport(transport), [0xF0, 0x7F, _, 6, command, 0xF7])
                    if transport.bytes()[4] == if *command == 3 { 2 } else { *command } =>
                {
                    None
                }
                _ => continue,
            };
            self.fire(number, received, now, stage);
        }
    }

    /// An input is lost: its presses are forgotten, and what its cues have on goes off.
    pub fn lose(&mut self, input: usize, now: u64, stage: &mut impl Directed) {
        self.until(now, stage);
        stage.step(Event::InputLost(input), now);
        self.forget(input, now);
    }

    fn forget(&mut self, input: usize, now: u64) {
        let book = self.book;
        self.close(now, |_, cue| input_of(book, cue) == input);
        self.keys.retain(|key| key.0 != input);
        self.pedals.retain(|pedal, _| pedal.0 != input);
        for (_, state) in self.sensors.iter_mut().filter(|((own, _), _)| *own == input) {
            (state.down, state.counted, state.waits) = (false, false, None);
        }
    }

    /// An input's cable was out, and is put back.
    pub fn find(&mut self, input: usize, now: u64, stage: &mut impl Directed) {
        self.lose(input, now, stage);
        self.appeared[input] = now;
    }

    /// Everything ends.
    pub fn stop(&mut self, now: u64, stage: &mut impl Directed) {
        self.until(now, stage);
        stage.step(Event::Stop, now);
        (0..INPUTS).for_each(|input| self.forget(input, now));
    }
}

fn input_of(book: &Book, cue: &Cue) -> usize {
    let named = book.gear.inputs.iter().position(|input| input.name.value == cue.when.input.value);
    named.expect("a known input")
}

/// The word of an action that needs nothing beside it.
fn word(does: &Does) -> &'static str {
    match does {
        Does::NextSong => "next-song",
        Does::PreviousSong => "previous-song",
        Does::NextSection => "next-section",
        Does::PreviousSection => "previous-section",
        Does::RaiseKey => "raise-key",
        Does::LowerKey => "lower-key",
        Does::TonightsKey => "tonights-key",
        Does::FromTheTop => "from-the-top",
        Does::SendAgain => "send-again",
        Does::Resend => "resend",
        Does::Tap => "tap",
        Does::Panic => "panic",
        _ => panic!("{does:?} is told otherwise"),
    }
}

fn bytes(message: &SendMessage) -> Vec<u8> {
    match message {
        SendMessage::Control { number, value, channel } => {
            vec![0xB0 | channel.index(), u8::from(*number), u8::from(*value)]
        }
        _ => panic!("not drawn"),
    }
}
