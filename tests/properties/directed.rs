//! What cues do is what a director does by hand (rule R19): an engine with cues, beside one without any that hears only
//! what is nobody's cue and is told by `director` what to do. Both say the same, byte for byte and in the same order; and
//! to the lamps goes what the director says that cues send. So no cue's event sounds or reaches an output as itself,
//! releases follow their presses, a pedal comes up where it was heard, and changes by cues are changes like all others.

use std::sync::Arc;

use handspan::engine::{Action, Engine, Event, Micros, Out, Plan};
use proptest::prelude::*;

use crate::cues::{LAMPS, hit, length, transport};
use crate::director::{Directed, Director};
use crate::maps::{Drawn, INPUTS, drawn};
use crate::performance::{Deed, action, deed};
use crate::{CASES, EVENTS, config};

/// An engine, and what it said: time, output, bytes.
struct Stage {
    engine: Engine,
    out: Out,
    said: Vec<(u64, usize, Vec<u8>)>,
}

impl Stage {
    fn new(plan: Plan) -> Stage {
        let engine = Engine::new(Arc::new(plan));
        let out = engine.out();
        let mut stage = Stage { engine, out, said: Vec::new() };
        stage.step(Event::Start { entry: 0, order_step: 0 }, 0);
        stage
    }
}

impl Directed for Stage {
    fn step(&mut self, event: Event<'_>, now: u64) {
        self.out.clear();
        self.engine.step(event, Micros(now), &mut self.out);
        self.said.extend(self.out.said().map(|said| (said.at.0, said.output, said.bytes.to_vec())));
    }

    fn action(&self, words: &str) -> Action {
        Action::parse(words, self.engine.plan()).expect("an action")
    }

    fn stands(&self) -> (usize, Option<usize>) {
        let standing = self.engine.standing();
        (standing.entry, standing.song)
    }
}

fn is_directed(drawn: &Drawn, deeds: &[(Deed, u32)]) -> Result<usize, TestCaseError> {
    let mut book = Drawn { has_cues: true, ..drawn.clone() }.book();
    let mut cued = Stage::new(Plan::new(&book));
    let told_by = book.clone();
    let mut director = Director::new(&told_by);
    book.gear.cues.clear();
    book.songs.iter_mut().for_each(|song| song.cues.clear());
    let mut stage = Stage::new(Plan::new(&book));
    director.put_at_rest(0, &stage, |_| true);
    let mut now = 0;
    for (deed, later) in deeds {
        now += u64::from(*later);
        let (input, (whole, length)) = match *deed {
            Deed::Press(input, channel, key, velocity) => (input, ([0x90 | channel, key, velocity, 0, 0, 0], 3)),
            Deed::Release(input, channel, key) => (input, ([0x80 | channel, key, 30, 0, 0, 0], 3)),
            Deed::Message(input, [a, b, c]) => (input, ([a, b, c, 0, 0, 0], length(a))),
            Deed::Transport(input, command) => (input, (transport(command), 6)),
            Deed::Action(what, which) => {
                cued.step(Event::Action(action(what, which, &book, cued.engine.plan())), now);
                director.until(now, &mut stage);
                director.act(action(what, which, &book, stage.engine.plan()), now, &mut stage);
                continue;
            }
            Deed::Lost(input) => {
                cued.step(Event::InputLost(input), now);
                director.lose(input, now, &mut stage);
                continue;
            }
            Deed::Found(input) => {
                cued.step(Event::InputLost(input), now);
                cued.step(Event::InputBack(input), now);
                director.find(input, now, &mut stage);
                continue;
            }
            Deed::Overrun => {
                (0..INPUTS).for_each(|input| cued.step(Event::InputLost(input), now));
                (0..INPUTS).for_each(|input| director.lose(input, now, &mut stage));
                continue;
            }
            Deed::Back(output) => {
                cued.step(Event::OutputBack(output), now);
                director.until(now, &mut stage);
                stage.step(Event::OutputBack(output), now);
                if output == LAMPS {
                    director.tell(now, &stage);
                }
                continue;
            }
            Deed::Joined(output) => {
                cued.step(Event::OutputJoined(output), now);
                director.until(now, &mut stage);
                stage.step(Event::OutputJoined(output), now);
                if output == LAMPS {
                    director.tell(now, &stage);
                }
                continue;
            }
            Deed::Waited | Deed::Saved(_) | Deed::Killed => {
                cued.step(Event::Time, now);
                director.until(now, &mut stage);
                stage.step(Event::Time, now);
                continue;
            }
        };
        let bytes = &whole[..length];
        let message = handspan::midi::decode(bytes).expect("a message");
        cued.step(Event::Message { input, message }, now);
        director.hear(input, bytes, now, &mut stage);
        let standing = |stage: &Stage| stage.engine.standing();
        prop_assert_eq!(standing(&cued), standing(&stage), "after {:?} at {}", deed, now);
        prop_assert!(cued.engine.cues_on().map(|cue| cue.0).eq(director.standing()), "after {:?} at {}", deed, now);
    }
    cued.step(Event::Stop, now);
    director.stop(now, &mut stage);
    let is_cues = |said: &&(u64, usize, Vec<u8>)| said.1 == LAMPS;
    let sent: Vec<_> = cued.said.iter().filter(is_cues).map(|(at, _, bytes)| (*at, bytes.clone())).collect();
    prop_assert_eq!(&sent, &director.sent);
    let played: Vec<_> = cued.said.iter().filter(|said| !is_cues(said)).collect();
    let by_hand: Vec<_> = stage.said.iter().collect();
    let same = played.iter().zip(&by_hand).take_while(|(one, other)| one == other).count();
    prop_assert!(
        played == by_hand,
        "after {} messages {:02X?} with cues, {:02X?} by hand",
        same,
        played.get(same),
        by_hand.get(same)
    );
    Ok(director.fired)
}

/// Mostly what may hit a cue, as quickly as presses become double ones.
fn hits() -> impl Strategy<Value = Vec<(Deed, u32)>> {
    let later = prop_oneof![1 => Just(0u32), 2 => 0..30_000u32, 4 => 0..250_000u32, 1 => 0..800_000u32];
    prop::collection::vec((prop_oneof![2 => hit(), 1 => deed()], later), 1..EVENTS / 4)
}

proptest! {
    #![proptest_config(config(CASES))]

    #[test]
    fn cues_do_what_a_hand_would(drawn in drawn(), deeds in hits()) {
        is_directed(&drawn, &deeds)?;
    }
}
