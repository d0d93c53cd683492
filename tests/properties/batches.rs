//! How events are batched makes no difference (rule R20): the same playing with a call at every moment that the engine
//! wants, with none but the events, and with calls at other moments between, says the same bytes at the same times in
//! the same order.

use std::sync::Arc;

use handspan::engine::{Engine, Event, Micros, Out, Plan, Successor};
use handspan::midi::decode;
use proptest::prelude::*;

use crate::cues::{length, transport};
use crate::maps::{Drawn, INPUTS, drawn};
use crate::performance::{Deed, action};
use crate::{CASES, EVENTS, config, deeds};

/// When the engine is called between events.
#[derive(Clone, Copy)]
enum Calls<'a> {
    AsWanted,
    Never,
    /// So many microseconds after the event before, in a circle, where that is before the next.
    At(&'a [u32]),
}

/// Time, output, bytes.
type Heard = Vec<(u64, usize, Vec<u8>)>;

struct Player {
    engine: Engine,
    out: Out,
    heard: Heard,
    wanted: Option<u64>,
}

impl Player {
    fn step(&mut self, event: Event<'_>, now: u64) {
        self.wanted = self.engine.step(event, Micros(now), &mut self.out).map(|wanted| wanted.0);
        self.take_down();
    }

    fn take_down(&mut self) {
        self.heard.extend(self.out.said().map(|said| (said.at.0, said.output, said.bytes.to_vec())));
        self.out.clear();
    }

    /// Is called between two events.
    fn pass(&mut self, from: u64, to: u64, calls: Calls<'_>, number: usize) {
        match calls {
            Calls::AsWanted => {
                while let Some(wanted) = self.wanted.filter(|wanted| *wanted <= to) {
                    self.step(Event::Time, wanted);
                }
            }
            Calls::Never => {}
            Calls::At(moments) => {
                let moment = from + u64::from(moments[number % moments.len()]);
                if moment <= to {
                    self.step(Event::Time, moment);
                }
            }
        }
    }

    fn message(&mut self, input: usize, bytes: [u8; 3], now: u64) {
        let message = decode(&bytes[..length(bytes[0])]).expect("a message");
        self.step(Event::Message { input, message }, now);
    }
}

fn play(drawn: &Drawn, deeds: &[(Deed, u32)], calls: Calls<'_>) -> Heard {
    let mut drawn = drawn.clone();
    let mut book = drawn.book();
    let engine = Engine::new(Arc::new(Plan::new(&book)));
    let out = engine.out();
    let mut player = Player { engine, out, heard: Heard::new(), wanted: None };
    player.step(Event::Start { entry: 0, order_step: 0 }, 0);
    let mut now = 0;
    for (number, (deed, later)) in deeds.iter().enumerate() {
        let before = now;
        now += u64::from(*later);
        player.pass(before, now, calls, number);
        match *deed {
            Deed::Press(input, channel, key, velocity) => player.message(input, [0x90 | channel, key, velocity], now),
            Deed::Release(input, channel, key) => player.message(input, [0x80 | channel, key, 30], now),
            Deed::Message(input, bytes) => player.message(input, bytes, now),
            Deed::Action(what, which) => {
                let action = action(what, which, &book, player.engine.plan());
                player.step(Event::Action(action), now);
            }
            Deed::Transport(input, command) => {
                let bytes = transport(command);
                player.step(Event::Message { input, message: decode(&bytes).expect("a message") }, now);
            }
            Deed::Lost(input) => player.step(Event::InputLost(input), now),
            Deed::Found(input) => {
                player.step(Event::InputLost(input), now);
                player.step(Event::InputBack(input), now);
            }
            Deed::Overrun => (0..INPUTS).for_each(|input| player.step(Event::InputLost(input), now)),
            Deed::Back(output) => player.step(Event::OutputBack(output), now),
            Deed::Joined(output) => player.step(Event::OutputJoined(output), now),
            Deed::Saved(how) => {
                drawn.edit(how);
                book = drawn.book();
                let plan = Plan::after(&book, player.engine.plan());
                let mut successor = Successor::new(player.engine.plan(), plan);
                player.engine.make_way(&successor, Micros(now), &mut player.out);
                player.wanted =
                    player.engine.take_over(&mut successor, Micros(now), &mut player.out).map(|wanted| wanted.0);
                player.take_down();
            }
            // What a kill loses depends on what was said before it.
            Deed::Waited | Deed::Killed => {}
        }
    }
    now += 1_000_000;
    player.pass(now - 1_000_000, now, calls, 0);
    player.step(Event::Stop, now);
    player.heard
}

fn first_difference(one: &Heard, other: &Heard) -> String {
    let at = one.iter().zip(other).take_while(|(one, other)| one == other).count();
    format!("after {at} messages {:02X?} and {:02X?}", one.get(at), other.get(at))
}

proptest! {
    #![proptest_config(config(CASES / 4))]

    #[test]
    fn batches_make_no_difference(
        drawn in drawn(),
        deeds in deeds(EVENTS / 4..EVENTS / 2),
        moments in prop::collection::vec(0..60_000u32, 1..20),
    ) {
        let never = play(&drawn, &deeds, Calls::Never);
        for calls in [Calls::AsWanted, Calls::At(&moments)] {
            let called = play(&drawn, &deeds, calls);
            prop_assert!(called == never, "{}", first_difference(&called, &never));
        }
    }
}
