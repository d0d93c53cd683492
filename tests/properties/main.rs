//! The rules over random maps and random playing: well over a million events a run.
//!
//! Whatever is played, the wire carries on, off, on, off (R2), what sounds is what the held keys began (R1, by a
//! second telling of the rules in `model`), and nothing sounds at the end (R17).

mod maps;
mod model;

use std::collections::BTreeSet;
use std::sync::Arc;

use handspan::engine::{Action, Engine, Event, Out, Plan, Successor};
use handspan::map::Book;
use handspan::midi::decode;
use maps::{Drawn, INPUTS, KEYS, drawn};
use model::{Model, Where, Wire};
use proptest::prelude::*;

const CASES: u32 = 600;
const EVENTS: usize = 2_000;

/// Something that a player, a cable or a listener does.
#[derive(Debug, Clone)]
enum Deed {
    Press(usize, u8, u8, u8),
    Release(usize, u8, u8),
    Message(usize, [u8; 3]),
    Action(u8, usize),
    Lost(usize),
    Back(usize),
    Saved(usize),
}

fn deed() -> impl Strategy<Value = Deed> {
    // Few keys and channels, so that they meet.
    let key = || prop_oneof![48u8..72, 0u8..128];
    prop_oneof![
        40 => (0..INPUTS, 0..2u8, key(), 1..128u8).prop_map(|(i, c, k, v)| Deed::Press(i, c, k, v)),
        40 => (0..INPUTS, 0..2u8, key()).prop_map(|(i, c, k)| Deed::Release(i, c, k)),
        8 => (0..INPUTS, 64..70u8, 0..128u8).prop_map(|(i, n, v)| Deed::Message(i, [0xB0, n, v])),
        6 => (0..INPUTS, 0..128u8, 0..128u8).prop_map(|(i, n, v)| Deed::Message(i, [0xB1, n, v])),
        4 => (0..INPUTS, 0..128u8, 0..128u8).prop_map(|(i, a, b)| Deed::Message(i, [0xE0, a, b])),
        2 => (0..INPUTS, key(), 0..128u8).prop_map(|(i, k, v)| Deed::Message(i, [0xA0, k, v])),
        8 => (0..18u8, 0..100usize).prop_map(|(what, which)| Deed::Action(what, which)),
        1 => (0..INPUTS).prop_map(Deed::Lost),
        1 => (0..2usize).prop_map(Deed::Back),
        1 => (0..1000usize).prop_map(Deed::Saved),
    ]
}

fn action(what: u8, which: usize, book: &Book, plan: &Plan) -> Action {
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
        14 => "send-again".into(),
        15 => "resend".into(),
        _ => "panic".into(),
    };
    Action::parse(&text, plan).expect("an action")
}

/// What the listeners make of the wire.
#[derive(Default)]
struct Listener {
    sounding: BTreeSet<Wire>,
    pedals: BTreeSet<(usize, u8, u8)>,
    at: u64,
}

impl Listener {
    fn hear(&mut self, out: &Out) {
        for said in out.said() {
            assert!(said.at >= self.at, "time goes backwards on the wire");
            self.at = said.at;
            let [status, data @ ..] = said.bytes else { panic!("an empty message") };
            let wire = |note: u8| (said.output, status & 15, note);
            match status & 0xF0 {
                0x90 => assert!(data[1] > 0 && self.sounding.insert(wire(data[0])), "on after on: {said:?}"),
                0x80 => assert!(self.sounding.remove(&wire(data[0])), "off without on: {said:?}"),
                0xB0 if (64..70).contains(&data[0]) => {
                    if data[1] > 0 {
                        self.pedals.insert(wire(data[0]));
                    } else {
                        self.pedals.remove(&wire(data[0]));
                    }
                }
                _ => {}
            }
        }
    }
}

struct Performance {
    book: Book,
    engine: Engine,
    out: Out,
    listener: Listener,
    now: u64,
}

impl Performance {
    fn new(book: Book) -> Performance {
        let engine = Engine::new(Arc::new(Plan::new(&book)));
        let out = engine.out();
        let mut new = Performance { book, engine, out, listener: Listener::default(), now: 0 };
        new.step(Event::Start { entry: 0, place: 0 });
        new
    }

    fn step(&mut self, event: Event<'_>) {
        self.out.clear();
        let wanted = self.engine.step(event, self.now, &mut self.out);
        assert!(wanted.is_none_or(|wanted| wanted > self.now), "what is due has run");
        self.listener.hear(&self.out);
    }

    /// Saved maps come into force: no note ends or begins by that.
    fn take_over(&mut self, book: Book) {
        let plan = Plan::after(&book, self.engine.plan());
        let mut successor = Successor::new(self.engine.plan(), plan);
        self.out.clear();
        let before = self.listener.sounding.clone();
        let wanted = self.engine.take_over(&mut successor, self.now, &mut self.out);
        assert!(wanted.is_none_or(|wanted| wanted > self.now), "what is due has run");
        let due = self.out.said().any(|said| said.at < self.now);
        self.listener.hear(&self.out);
        assert!(due || before.is_superset(&self.listener.sounding), "a note began by saving a map");
        let ended: Vec<_> = before.difference(&self.listener.sounding).collect();
        // Only a sent note whose time has come may end here.
        assert!(due || ended.is_empty() || ended.iter().all(|wire| [60, 62].contains(&wire.2)), "ended: {ended:?}");
        self.book = book;
    }

    fn message(&mut self, input: usize, bytes: &[u8]) {
        self.step(Event::Message { input, message: decode(bytes).expect("a message") });
    }

    fn place(&self) -> Where {
        let standing = self.engine.standing();
        Where { entry: standing.song, section: standing.section, shift: standing.shift }
    }

    fn stop(mut self) {
        self.step(Event::Stop);
        assert_eq!(self.engine.sounding(), 0);
        assert!(self.listener.sounding.is_empty(), "notes hang: {:?}", self.listener.sounding);
        assert!(self.listener.pedals.is_empty(), "pedals hang: {:?}", self.listener.pedals);
    }
}

/// Plays everything, sends and handfuls too, and looks at the wire alone.
fn play(drawn: &Drawn, deeds: &[(Deed, u32)]) {
    let mut drawn = drawn.clone();
    let mut performance = Performance::new(drawn.book());
    for (deed, later) in deeds {
        performance.now += u64::from(*later);
        match deed {
            Deed::Press(input, channel, key, velocity) => {
                performance.message(*input, &[0x90 | channel, *key, *velocity]);
            }
            Deed::Release(input, channel, key) => performance.message(*input, &[0x80 | channel, *key, 30]),
            Deed::Message(input, bytes) => performance.message(*input, bytes),
            Deed::Action(what, which) => {
                let action = action(*what, *which, &performance.book, performance.engine.plan());
                performance.step(Event::Action(action));
            }
            Deed::Lost(input) => performance.step(Event::InputLost(*input)),
            Deed::Back(output) => performance.step(Event::OutputBack(*output)),
            Deed::Saved(how) => {
                drawn.edit(*how);
                performance.take_over(drawn.book());
            }
        }
    }
    performance.stop();
}

/// Plays without handfuls and sends, and holds what sounds against the model at every step.
fn play_beside_the_model(drawn: &Drawn, deeds: &[(Deed, u32)]) {
    let drawn = Drawn { handfuls: false, early: 0, ..drawn.clone() };
    let mut book = drawn.book();
    book.songs.iter_mut().for_each(|song| song.sends.clear());
    let mut performance = Performance::new(book);
    let mut model = Model::default();
    model.entered(&performance.book, 0);
    for (deed, later) in deeds {
        performance.now += u64::from(*later);
        match deed {
            Deed::Press(input, channel, key, velocity) => {
                model.press(&performance.book, performance.place(), (*input, *channel, *key), *velocity);
                performance.message(*input, &[0x90 | channel, *key, *velocity]);
            }
            Deed::Release(input, channel, key) => {
                model.release((*input, *channel, *key));
                performance.message(*input, &[0x80 | channel, *key, 30]);
            }
            // Channel mode messages end notes by force, which the model does not tell.
            Deed::Message(_, [0xB1, 120 | 123.., _]) => {}
            Deed::Message(input, bytes) => performance.message(*input, bytes),
            Deed::Action(what, which) => {
                let before = performance.engine.standing();
                let action = action(*what, *which, &performance.book, performance.engine.plan());
                performance.step(Event::Action(action));
                follow(&mut model, &performance, before.entry, action);
            }
            Deed::Lost(input) => {
                model.release_input(*input);
                performance.step(Event::InputLost(*input));
            }
            Deed::Back(output) => performance.step(Event::OutputBack(*output)),
            // The model does not tell how a map is edited while it is played.
            Deed::Saved(_) => {}
        }
        assert_eq!(performance.listener.sounding, model.sounding(), "after {deed:?}");
    }
    performance.stop();
}

fn follow(model: &mut Model, performance: &Performance, entry_before: usize, action: Action) {
    let standing = performance.engine.standing();
    let is_song = performance.book.set.entries[standing.entry].song.is_some();
    match action {
        Action::Panic => model.release_all(),
        Action::FromTheTop if is_song => model.entered(&performance.book, standing.entry),
        Action::Zone { name, .. } => {
            if let Some(entry) = standing.song {
                let name = performance.engine.plan().zone_name(name).to_owned();
                model.turned(&performance.book, entry, &name);
            }
        }
        _ if standing.entry != entry_before && is_song => model.entered(&performance.book, standing.entry),
        _ => {}
    }
}

fn deeds() -> impl Strategy<Value = Vec<(Deed, u32)>> {
    prop::collection::vec((deed(), prop_oneof![Just(0u32), 0..30_000u32, 0..400_000u32]), EVENTS / 2..EVENTS)
}

proptest! {
    #![proptest_config(ProptestConfig { cases: CASES, max_shrink_iters: 4_000, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn notes_alternate_and_nothing_hangs(drawn in drawn(), deeds in deeds()) {
        play(&drawn, &deeds);
    }

    #[test]
    fn what_sounds_is_what_the_held_keys_began(drawn in drawn(), deeds in deeds()) {
        play_beside_the_model(&drawn, &deeds);
    }
}
