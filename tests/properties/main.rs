//! The rules over random maps and random playing: well over a million events a run.
//!
//! Whatever is played, whichever inputs are lost (R17) and outputs come back (R21), and whenever the program is killed,
//! the wire carries on, off, on, off (R2), what sounds is what the held keys began (R1, by a second telling of the
//! rules in `model`), no pedal is down without a foot on it, and nothing sounds at the end, whenever that comes.

mod listener;
mod maps;
mod model;

use std::ops::Range;
use std::sync::Arc;

use handspan::engine::{Action, Engine, Event, Out, Plan, Successor};
use handspan::map::Book;
use handspan::midi::decode;
use listener::{Listener, Wire};
use maps::{Drawn, INPUTS, KEYS, drawn};
use model::{Feet, Model, Where};
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
    /// The system's queue overran: whatever any input said may be lost.
    Overrun,
    Back(usize),
    Saved(usize),
    /// The program is killed and started again.
    Killed,
}

/// Notes that the songs of `maps` send: they end in their own time.
const SENT: [Wire; 2] = [(0, 0, 60), (1, 2, 62)];

fn deed() -> impl Strategy<Value = Deed> {
    // Few keys and channels, so that they meet.
    let key = || prop_oneof![48u8..72, 0u8..128];
    prop_oneof![
        40 => (0..INPUTS, 0..2u8, key(), 1..128u8).prop_map(|(i, c, k, v)| Deed::Press(i, c, k, v)),
        40 => (0..INPUTS, 0..2u8, key()).prop_map(|(i, c, k)| Deed::Release(i, c, k)),
        8 => (0..INPUTS, 64..70u8, 0..128u8).prop_map(|(i, n, v)| Deed::Message(i, [0xB0, n, v])),
        6 => (0..INPUTS, 0..128u8, 0..128u8).prop_map(|(i, n, v)| Deed::Message(i, [0xB1, n, v])),
        4 => (0..INPUTS, 0..128u8, 0..128u8).prop_map(|(i, a, b)| Deed::Message(i, [0xE0, a, b])),
        2 => (0..INPUTS, 0..3u8).prop_map(|(i, v)| Deed::Message(i, [0xD0, 60 * v, 0])),
        2 => (0..INPUTS, key(), 0..128u8).prop_map(|(i, k, v)| Deed::Message(i, [0xA0, k, v])),
        8 => (0..18u8, 0..100usize).prop_map(|(what, which)| Deed::Action(what, which)),
        1 => (0..INPUTS).prop_map(Deed::Lost),
        1 => Just(Deed::Overrun),
        1 => (0..2usize).prop_map(Deed::Back),
        // Each builds an engine, which costs as much as thousands of other deeds.
        1 => prop_oneof![(0..1000usize).prop_map(Deed::Saved), Just(Deed::Killed)],
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

struct Performance {
    book: Book,
    engine: Engine,
    out: Out,
    /// Hears everything.
    listener: Listener,
    /// Is started again whenever an output comes back.
    newcomer: Listener,
    feet: Feet,
    now: u64,
}

impl Performance {
    fn new(book: Book) -> Performance {
        let engine = Engine::new(Arc::new(Plan::new(&book)));
        let out = engine.out();
        let (listener, newcomer, feet) = (Listener::default(), Listener::default(), Feet::default());
        let mut new = Performance { book, engine, out, listener, newcomer, feet, now: 0 };
        new.step(Event::Start { entry: 0, place: 0 });
        new
    }

    fn step(&mut self, event: Event<'_>) {
        self.out.clear();
        let wanted = self.engine.step(event, self.now, &mut self.out);
        assert!(wanted.is_none_or(|wanted| wanted > self.now), "what is due has run");
        self.listener.hear(&self.out);
        self.newcomer.hear(&self.out);
        self.feet.assert_behind(&self.listener);
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
        self.newcomer.hear(&self.out);
        self.feet.assert_behind(&self.listener);
        assert!(due || before.is_superset(&self.listener.sounding), "a note began by saving a map");
        let ended: Vec<_> = before.difference(&self.listener.sounding).collect();
        // Only a sent note whose time has come may end here.
        assert!(due || ended.is_empty() || ended.iter().all(|wire| [60, 62].contains(&wire.2)), "ended: {ended:?}");
        self.book = book;
    }

    fn message(&mut self, input: usize, bytes: [u8; 3]) {
        self.feet.heard(input, bytes);
        let length = if bytes[0] & 0xF0 == 0xD0 { 2 } else { 3 };
        self.step(Event::Message { input, message: decode(&bytes[..length]).expect("a message") });
    }

    fn do_deed(&mut self, deed: &Deed) {
        match *deed {
            Deed::Press(input, channel, key, velocity) => self.message(input, [0x90 | channel, key, velocity]),
            Deed::Release(input, channel, key) => self.message(input, [0x80 | channel, key, 30]),
            Deed::Message(input, bytes) => self.message(input, bytes),
            Deed::Action(what, which) => {
                let action = action(what, which, &self.book, self.engine.plan());
                self.step(Event::Action(action));
                if action == Action::Panic {
                    self.assert_silenced();
                }
            }
            Deed::Lost(input) => self.lose(input),
            Deed::Overrun => {
                (0..INPUTS).for_each(|input| self.lose(input));
                for listener in [&self.listener, &self.newcomer] {
                    let hang: Vec<_> = listener.sounding.iter().filter(|note| !SENT.contains(note)).collect();
                    assert!(hang.is_empty(), "notes hang: {hang:?}");
                    self.feet.assert_behind(listener);
                }
            }
            Deed::Killed => self.go_on_after_a_kill(),
            // What is edited is known to whoever plays.
            Deed::Saved(_) => {}
            Deed::Back(output) => {
                self.newcomer.start_again(output);
                self.step(Event::OutputBack(output));
                assert_eq!(self.newcomer.bends, self.listener.bends, "what is bent is said to newcomers");
                assert_eq!(self.newcomer.pressures, self.listener.pressures, "what is pressed is said to newcomers");
            }
        }
    }

    fn lose(&mut self, input: usize) {
        self.feet.lost(input);
        self.step(Event::InputLost(input));
    }

    /// Another engine goes on where this one stood; R16 comes first at every output, and nothing is set going (R8).
    fn go_on_after_a_kill(&mut self) {
        let standing = self.engine.standing();
        self.listener.lose_sender();
        self.newcomer.lose_sender();
        self.feet = Feet::default();
        self.engine = Engine::new(Arc::new(Plan::new(&self.book)));
        self.out = self.engine.out();
        for output in 0..2 {
            self.engine.step(Event::Silence(output), self.now, &mut self.out);
        }
        self.listener.hear(&self.out);
        self.newcomer.hear(&self.out);
        self.step(Event::Resume(standing));
        self.listener.assert_at_rest();
        self.newcomer.assert_at_rest();
        assert_eq!(self.engine.standing(), standing);
    }

    /// Rule R16, at each place that ever got a note.
    fn assert_silenced(&self) {
        assert!(self.listener.sounding.is_empty(), "notes hang: {:?}", self.listener.sounding);
        for (output, channel) in &self.listener.played {
            let pedals = self.listener.pedals.range((*output, *channel, 0)..=(*output, *channel, 127)).count();
            assert!(pedals == 0 && !self.listener.bends.contains_key(&(*output, *channel)), "{:?}", self.listener);
        }
    }

    fn place(&self) -> Where {
        let standing = self.engine.standing();
        Where { entry: standing.song, section: standing.section, shift: standing.shift }
    }

    fn stop(mut self) {
        self.step(Event::Stop);
        assert_eq!(self.engine.sounding(), 0);
        self.listener.assert_at_rest();
        self.newcomer.assert_at_rest();
    }
}

/// Plays everything, sends and handfuls too, and looks at the wire alone.
fn play(drawn: &Drawn, deeds: &[(Deed, u32)]) {
    let mut drawn = drawn.clone();
    let mut performance = Performance::new(drawn.book());
    for (deed, later) in deeds {
        performance.now += u64::from(*later);
        if let Deed::Saved(how) = *deed {
            drawn.edit(how);
            performance.take_over(drawn.book());
        } else {
            performance.do_deed(deed);
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
        let before = performance.engine.standing();
        match *deed {
            // Channel mode messages end notes by force, which the model does not tell.
            Deed::Message(_, [0xB1, 120 | 123.., _]) => continue,
            Deed::Press(input, channel, key, velocity) => {
                model.press(&performance.book, performance.place(), (input, channel, key), velocity);
            }
            Deed::Release(input, channel, key) => model.release((input, channel, key)),
            Deed::Lost(input) => model.release_input(input),
            Deed::Overrun => model.release_all(),
            Deed::Killed => {
                model.release_all();
                if let Some(entry) = before.song {
                    model.entered(&performance.book, entry);
                }
            }
            // The model does not tell how a map is edited while it is played.
            Deed::Message(..) | Deed::Action(..) | Deed::Back(_) | Deed::Saved(_) => {}
        }
        performance.do_deed(deed);
        if let Deed::Action(what, which) = *deed {
            let action = action(what, which, &performance.book, performance.engine.plan());
            follow(&mut model, &performance, before.entry, action);
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

fn deeds(lengths: Range<usize>) -> impl Strategy<Value = Vec<(Deed, u32)>> {
    prop::collection::vec((deed(), prop_oneof![Just(0u32), 0..30_000u32, 0..400_000u32]), lengths)
}

fn config(cases: u32) -> ProptestConfig {
    ProptestConfig { cases, max_shrink_iters: 4_000, failure_persistence: None, ..ProptestConfig::default() }
}

proptest! {
    #![proptest_config(config(CASES))]

    #[test]
    fn notes_alternate_and_nothing_hangs(drawn in drawn(), deeds in deeds(EVENTS / 2..EVENTS)) {
        play(&drawn, &deeds);
    }

    #[test]
    fn what_sounds_is_what_the_held_keys_began(drawn in drawn(), deeds in deeds(EVENTS / 2..EVENTS)) {
        play_beside_the_model(&drawn, &deeds);
    }
}

proptest! {
    #![proptest_config(config(5 * CASES))]

    #[test]
    fn a_stop_at_any_moment_leaves_silence(drawn in drawn(), deeds in deeds(0..EVENTS / 30)) {
        play(&drawn, &deeds);
    }
}
