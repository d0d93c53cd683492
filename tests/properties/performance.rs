//! A performance of random deeds: an engine, what listeners hear of it, and what must hold after every step.

use std::collections::BTreeSet;
use std::sync::Arc;

use handspan::engine::{Action, CueId, Engine, Event, Micros, Notice, Out, Plain, Plan, Successor};
use handspan::map::{At, Book, Linger};
use handspan::midi::decode;
use proptest::prelude::*;

use crate::cues::{hit, length, transport};
use crate::lamps::Lamps;
use crate::listener::{Listener, Wire};
use crate::maps::{INPUTS, KEYS, OUTPUTS, PLACES};
use crate::model::{Feet, Where};

/// Something that a player, a cable or a listener does.
#[derive(Debug, Clone)]
pub enum Deed {
    Press(usize, u8, u8, u8),
    Release(usize, u8, u8),
    Message(usize, [u8; 3]),
    /// A command of MIDI Machine Control.
    Transport(usize, u8),
    Action(u8, usize),
    Lost(usize),
    /// An input's cable was out, and is put back.
    Found(usize),
    /// The system's queue overran: whatever any input said may be lost.
    Overrun,
    Back(usize),
    Joined(usize),
    /// Time passes.
    Waited,
    Saved(usize),
    /// The program is killed and started again.
    Killed,
}

/// What a player gives controller 11: few values, so that one that a fade leaves is known for what it is.
const LEVELS: [u8; 3] = [127, 90, 40];
/// Where only drones play.
const DRONES: (usize, u8) = PLACES[3];

/// Notes that the songs of `maps` send: they end in their own time.
pub const SENT: [Wire; 2] = [(0, 0, 60), (1, 2, 62)];

/// Any deed.
pub fn deed() -> impl Strategy<Value = Deed> {
    // Few keys and channels, so that they meet.
    let key = || prop_oneof![48u8..72, 0u8..128];
    prop_oneof![
        40 => (0..INPUTS, 0..2u8, key(), 1..128u8).prop_map(|(i, c, k, v)| Deed::Press(i, c, k, v)),
        40 => (0..INPUTS, 0..2u8, key()).prop_map(|(i, c, k)| Deed::Release(i, c, k)),
        8 => (0..INPUTS, 64..70u8, 0..128u8).prop_map(|(i, n, v)| Deed::Message(i, [0xB0, n, v])),
        6 => (0..INPUTS, 0..128u8, 0..128u8).prop_map(|(i, n, v)| Deed::Message(i, [0xB1, n, if n == 11 { 127 } else { v }])),
        2 => (0..INPUTS, 0..LEVELS.len()).prop_map(|(i, v)| Deed::Message(i, [0xB1, 11, LEVELS[v]])),
        4 => (0..INPUTS, 0..128u8, 0..128u8).prop_map(|(i, a, b)| Deed::Message(i, [0xE0, a, b])),
        2 => (0..INPUTS, 0..3u8).prop_map(|(i, v)| Deed::Message(i, [0xD0, 60 * v, 0])),
        2 => (0..INPUTS, key(), 0..128u8).prop_map(|(i, k, v)| Deed::Message(i, [0xA0, k, v])),
        12 => (0..26u8, 0..100usize).prop_map(|(what, which)| Deed::Action(what, which)),
        10 => hit(),
        1 => (0..INPUTS).prop_map(Deed::Lost),
        1 => (0..INPUTS).prop_map(Deed::Found),
        1 => Just(Deed::Overrun),
        1 => (0..OUTPUTS).prop_map(Deed::Back),
        1 => (0..OUTPUTS).prop_map(Deed::Joined),
        4 => Just(Deed::Waited),
        // Each builds an engine, which costs as much as thousands of other deeds.
        1 => prop_oneof![(0..1000usize).prop_map(Deed::Saved), Just(Deed::Killed)],
    ]
}

/// The action of a drawn number.
pub fn action(what: u8, which: usize, book: &Book, plan: &Plan) -> Action {
    let text = match what {
        0 => "next-song".into(),
        1 => "previous-song".into(),
        2 => format!("song {}", which % book.set.entries.len() + 1),
        3 | 4 => "next-section".into(),
        5 => "previous-section".into(),
        6 => format!("section {}", ["Verse", "Chorus", "Last"][which % 3]),
        7 => "raise-key".into(),
        8 => "lower-key".into(),
        9 => format!("key {}", KEYS[which % 12]),
        10 => "tonights-key".into(),
        11 => "from-the-top".into(),
        12 | 13 => {
            let zones = &book.songs[which % book.songs.len()].zones;
            format!("zone {}", zones[which % zones.len()].name)
        }
        14 => "resend-messages".into(),
        15 => "resend-sounds".into(),
        16 | 17 => "drone on".into(),
        18 => "drone off".into(),
        19 | 20 => "drone".into(),
        21 => "fade".into(),
        22 => "fade 300".into(),
        23 => format!("fade {which}"),
        _ => "panic".into(),
    };
    Action::parse(&text, plan).expect("an action")
}

/// An engine that plays, and who hears it.
pub struct Performance {
    pub book: Book,
    pub engine: Engine,
    out: Out,
    /// Hears everything.
    pub listener: Listener,
    /// Is started again whenever an output comes back.
    pub newcomer: Listener,
    /// Notes that were struck in the last step.
    pub struck: BTreeSet<Wire>,
    feet: Feet,
    lamps: Lamps,
    pub now: u64,
    /// Places where something may ring without a finger, of this book and those before it.
    ringing: BTreeSet<(usize, u8)>,
}

impl Performance {
    pub fn new(book: Book) -> Performance {
        let engine = Engine::new(Arc::new(Plan::new(&book)));
        let out = engine.out();
        let hears = || {
            let mut listener = Listener::default();
            listener.players_levels = &LEVELS;
            listener
        };
        let ringing = ringing(&book);
        let (struck, feet) = (BTreeSet::new(), Feet::default());
        let (listener, newcomer, lamps) = (hears(), hears(), Lamps::default());
        let mut new = Performance { book, engine, out, listener, newcomer, struck, feet, lamps, now: 0, ringing };
        new.step(Event::Start { entry: 0, order_step: 0 });
        new
    }

    /// Takes an event; when the engine next wants to be called.
    fn step(&mut self, event: Event<'_>) -> Option<u64> {
        self.out.clear();
        let wanted = self.engine.step(event, Micros(self.now), &mut self.out).map(|wanted| wanted.0);
        assert!(wanted.is_none_or(|wanted| wanted > self.now), "what is due has run");
        if self.out.notices().contains(&Notice::SetUpAgain) {
            (0..OUTPUTS).for_each(|output| self.listener.forget_levels(output));
            (0..OUTPUTS).for_each(|output| self.newcomer.forget_levels(output));
        }
        self.listener.hear(&self.out);
        self.newcomer.hear(&self.out);
        self.feet.assert_behind(&self.listener);
        let is_on = |bytes: &[u8]| bytes[0] & 0xF0 == 0x90;
        let ons = self.out.said().filter(|said| is_on(said.bytes));
        self.struck = ons.map(|said| (said.output, said.bytes[0] & 15, said.bytes[1])).collect();
        self.lamps.hear(&self.out, &[&self.book]);
        self.lamps.assert_as(&self.engine, &self.book);
        wanted
    }

    /// Nothing is to come but ticks of our clock.
    fn assert_nothing_comes(&self, wanted: Option<u64>) {
        assert!(wanted.is_none() || self.engine.tempo().is_some(), "something is to come");
    }

    /// Only time passes: what is decided, fades and ends moves no pedal, where no press turns out to be a cue.
    fn wait(&mut self) -> Option<u64> {
        let pedals = self.listener.pedals.clone();
        let wanted = self.step(Event::Time);
        let has_cues = !self.book.gear.cues.is_empty() || self.book.songs.iter().any(|song| !song.cues.is_empty());
        assert!(has_cues || self.listener.pedals == pedals, "time moves pedals");
        wanted
    }

    /// Saved maps come into force: no note ends or begins by that.
    pub fn take_over(&mut self, book: Book) {
        self.wait();
        let plan = Plan::after(&book, self.engine.plan());
        let mut successor = Successor::new(self.engine.plan(), plan);
        self.out.clear();
        let before = self.listener.sounding.clone();
        self.engine.make_way(&successor, Micros(self.now), &mut self.out);
        let wanted = self.engine.take_over(&mut successor, Micros(self.now), &mut self.out).map(|wanted| wanted.0);
        assert!(wanted.is_none_or(|wanted| wanted > self.now), "what is due has run");
        self.listener.hear(&self.out);
        self.newcomer.hear(&self.out);
        self.feet.assert_behind(&self.listener);
        assert!(before.is_superset(&self.listener.sounding), "a note began by saving a map");
        // A set-up ends a running fade (R15); of all else nothing ends.
        let fades = |note: &&Wire| self.ringing.contains(&(note.0, note.1));
        let ended: Vec<_> = before.difference(&self.listener.sounding).filter(|note| !fades(note)).collect();
        assert!(ended.is_empty(), "ended: {ended:?}");
        self.lamps.hear(&self.out, &[&self.book, &book]);
        self.lamps.assert_as(&self.engine, &book);
        self.ringing.extend(ringing(&book));
        self.book = book;
    }

    fn message(&mut self, input: usize, bytes: [u8; 3]) {
        self.feet.heard(input, bytes);
        self.step(Event::Message { input, message: decode(&bytes[..length(bytes[0])]).expect("a message") });
    }

    pub fn do_deed(&mut self, deed: &Deed) {
        match *deed {
            Deed::Press(input, channel, key, velocity) => self.message(input, [0x90 | channel, key, velocity]),
            Deed::Release(input, channel, key) => self.message(input, [0x80 | channel, key, 30]),
            Deed::Message(input, bytes) => self.message(input, bytes),
            Deed::Transport(input, command) => {
                let bytes = transport(command);
                self.step(Event::Message { input, message: decode(&bytes).expect("a message") });
            }
            Deed::Action(what, which) => {
                let action = action(what, which, &self.book, self.engine.plan());
                let wanted = self.step(Event::Action(action));
                if action == Action::Plain(Plain::Panic) {
                    self.assert_silenced();
                    self.lamps.assert_dark(&self.book, None);
                    self.assert_nothing_comes(wanted);
                }
            }
            Deed::Lost(input) => self.lose(input),
            Deed::Found(input) => {
                self.lose(input);
                self.lamps.appear(input, self.now);
                self.step(Event::InputBack(input));
            }
            Deed::Overrun => self.lose_all(),
            Deed::Waited => {
                self.wait();
            }
            Deed::Killed => self.go_on_after_a_kill(),
            // What is edited is known to whoever plays.
            Deed::Saved(_) => {}
            Deed::Back(output) => self.listen_again(output, Event::OutputBack(output)),
            Deed::Joined(output) => self.listen_again(output, Event::OutputJoined(output)),
        }
        if !matches!(deed, Deed::Press(..) | Deed::Release(..)) {
            assert_eq!(self.engine.sounding(), self.listener.sounding.len(), "a note without an owner");
        }
    }

    fn listen_again(&mut self, output: usize, event: Event<'_>) {
        self.wait();
        self.newcomer.start_again(output);
        // Whoever listened before may now hear the level that is right here, whatever an earlier place of it said.
        self.listener.forget_levels(output);
        self.step(event);
        assert_eq!(self.newcomer.bends, self.listener.bends, "what is bent is said to newcomers");
        assert_eq!(self.newcomer.pressures, self.listener.pressures, "what is pressed is said to newcomers");
    }

    /// All inputs are lost: nothing goes on but held notes, and that does.
    fn lose_all(&mut self) {
        self.wait();
        let drones = |performance: &Performance| {
            let (output, channel) = DRONES;
            let range = (output, channel, 0)..=(output, channel, 127);
            performance.listener.sounding.range(range).copied().collect::<Vec<Wire>>()
        };
        let before = (drones(self), self.engine.drone_sounds());
        (0..INPUTS).for_each(|input| self.lose(input));
        assert_eq!((drones(self), self.engine.drone_sounds()), before, "the drone needs no finger");
        for listener in [&self.listener, &self.newcomer] {
            let rings = |note: &&Wire| SENT.contains(note) || self.ringing.contains(&(note.0, note.1));
            let hang: Vec<_> = listener.sounding.iter().filter(|note| !rings(note)).collect();
            assert!(hang.is_empty(), "notes hang: {hang:?}");
            self.feet.assert_behind(listener);
        }
    }

    /// With no hand on the keys a fade ends all that rings.
    pub fn let_all_fade(&mut self) {
        self.lose_all();
        for event in [Event::Time, Event::Action(Action::Fade(300_000)), Event::Time] {
            self.now += 1_000_000;
            self.step(event);
        }
        assert!(self.listener.sounding.is_empty(), "notes hang: {:?}", self.listener.sounding);
        assert!(self.engine.sounding() == 0 && !self.engine.drone_sounds());
    }

    fn lose(&mut self, input: usize) {
        self.feet.lost(input);
        self.step(Event::InputLost(input));
        self.lamps.assert_dark(&self.book, Some(input));
    }

    /// Another engine goes on where this one stood; R16 comes first at every output, and nothing is set going (R8).
    /// Cues that stood on go off (R19).
    fn go_on_after_a_kill(&mut self) {
        let standing = self.engine.standing();
        let lit: Vec<CueId> = self.engine.cues_on().collect();
        self.listener.lose_sender();
        self.newcomer.lose_sender();
        self.feet = Feet::default();
        self.engine = Engine::new(Arc::new(Plan::new(&self.book)));
        self.out = self.engine.out();
        for output in 0..OUTPUTS {
            self.engine.step(Event::Silence(output), Micros(self.now), &mut self.out);
        }
        self.listener.hear(&self.out);
        self.newcomer.hear(&self.out);
        self.out.clear();
        self.engine.step(Event::Resume(standing), Micros(self.now), &mut self.out);
        for cue in lit {
            self.engine.step(Event::CloseCue(cue), Micros(self.now), &mut self.out);
        }
        self.listener.hear(&self.out);
        self.newcomer.hear(&self.out);
        self.lamps.hear(&self.out, &[&self.book]);
        self.lamps.assert_as(&self.engine, &self.book);
        self.lamps.assert_dark(&self.book, None);
        (0..INPUTS).for_each(|input| self.lamps.appear(input, self.now));
        self.listener.assert_at_rest();
        self.newcomer.assert_at_rest();
        assert_eq!(self.engine.standing(), standing);
    }

    /// Rule R16, at each place that ever got a note.
    fn assert_silenced(&self) {
        assert!(self.listener.sounding.is_empty(), "notes hang: {:?}", self.listener.sounding);
        assert!(self.engine.sounding() == 0 && !self.engine.drone_sounds());
        for (output, channel) in &self.listener.played {
            let pedals = self.listener.pedals.range((*output, *channel, 0)..=(*output, *channel, 127)).count();
            assert!(pedals == 0 && !self.listener.bends.contains_key(&(*output, *channel)), "{:?}", self.listener);
            assert!(self.listener.is_players_level(&(*output, *channel)), "{:?}", self.listener.levels);
        }
    }

    pub fn place(&self) -> Where {
        let standing = self.engine.standing();
        Where { entry: standing.song, section: standing.section, shift: standing.shift }
    }

    pub fn stop(mut self) {
        let wanted = self.step(Event::Stop);
        self.assert_nothing_comes(wanted);
        self.lamps.assert_dark(&self.book, None);
        assert_eq!(self.engine.sounding(), 0);
        self.listener.assert_at_rest();
        self.newcomer.assert_at_rest();
    }
}

/// Where zones linger and drones sound.
fn ringing(book: &Book) -> BTreeSet<(usize, u8)> {
    let place = |sound: &At<String>| {
        let sound = book.gear.sounds.iter().find(|known| known.name.value == sound.value).expect("a known sound");
        let output = book.gear.outputs.iter().position(|output| output.name.value == sound.output.value);
        (output.expect("a known output"), sound.channel.index())
    };
    let zones = book.songs.iter().flat_map(|song| &song.zones).filter(|zone| zone.linger != Linger::Off);
    let drones = book.songs.iter().filter_map(|song| song.drone.as_ref());
    zones.map(|zone| place(&zone.sound)).chain(drones.map(|drone| place(&drone.sound))).collect()
}
