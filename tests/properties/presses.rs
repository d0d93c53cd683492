//! A second, plain telling of what a press was (rule R19), over the whole of what a control said: which presses count,
//! and which of them were single, double and long. The engine hears the same, value by value.

use std::fmt::Write as _;
use std::io;
use std::sync::Arc;

use handspan::engine::{Engine, Event, Micros, Plan};
use handspan::map::{self, Book};
use handspan::midi::decode;
use proptest::prelude::*;

use crate::{CASES, config};

const DEAF: u64 = 500_000;
const GUARD: u64 = 200_000;
/// The same where a second press is waited for; and so short a lift is none where a press may become another.
const BOUNCE: u64 = 60_000;
const DOUBLE: u64 = 400_000;
const LONG: u64 = 700_000;
/// In the order in which the file has them.
const PRESSES: [&str; 4] = ["either", "single", "double", "long"];
const EITHER: usize = 0;
const SINGLE: usize = 1;
const DOUBLED: usize = 2;
const LASTED: usize = 3;

/// What has the cues.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Control {
    Key,
    Pedal,
    /// A pedal that rests at 127.
    Reversed,
}

/// What happens to it: a value, or its cable is out and put back.
#[derive(Debug, Clone, Copy)]
enum Moved {
    To(u8),
    Found,
}

/// A time, and twice the number of the move, plus 1 for what goes down; 0 where time alone tells: that comes before a
/// move of the same time, and what comes up before what goes down.
type Moment = (u64, usize);

/// A press, from when it went down until it came up, or its input was lost.
#[derive(Debug, Clone, Copy)]
struct Press {
    down: Moment,
    up: Option<Moment>,
    lost: Option<u64>,
    counts: bool,
}

/// All presses of a control, in order.
fn presses(control: Control, moves: &[(u64, Moved)], waits: [bool; 4]) -> Vec<Press> {
    let guard = if waits[DOUBLED] { BOUNCE } else { GUARD };
    let mut presses: Vec<Press> = Vec::new();
    let mut appeared = 0;
    for (number, (at, moved)) in (1..).zip(moves.iter().copied()) {
        let held = presses.last().is_some_and(|last| last.up.is_none() && last.lost.is_none());
        let value = match moved {
            Moved::To(value) if control == Control::Reversed => 127 - value,
            Moved::To(value) => value,
            Moved::Found => {
                for press in presses.iter_mut().filter(|press| press.lost.is_none()) {
                    press.lost = Some(at);
                    press.up = press.up.filter(|up| up.0 <= at);
                }
                appeared = at;
                continue;
            }
        };
        let comes_up = match control {
            // A key that is struck again without having come up has come up.
            Control::Key => true,
            _ => value <= 40,
        };
        if held && comes_up {
            let last = presses.last_mut().expect("a press");
            // What may bounce is up only later, unless it is down again.
            let may_bounce = control != Control::Key && last.counts && (waits[DOUBLED] || waits[LASTED]);
            last.up = Some(if may_bounce { (at + BOUNCE, 0) } else { (at, 2 * number) });
        }
        let goes_down = value >= 64 && (!held || control == Control::Key);
        let bounced = presses.last_mut().filter(|last| last.lost.is_none() && last.up.is_some_and(|up| up.0 > at));
        if let Some(press) = bounced.filter(|_| goes_down) {
            press.up = None;
        } else if goes_down {
            let last = presses.iter().rev().find(|press| press.counts).map(|press| press.down.0);
            let bounces = control != Control::Key && last.is_some_and(|last| at - last < guard);
            let counts = !bounces && at - appeared >= DEAF;
            presses.push(Press { down: (at, 2 * number + 1), up: None, lost: None, counts });
        }
    }
    presses
}

/// What the presses were, each with the time at which that is known, where a cue waits for it.
fn told(control: Control, moves: &[(u64, Moved)], waits: [bool; 4], end: u64) -> Vec<(u64, usize)> {
    let all = presses(control, moves, waits);
    let counting: Vec<Press> = all.into_iter().filter(|press| press.counts).collect();
    let mut told = Vec::new();
    let mut rest = counting.as_slice();
    while let Some((press, after)) = rest.split_first() {
        rest = after;
        told.push((press.down, 0, EITHER));
        told.extend(press.up.map(|up| (up, 0, EITHER)));
        let second = after.first().filter(|second| second.down.0 < press.down.0 + DOUBLE && second.lost == press.lost);
        if let Some(second) = second.filter(|_| waits[DOUBLED]) {
            // The second press is used up, but for its crossings.
            rest = &after[1..];
            told.extend([(second.down, 0, EITHER), (second.down, 1, DOUBLED)]);
            told.extend(second.up.map(|up| (up, 0, EITHER)));
            continue;
        }
        let no_double = if waits[DOUBLED] { (press.down.0 + DOUBLE, 0) } else { press.down };
        let (at, what) = match press.up {
            _ if !waits[LASTED] => (no_double, SINGLE),
            Some(up) if up.0 < press.down.0 + LONG => (up.max(no_double), SINGLE),
            _ => ((press.down.0 + LONG, 0), LASTED),
        };
        if press.lost.is_none_or(|lost| at.0 <= lost) {
            told.push((at, 1, what));
        }
    }
    told.sort_by_key(|(at, order, _)| (*at, *order));
    told.retain(|((at, _), _, what)| waits[*what] && *at <= end);
    told.into_iter().map(|((at, _), _, what)| (at, what)).collect()
}

fn book(control: Control, waits: [bool; 4]) -> Book {
    let mut read = |path: &str| {
        let text = match path {
            "set.toml" => "title = \"Drawn\"\ngear = \"gear.toml\"\n[[song]]\nmap = \"song.toml\"\n".to_owned(),
            "song.toml" => "title = \"Snow\"\nkey = \"C\"\n[[zone]]\nsound = \"s\"\n".to_owned(),
            "gear.toml" => {
                let mut text =
                    "[inputs.i]\nport = \"p\"\n[outputs.o]\nvirtual = true\n[outputs.lamps]\nvirtual = true\n\
                     [sounds.s]\noutput = \"o\"\nchannel = 1\n"
                        .to_owned();
                let what = match control {
                    Control::Key => "note = 60",
                    Control::Pedal => "control = 64",
                    Control::Reversed => "control = 64, reversed = true",
                };
                for (number, press) in PRESSES.iter().enumerate().filter(|(number, _)| waits[*number]) {
                    let _ = write!(text, "[[cue]]\nwhen = {{ input = \"i\", {what}, press = \"{press}\" }}\n");
                    let message = format!("{{ control = [20, {number}], channel = 1 }}");
                    let _ = write!(text, "do = \"send\"\nto = \"lamps\"\nmessage = {message}\n");
                }
                text
            }
            _ => return Err(io::ErrorKind::NotFound.into()),
        };
        Ok(text.into_bytes())
    };
    map::load("set.toml", &mut read).book.expect("a sound set")
}

/// What the engine makes of it.
fn heard(control: Control, moves: &[(u64, Moved)], waits: [bool; 4], end: u64) -> Vec<(u64, usize)> {
    let mut engine = Engine::new(Arc::new(Plan::new(&book(control, waits))));
    let mut out = engine.out();
    engine.step(Event::Start { entry: 0, order_step: 0 }, Micros(0), &mut out);
    for (at, moved) in moves.iter().copied() {
        match moved {
            Moved::To(value) => {
                let bytes = match control {
                    Control::Key if value >= 64 => [0x90, 60, value],
                    Control::Key => [0x80, 60, value],
                    _ => [0xB0, 64, value],
                };
                engine.step(
                    Event::Message { input: 0, message: decode(&bytes).expect("a message") },
                    Micros(at),
                    &mut out,
                );
            }
            Moved::Found => {
                engine.step(Event::InputLost(0), Micros(at), &mut out);
                engine.step(Event::InputBack(0), Micros(at), &mut out);
            }
        }
    }
    engine.step(Event::Time, Micros(end), &mut out);
    out.said()
        .map(|said| match said.bytes {
            [0xB0, 20, number] if said.output == 1 => (said.at.0, usize::from(*number)),
            bytes => panic!("the control belongs to the cue alone: {bytes:02X?}"),
        })
        .collect()
}

fn moves() -> impl Strategy<Value = Vec<(u64, Moved)>> {
    let value = prop_oneof![4 => Just(127u8), 4 => Just(0), 1 => 38..43u8, 1 => 61..67u8, 1 => 84..90u8, 1 => 0..128u8];
    let moved = prop_oneof![60 => value.prop_map(Moved::To), 1 => Just(Moved::Found)];
    // Such times as the rule knows, and any.
    let known = (0..8u64, 0..2u64).prop_map(|(tenths, less)| (100_000 * tenths).saturating_sub(less));
    let later =
        prop_oneof![2 => known, 1 => 59_998..60_002u64, 1 => 0..10_000u64, 3 => 0..300_000u64, 1 => 0..1_000_000u64];
    prop::collection::vec((later, moved), 0..120).prop_map(|moves| {
        let mut now = 0;
        let at = |(later, moved)| {
            now += later;
            (now, moved)
        };
        moves.into_iter().map(at).collect()
    })
}

proptest! {
    #![proptest_config(config(CASES))]

    #[test]
    fn presses_are_what_they_were(
        control in prop_oneof![Just(Control::Key), Just(Control::Pedal), Just(Control::Reversed)],
        waits in (1..16u8).prop_map(|set| [0, 1, 2, 3].map(|press| set & 1 << press != 0)),
        moves in moves(),
        longer in prop_oneof![Just(2_000_000u64), 0..2_000_000u64],
    ) {
        let end = moves.last().map_or(0, |(at, _)| *at) + longer;
        prop_assert_eq!(heard(control, &moves, waits, end), told(control, &moves, waits, end));
    }
}
