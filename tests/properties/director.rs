//! A second, plain telling of what cues do (rule R19), straight from the maps as written: which of them are in use,
//! what belongs to them alone, when they fire, and which are on.
//!
//! It directs another engine that knows no cues: that one hears only what is nobody's cue, and is told by hand what the
//! cues do. What the cues themselves send is noted beside it. What it hears is in `director_ears`.

use std::collections::{BTreeMap, BTreeSet};

use handspan::engine::{Action, Event, Plain};
use handspan::map::{self, Book, Cue, Does, Press, Rest, SendMessage, SongChoice, Trigger};

use crate::maps::INPUTS;
use crate::model::Pressed;

pub const DEAF: u64 = 500_000;
pub const GUARD: u64 = 200_000;
/// The same where a double press is waited for; and so short a lift is none where a press may become another.
pub const BOUNCE: u64 = 60_000;
pub const DOUBLE: u64 = 400_000;
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
pub type Number = usize;

/// Which of its presses a cue waits for, and on what.
pub type Sensor = (usize, Trigger);

#[derive(Debug, Clone, Default)]
pub struct State {
    pub down: bool,
    pub counted: bool,
    /// When its lift counts, if that may be a bounce.
    pub lift: Option<u64>,
    pub last: Option<u64>,
    /// The cues in use at its last press that counted.
    pub force: Vec<Number>,
    /// When a press that may become another was made, and whether it is up again.
    pub waits: Option<(u64, bool)>,
}

/// Tells what cues do.
pub struct Director<'b> {
    pub book: &'b Book,
    /// Each cue, and the song that it belongs to.
    pub cues: Vec<(Option<usize>, &'b Cue)>,
    pub sensors: Vec<(Sensor, State)>,
    pub appeared: [u64; INPUTS],
    pub keys: BTreeSet<Pressed>,
    /// Pedals as the directed engine heard them.
    pub pedals: BTreeMap<(usize, u8, u8), u8>,
    pub standing: BTreeSet<Number>,
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
    pub fn song(&self, stage: &impl Directed) -> Option<usize> {
        let (entry, song) = stage.stands();
        song.filter(|song| *song == entry).and_then(|entry| self.book.set.entries[entry].song)
    }

    /// The cues in use: the gear's, but for those that the song replaces, then the song's own.
    pub fn force(&self, stage: &impl Directed) -> Vec<Number> {
        let song = self.song(stage);
        let own = |number: &Number| song.is_some() && self.cues[*number].0 == song;
        let all = 0..self.cues.len();
        let when = |number: Number| (&self.cues[number].1.when.input.value, self.cues[number].1.when.trigger);
        let replaced = |number: &Number| all.clone().filter(own).any(|other| when(other) == when(*number));
        let gears = all.clone().filter(|number| self.cues[*number].0.is_none() && !replaced(number));
        gears.chain(all.clone().filter(own)).collect()
    }

    pub fn sensor_of(&self, number: Number) -> Option<Sensor> {
        let cue = self.cues[number].1;
        sensor(input_of(self.book, cue), cue.when.trigger)
    }

    /// Presses of which it is known by now what they were fire, each at its time.
    pub fn until(&mut self, now: u64, stage: &mut impl Directed) {
        loop {
            let due = (0..self.sensors.len()).filter_map(|index| self.due(index)).min().filter(|due| *due <= now);
            let Some(due) = due else { break };
            for index in 0..self.sensors.len() {
                let song = self.song(stage);
                if self.known(index).is_some_and(|own| own <= due) {
                    let (_, lifted) = self.sensors[index].1.waits.take().expect("a press");
                    let long = !lifted && self.awaits(index, Press::Long);
                    self.fire_all(index, if long { Press::Long } else { Press::Single }, None, due, stage);
                }
                if self.sensors[index].1.lift.is_some_and(|own| own <= due) {
                    self.release(index, song, due, stage);
                }
            }
        }
    }

    /// When there is something to do for a sensor.
    fn due(&self, index: usize) -> Option<u64> {
        [self.known(index), self.sensors[index].1.lift].into_iter().flatten().min()
    }

    /// When it is known what its press was.
    fn known(&self, index: usize) -> Option<u64> {
        let (at, lifted) = self.sensors[index].1.waits?;
        Some(at + if !lifted && self.awaits(index, Press::Long) { LONG } else { DOUBLE })
    }

    /// Whether one of the cues that were in use at a sensor's press waits for such a press.
    pub fn awaits(&self, index: usize, press: Press) -> bool {
        let (sensor, state) = &self.sensors[index];
        state.force.iter().any(|cue| self.sensor_of(*cue).as_ref() == Some(sensor) && self.presses(*cue) == Some(press))
    }

    pub fn presses(&self, number: Number) -> Option<Press> {
        self.cues[number].1.when.trigger.press()
    }

    pub fn fire_all(&mut self, index: usize, press: Press, received: Option<u8>, now: u64, stage: &mut impl Directed) {
        let (sensor, state) = self.sensors[index].clone();
        for cue in state.force {
            if self.sensor_of(cue) == Some(sensor) && self.presses(cue) == Some(press) {
                self.fire(cue, received, now, stage);
                // What is held goes off with the release, though it was known only then that it goes on.
                let state = &self.sensors[index].1;
                let is_up = !state.down && state.lift.is_none();
                if self.cues[cue].1.while_down && is_up && self.standing.remove(&cue) {
                    self.say_off(cue, now);
                }
            }
        }
    }

    pub fn fire(&mut self, number: Number, received: Option<u8>, now: u64, stage: &mut impl Directed) {
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
                    let away =
                        cue.off.as_ref().filter(|_| cue.rest == Some(Rest::On)).map_or(message, |off| &off.message);
                    self.sent.push((now, bytes(away)));
                }
                return;
            }
            Does::Act(map::Action::Song(choice)) => song(choice).map(|place| format!("song {place}")),
            Does::Act(map::Action::LineUp(choice)) => song(choice).map(|place| format!("line-up {place}")),
            Does::Act(map::Action::Section(name)) => Some(format!("section {}", name.value)),
            Does::Act(map::Action::Key(key)) => Some(format!("key {}", key.value)),
            Does::Act(map::Action::Drone(turn)) => Some(format!("drone{}", turned(turn))),
            Does::Act(map::Action::Zone { name, on }) => Some(format!("zone {}{}", name.value, turned(on))),
            Does::Act(map::Action::Fade(time)) => Some(format!("fade {}", time / 1000)),
            Does::Act(map::Action::Plain(plain)) => Some(plain.row().word.to_owned()),
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
        if action == Action::Plain(Plain::Panic) {
            for (_, state) in &mut self.sensors {
                state.waits = None;
                state.counted &= state.lift.take().is_none();
            }
            self.put_at_rest(now, stage, |_| true);
        }
        if action == Action::Plain(Plain::ResendSounds) {
            self.tell(now, stage);
        }
        if stage.stands().0 != entry && song.is_some() {
            // What is held is a finger's.
            self.close(now, |own, cue| own == song && !cue.while_down);
        }
        if stage.stands().0 != entry {
            let own = self.song(stage).map(|song| self.own_at_rest(song)).unwrap_or_default();
            own.into_iter().for_each(|number| self.say_off(number, now));
        }
    }

    /// A song's own cues that are not on and whose map says what their rest is.
    fn own_at_rest(&self, song: usize) -> Vec<Number> {
        let all = 0..self.cues.len();
        let own = all.filter(|number| self.cues[*number].0 == Some(song) && self.cues[*number].1.rest.is_some());
        own.filter(|number| !self.standing.contains(number)).collect()
    }

    /// What is on goes off, and what is at rest says so where its map says what that is.
    pub fn put_at_rest(&mut self, now: u64, stage: &impl Directed, which: impl Fn(&Cue) -> bool) {
        let force = self.force(stage);
        for number in 0..self.cues.len() {
            let cue = self.cues[number].1;
            let rests = cue.rest.is_some() && force.contains(&number);
            if which(cue) && (self.standing.remove(&number) || rests) {
                self.say_off(number, now);
            }
        }
    }

    /// The lamps came back: they are told how the cues stand whose map says what their rest is.
    pub fn tell(&mut self, now: u64, stage: &impl Directed) {
        for number in self.force(stage) {
            let cue = self.cues[number].1;
            let (Does::Send { message, .. }, Some(off), Some(rest)) = (&cue.does, &cue.off, cue.rest) else { continue };
            let is_on = self.standing.contains(&number) != (rest == Rest::On);
            self.sent.push((now, bytes(if is_on { message } else { &off.message })));
        }
    }

    pub fn say_off(&mut self, number: Number, now: u64) {
        let cue = self.cues[number].1;
        let off = cue.off.as_ref().expect("an off");
        let rest = match &cue.does {
            Does::Send { message, .. } if cue.rest == Some(Rest::On) => message,
            _ => &off.message,
        };
        self.sent.push((now, bytes(rest)));
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

    /// An input is lost: its presses are forgotten, and what its cues have on goes off.
    pub fn lose(&mut self, input: usize, now: u64, stage: &mut impl Directed) {
        self.until(now, stage);
        stage.step(Event::InputLost(input), now);
        self.forget(input, now, stage);
    }

    fn forget(&mut self, input: usize, now: u64, stage: &impl Directed) {
        let book = self.book;
        self.put_at_rest(now, stage, |cue| input_of(book, cue) == input);
        self.keys.retain(|key| key.0 != input);
        self.pedals.retain(|pedal, _| pedal.0 != input);
        for (_, state) in self.sensors.iter_mut().filter(|((own, _), _)| *own == input) {
            (state.down, state.counted, state.lift, state.waits) = (false, false, None, None);
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
        (0..INPUTS).for_each(|input| self.forget(input, now, stage));
    }
}

pub fn input_of(book: &Book, cue: &Cue) -> usize {
    let named = book.gear.inputs.iter().position(|input| input.name.value == cue.when.input.value);
    named.expect("a known input")
}

fn bytes(message: &SendMessage) -> Vec<u8> {
    match message {
        SendMessage::Control { number, value, channel } => {
            vec![0xB0 | channel.index(), u8::from(*number), u8::from(*value)]
        }
        _ => panic!("not drawn"),
    }
}
