//! Controllers, pedals, bend and pressure (rule R7), and pedals over a change (rule R9).

use std::sync::Arc;

use super::Engine;
use super::ledger::Ledger;
use super::out::Out;
use super::place::{CENTRE, Follows, LASTING, PEDALS, PlaceState, rest};
use super::plan::{Plan, PlanZone};
use crate::evening::Inputs;
use crate::map::Pedal;

/// From this value up a pedal that counts as a switch is down.
const SWITCH_ON: u8 = 64;
/// Below this value it is up again.
const SWITCH_OFF: u8 = 40;
const PEDAL_COUNT: usize = 6;

/// What the player's feet and hands did last, for every input.
#[derive(Debug)]
pub(super) struct Feet {
    inputs: Vec<InputFeet>,
    /// Counts messages, to know the latest.
    clock: u64,
}

#[derive(Debug, Clone)]
struct InputFeet {
    /// Pedal values of each channel, and whether each is down as a switch.
    pedals: [[PedalState; PEDAL_COUNT]; 16],
    /// The highest of all channels, for each pedal.
    highest: [PedalState; PEDAL_COUNT],
    bend: Latest<u16>,
    pressure: Latest<u8>,
    lasting: [Latest<u8>; LASTING.len()],
}

/// A pedal's value, and whether it is down as a switch.
type PedalState = (u8, bool);

/// A value and the count of messages when it came; 0: never.
#[derive(Debug, Clone, Copy)]
struct Latest<T> {
    value: T,
    count: u64,
}

impl InputFeet {
    fn at_rest() -> InputFeet {
        InputFeet {
            pedals: [[(0, false); PEDAL_COUNT]; 16],
            highest: [(0, false); PEDAL_COUNT],
            bend: Latest { value: CENTRE, count: 0 },
            pressure: Latest { value: 0, count: 0 },
            lasting: LASTING.map(|number| Latest { value: rest(number), count: 0 }),
        }
    }
}

impl Feet {
    pub fn new(plan: &Plan) -> Feet {
        Feet { inputs: vec![InputFeet::at_rest(); plan.inputs.len()], clock: 0 }
    }

    /// The highest of a pedal over some inputs, as it comes or as a switch.
    fn highest(&self, inputs: Inputs, pedal: usize, as_switch: bool) -> u8 {
        let sources = members(inputs).filter_map(|input| self.inputs.get(input));
        let values = sources.map(|input| match input.highest[pedal] {
            (_, down) if as_switch => 127 * u8::from(down),
            (value, _) => value,
        });
        values.max().unwrap_or(0)
    }

    /// The latest of what some inputs sent; what `none` says where none ever sent it.
    fn latest<T: Copy>(&self, inputs: Inputs, of: impl Fn(&InputFeet) -> Latest<T>, none: T) -> T {
        let known = members(inputs).filter_map(|input| self.inputs.get(input)).map(of);
        known.max_by_key(|latest| latest.count).filter(|latest| latest.count > 0).map_or(none, |latest| latest.value)
    }
}

/// Numbers of the inputs of a set.
fn members(mut inputs: Inputs) -> impl Iterator<Item = usize> {
    std::iter::from_fn(move || {
        let first = inputs.trailing_zeros();
        inputs &= inputs.wrapping_sub(1);
        (first < Inputs::BITS).then_some(first as usize)
    })
}

impl PlanZone {
    fn follows_feet_of(&self, input: usize) -> bool {
        self.feet & 1 << input != 0
    }
}

impl Engine {
    /// A controller or channel mode message from an input.
    pub(super) fn turn(&mut self, input: usize, channel: u8, number: u8, value: u8, now: u64, out: &mut Out) {
        let number = self.plan.inputs[input].heard_as[usize::from(number & 127)];
        match number {
            // Bank select and local control are ours to say; a velocity prefix would be false after a curve (R6).
            0 | 32 | 88 | 122 => {}
            64..=69 => self.pedal(input, channel, number, value, out),
            120 => {
                let follows = |zone: &PlanZone| zone.follows_feet_of(input) && zone.controls & 1 << number != 0;
                self.at_each_place(follows, |engine, place| {
                    engine.end_all_notes(place, out);
                    engine.say_control(place, number, value, out);
                    engine.return_expression(place, out);
                });
            }
            121 => self.rest_input(input, channel, out),
            123..=127 => self.lift_keys(input, Some(channel), now, out),
            _ => self.turn_plainly(input, number, value, out),
        }
    }

    /// Every message of a controller that is no pedal goes once to each place that follows it.
    fn turn_plainly(&mut self, input: usize, number: u8, value: u8, out: &mut Out) {
        self.feet.clock += 1;
        if let Some(lasting) = LASTING.iter().position(|lasting| *lasting == number) {
            self.feet.inputs[input].lasting[lasting] = Latest { value, count: self.feet.clock };
        }
        let follows = |zone: &PlanZone| zone.follows_feet_of(input) && zone.controls & 1 << number != 0;
        self.at_each_place(follows, |engine, place| engine.control_place(place, number, value, out));
    }

    /// Whether a value lifts a pedal that is down, at least in part.
    pub(super) fn pedal_lifts(&self, input: usize, channel: u8, number: u8, value: u8) -> bool {
        let pedal = usize::from(number - PEDALS.start());
        value < self.feet.inputs[input].pedals[usize::from(channel)][pedal].0
    }

    /// Whether a controller lifts a pedal that went down on this channel, whether or not we still hear it.
    pub(super) fn lifts_pedal(&self, input: usize, channel: u8, number: u8, value: u8) -> bool {
        let number = self.plan.inputs[input].heard_as[usize::from(number & 127)];
        PEDALS.contains(&number) && self.pedal_lifts(input, channel, number, value)
    }

    pub(super) fn pedal(&mut self, input: usize, channel: u8, number: u8, value: u8, out: &mut Out) {
        let pedal = usize::from(number - PEDALS.start());
        let feet = &mut self.feet.inputs[input];
        let (last, down) = &mut feet.pedals[usize::from(channel)][pedal];
        *last = value;
        *down = value >= SWITCH_ON || *down && value >= SWITCH_OFF;
        let channels = feet.pedals.iter().map(|pedals| pedals[pedal]);
        feet.highest[pedal] = channels.fold((0, false), |high, state| (high.0.max(state.0), high.1 || state.1));
        self.refresh_pedal_where_reached(input, pedal, out);
    }

    fn refresh_pedal_where_reached(&mut self, input: usize, pedal: usize, out: &mut Out) {
        let follows = |zone: &PlanZone| zone.follows_feet_of(input) && zone.pedal != Pedal::Ignore;
        self.at_each_place(follows, |engine, place| engine.refresh_pedal(place, pedal, out));
        for place in 0..self.places.len() {
            let state = &self.places[place];
            if !state.follows.pedals() && (state.left.0 | state.left.1) & 1 << input != 0 {
                self.refresh_pedal(place as u16, pedal, out);
            }
        }
    }

    /// The highest of all sources that reach a place, sent when that changes; downward only where nothing in use
    /// follows it any longer (rule R9).
    fn refresh_pedal(&mut self, place: u16, pedal: usize, out: &mut Out) {
        let state = &self.places[usize::from(place)];
        let number = PEDALS.start() + pedal as u8;
        let downward = !state.follows.pedals();
        let (plain, switches) = if downward { state.left } else { (state.follows.plain, state.follows.switches) };
        let value = self.feet.highest(plain, pedal, false).max(self.feet.highest(switches, pedal, true));
        let known = state.control(number);
        if value != known && (!downward || value < known) {
            self.say_control(place, number, value, out);
        }
    }

    /// Pressure of a whole channel.
    pub(super) fn press_channel(&mut self, input: usize, value: u8, out: &mut Out) {
        self.feet.clock += 1;
        self.feet.inputs[input].pressure = Latest { value, count: self.feet.clock };
        let follows = |zone: &PlanZone| zone.follows_feet_of(input) && zone.bend;
        self.at_each_place(follows, |engine, place| engine.say_pressure(place, value, out));
    }

    /// Pitch bend.
    pub(super) fn bend(&mut self, input: usize, value: u16, out: &mut Out) {
        self.feet.clock += 1;
        self.feet.inputs[input].bend = Latest { value, count: self.feet.clock };
        let follows = |zone: &PlanZone| zone.follows_feet_of(input) && zone.bend;
        self.at_each_place(follows, |engine, place| engine.say_bend(place, value, out));
    }

    /// Does something once at each distinct place of the zones in use that follow, in file order.
    fn at_each_place(&mut self, follows: impl Fn(&PlanZone) -> bool, mut act: impl FnMut(&mut Engine, u16)) {
        let plan = Arc::clone(&self.plan);
        let zone = |number: u16| &plan.zones[usize::from(number)];
        for index in 0..self.in_use.len() {
            let this = zone(self.in_use[index]);
            let been_there = |other: &u16| zone(*other).place == this.place && follows(zone(*other));
            if follows(this) && !self.in_use[..index].iter().any(been_there) {
                act(self, this.place);
            }
        }
    }

    /// Controller 121 from an input: the list of RP-015 to rest, each said singly.
    fn rest_input(&mut self, input: usize, channel: u8, out: &mut Out) {
        self.turn_plainly(input, 1, 0, out);
        self.turn_plainly(input, 11, 127, out);
        for pedal in 64..=67 {
            self.pedal(input, channel, pedal, 0, out);
        }
        for parameter in [98, 99, 100, 101] {
            self.turn_plainly(input, parameter, 127, out);
        }
        self.bend(input, CENTRE, out);
        self.press_channel(input, 0, out);
        for key in 0..128 {
            let number = Ledger::number(input, channel, key);
            if self.ledger.key(number).down {
                self.press_key_harder(number, 0, out);
            }
        }
    }

    /// All keys of an input, or of one channel of it, come up, lowest first.
    pub(super) fn lift_keys(&mut self, input: usize, channel: Option<u8>, now: u64, out: &mut Out) {
        for key in 0..128 {
            for channel in channel.map_or(0..16, |channel| channel..channel + 1) {
                self.release(Ledger::number(input, channel, key), 64, now, out);
            }
        }
    }

    /// An input's pedals lift, its bend and pressure rest (rule R17).
    pub(super) fn lift_feet(&mut self, input: usize, out: &mut Out) {
        let feet = &mut self.feet.inputs[input];
        feet.pedals = [[(0, false); PEDAL_COUNT]; 16];
        feet.highest = [(0, false); PEDAL_COUNT];
        let (bent, pressed) = (feet.bend.value != CENTRE, feet.pressure.value != 0);
        for pedal in 0..PEDAL_COUNT {
            self.refresh_pedal_where_reached(input, pedal, out);
        }
        if bent {
            self.bend(input, CENTRE, out);
        }
        if pressed {
            self.press_channel(input, 0, out);
        }
    }

    /// What the zones now in use follow at a place.
    pub(super) fn follows_now(&self, place: u16) -> Follows {
        let mut follows = Follows::default();
        for zone in self.in_use.iter().map(|zone| &self.plan.zones[usize::from(*zone)]) {
            if zone.place != place {
                continue;
            }
            match zone.pedal {
                Pedal::Follow => follows.plain |= zone.feet,
                Pedal::Switch => follows.switches |= zone.feet,
                Pedal::Ignore => {}
            }
            if zone.bend {
                follows.bend |= zone.feet;
            }
            for (number, inputs) in LASTING.iter().zip(&mut follows.lasting) {
                if zone.controls & 1 << number != 0 {
                    *inputs |= zone.feet;
                }
            }
        }
        follows
    }

    /// Rule R9, as zones go out of use: what nothing follows any longer. Pedals keep being lifted, bend and pressure
    /// rest at once.
    pub(super) fn let_go(&mut self, place: u16, out: &mut Out) {
        let now = self.follows_now(place);
        let state = &mut self.places[usize::from(place)];
        let before = state.follows;
        state.before = before;
        state.follows = now;
        if now.pedals() {
            state.left = (0, 0);
        } else if before.pedals() {
            state.left = (before.plain, before.switches);
        }
        if before.bend != 0 && now.bend == 0 {
            self.rest_bend(place, out);
        }
    }

    /// Rule R8, after the set-up: where something is newly followed, pedals, bend, pressure and the lasting
    /// controllers go to the player's present value; and where an input is no longer followed, lest what it said last
    /// stay there for good.
    pub(super) fn take_up(&mut self, place: u16, out: &mut Out) {
        let PlaceState { before, follows: now, .. } = self.places[usize::from(place)];
        if before != now {
            self.wake_place(place, out);
        }
        if now.pedals() && (before.plain, before.switches) != (now.plain, now.switches) {
            for pedal in 0..PEDAL_COUNT {
                self.refresh_pedal(place, pedal, out);
            }
        }
        let newly = |before: Inputs, now: Inputs| now != 0 && (before == 0 || before & !now != 0);
        if newly(before.bend, now.bend) {
            let bend = self.feet.latest(now.bend, |input| input.bend, CENTRE);
            if bend != self.places[usize::from(place)].bend {
                self.say_bend(place, bend, out);
            }
            let pressure = self.feet.latest(now.bend, |input| input.pressure, 0);
            if pressure != self.places[usize::from(place)].pressure {
                self.say_pressure(place, pressure, out);
            }
        }
        for (index, number) in LASTING.into_iter().enumerate() {
            if newly(before.lasting[index], now.lasting[index]) {
                let value = self.feet.latest(now.lasting[index], |input| input.lasting[index], rest(number));
                if value != self.places[usize::from(place)].control(number) {
                    self.say_control(place, number, value, out);
                }
            }
        }
    }
}
