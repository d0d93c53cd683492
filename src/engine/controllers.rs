//! Controllers, pedals, bend and pressure (rule R7), and pedals over a change (rule R9).

use super::channels::{CENTRE, ChannelState, Follows, LASTING, PEDALS, rest};
use super::ids::{ChannelId, KeyId, ZoneId};
use super::notes::On;
use super::plan::Plan;
use super::zone::PlanZone;
use crate::evening::Inputs;
use crate::map::Pedal;

/// From this value up a pedal that counts as a switch is down.
const SWITCH_ON: u8 = 64;
/// Below this value it is up again.
const SWITCH_OFF: u8 = 40;
const PEDAL_COUNT: usize = 6;

/// What the player's feet and hands did last, for every input.
#[derive(Debug)]
pub(super) struct Controllers {
    inputs: Vec<InputState>,
    /// Counts messages, to know the latest.
    clock: u64,
}

#[derive(Debug, Clone)]
struct InputState {
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

impl InputState {
    fn at_rest() -> InputState {
        InputState {
            pedals: [[(0, false); PEDAL_COUNT]; 16],
            highest: [(0, false); PEDAL_COUNT],
            bend: Latest { value: CENTRE, count: 0 },
            pressure: Latest { value: 0, count: 0 },
            lasting: LASTING.map(|number| Latest { value: rest(number), count: 0 }),
        }
    }
}

impl Controllers {
    pub fn new(plan: &Plan) -> Controllers {
        Controllers { inputs: vec![InputState::at_rest(); plan.inputs.len()], clock: 0 }
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
    fn latest<T: Copy>(&self, inputs: Inputs, of: impl Fn(&InputState) -> Latest<T>, none: T) -> T {
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

impl Controllers {
    /// A controller of an input, other than those that lift its keys.
    pub fn turn(&mut self, (input, channel): (usize, u8), number: u8, value: u8, on: &mut On<'_, '_>) {
        match number {
            // Bank select and local control are ours to say; a velocity prefix would be false after a curve (R6).
            0 | 32 | 88 | 122 => {}
            64..=69 => self.pedal((input, channel), number, value, on),
            120 => on.at_each_channel(follows_control(input, number), |on, channel| {
                on.notes.end_all(channel, on.step);
                on.notes.channels.say_control(channel, number, value, on.step);
                on.notes.channels.return_expression(channel, on.step);
            }),
            121 => self.rest_input(input, channel, on),
            _ => self.turn_plainly(input, number, value, on),
        }
    }

    /// Every message of a controller that is no pedal goes once to each channel that follows it.
    fn turn_plainly(&mut self, input: usize, number: u8, value: u8, on: &mut On<'_, '_>) {
        self.clock += 1;
        if let Some(lasting) = LASTING.iter().position(|lasting| *lasting == number) {
            self.inputs[input].lasting[lasting] = Latest { value, count: self.clock };
        }
        on.at_each_channel(follows_control(input, number), |on, channel| {
            on.notes.channels.control(channel, number, value, on.step);
        });
    }

    /// Whether a controller's value lifts a pedal that went down on this channel, at least in part.
    pub fn lifts_pedal(&self, (input, channel): (usize, u8), number: u8, value: u8) -> bool {
        let Some(pedal) = number.checked_sub(*PEDALS.start()).filter(|_| PEDALS.contains(&number)) else {
            return false;
        };
        value < self.inputs[input].pedals[usize::from(channel)][usize::from(pedal)].0
    }

    /// The inputs whose sustain pedal is down, on one channel or another.
    pub fn sustained(&self) -> Inputs {
        let down = self.inputs.iter().enumerate().filter(|(_, input)| input.highest[0].1);
        down.fold(0, |inputs, (number, _)| inputs | 1 << number)
    }

    pub fn pedal(&mut self, (input, channel): (usize, u8), number: u8, value: u8, on: &mut On<'_, '_>) {
        let pedal = usize::from(number - PEDALS.start());
        let state = &mut self.inputs[input];
        let (last, down) = &mut state.pedals[usize::from(channel)][pedal];
        *last = value;
        *down = value >= SWITCH_ON || *down && value >= SWITCH_OFF;
        let channels = state.pedals.iter().map(|pedals| pedals[pedal]);
        state.highest[pedal] = channels.fold((0, false), |high, state| (high.0.max(state.0), high.1 || state.1));
        self.refresh_pedal_where_it_reaches(input, pedal, on);
    }

    fn refresh_pedal_where_it_reaches(&self, input: usize, pedal: usize, on: &mut On<'_, '_>) {
        let follows = |zone: &PlanZone| zone.follows_feet_of(input) && zone.pedal != Pedal::Ignore;
        on.at_each_channel(follows, |on, channel| self.refresh_pedal(channel, pedal, on));
        for channel in on.notes.channels.all() {
            let state = on.notes.channels.get(channel);
            if !state.follows.pedals() && (state.left.0 | state.left.1) & 1 << input != 0 {
                self.refresh_pedal(channel, pedal, on);
            }
        }
    }

    /// The highest of all sources that reach a channel, sent when that changes; downward only where nothing in use
    /// follows it any longer (rule R9).
    fn refresh_pedal(&self, channel: ChannelId, pedal: usize, on: &mut On<'_, '_>) {
        let state = on.notes.channels.get(channel);
        let number = PEDALS.start() + pedal as u8;
        let downward = !state.follows.pedals();
        let (plain, switches) = if downward { state.left } else { (state.follows.plain, state.follows.switches) };
        let value = self.highest(plain, pedal, false).max(self.highest(switches, pedal, true));
        let known = state.control(number);
        if Some(value) != known && (!downward || known.is_none_or(|known| value < known)) {
            on.notes.channels.say_control(channel, number, value, on.step);
        }
    }

    /// Pressure of a whole channel.
    pub fn press_channel(&mut self, input: usize, value: u8, on: &mut On<'_, '_>) {
        self.clock += 1;
        self.inputs[input].pressure = Latest { value, count: self.clock };
        let follows = |zone: &PlanZone| zone.follows_feet_of(input) && zone.bend;
        on.at_each_channel(follows, |on, channel| on.notes.channels.say_pressure(channel, value, on.step));
    }

    /// Pitch bend.
    pub fn bend(&mut self, input: usize, value: u16, on: &mut On<'_, '_>) {
        self.clock += 1;
        self.inputs[input].bend = Latest { value, count: self.clock };
        let follows = |zone: &PlanZone| zone.follows_feet_of(input) && zone.bend;
        on.at_each_channel(follows, |on, channel| on.notes.channels.say_bend(channel, value, on.step));
    }

    /// Controller 121 from an input: the list of RP-015 to rest, each said singly.
    fn rest_input(&mut self, input: usize, channel: u8, on: &mut On<'_, '_>) {
        self.turn_plainly(input, 1, 0, on);
        self.turn_plainly(input, 11, 127, on);
        for pedal in 64..=67 {
            self.pedal((input, channel), pedal, 0, on);
        }
        for parameter in [98, 99, 100, 101] {
            self.turn_plainly(input, parameter, 127, on);
        }
        self.bend(input, CENTRE, on);
        self.press_channel(input, 0, on);
        for id in (0..128).map(|key| KeyId::new(input, channel, key)) {
            if on.notes.owners.key(id).down {
                on.notes.press_harder(id, 0, on.step);
            }
        }
    }

    /// An input's pedals lift, its bend and pressure rest (rule R17).
    pub fn lose(&mut self, input: usize, on: &mut On<'_, '_>) {
        let state = &mut self.inputs[input];
        state.pedals = [[(0, false); PEDAL_COUNT]; 16];
        state.highest = [(0, false); PEDAL_COUNT];
        let (bent, pressed) = (state.bend.value != CENTRE, state.pressure.value != 0);
        for pedal in 0..PEDAL_COUNT {
            self.refresh_pedal_where_it_reaches(input, pedal, on);
        }
        if bent {
            self.bend(input, CENTRE, on);
        }
        if pressed {
            self.press_channel(input, 0, on);
        }
    }

    /// Rule R8, after the set-up: where something is newly followed, pedals, bend, pressure and the lasting
    /// controllers go to the player's present value; and where an input is no longer followed, lest what it said last
    /// stay there.
    pub fn take_up(&self, channel: ChannelId, on: &mut On<'_, '_>) {
        let ChannelState { before, follows: now, .. } = *on.notes.channels.get(channel);
        if now.pedals() && (before.plain, before.switches) != (now.plain, now.switches) {
            for pedal in 0..PEDAL_COUNT {
                self.refresh_pedal(channel, pedal, on);
            }
        }
        let newly = |before: Inputs, now: Inputs| now != 0 && (before == 0 || before & !now != 0);
        let channels = &mut on.notes.channels;
        if newly(before.bend, now.bend) {
            let bend = self.latest(now.bend, |input| input.bend, CENTRE);
            if Some(bend) != channels.get(channel).bend {
                channels.say_bend(channel, bend, on.step);
            }
            let pressure = self.latest(now.bend, |input| input.pressure, 0);
            if Some(pressure) != channels.get(channel).pressure {
                channels.say_pressure(channel, pressure, on.step);
            }
        }
        for (index, number) in LASTING.into_iter().enumerate() {
            if newly(before.lasting[index], now.lasting[index]) {
                let value = self.latest(now.lasting[index], |input| input.lasting[index], rest(number));
                // A fade goes on: the player's level is remembered for its end.
                if Some(value) != channels.get(channel).level(number) {
                    channels.control(channel, number, value, on.step);
                }
            }
        }
    }
}

/// Whether a zone follows a controller of an input.
fn follows_control(input: usize, number: u8) -> impl Fn(&PlanZone) -> bool {
    move |zone| zone.follows_feet_of(input) && zone.controls & 1 << number != 0
}

impl On<'_, '_> {
    /// Does something once at each distinct channel of the zones in use that follow, in file order.
    fn at_each_channel(
        &mut self,
        follows: impl Fn(&PlanZone) -> bool,
        mut act: impl FnMut(&mut On<'_, '_>, ChannelId),
    ) {
        let (plan, current) = (self.step.plan, self.current);
        for (index, zone) in current.in_use.iter().enumerate() {
            let this = plan.zone(*zone);
            let been_there = |other: &ZoneId| plan.zone(*other).channel == this.channel && follows(plan.zone(*other));
            if follows(this) && !current.in_use[..index].iter().any(been_there) {
                act(self, this.channel);
            }
        }
    }

    /// What the zones now in use follow at a channel.
    fn follows_now(&self, channel: ChannelId) -> Follows {
        let mut follows = Follows::default();
        let zones = self.current.in_use.iter().map(|zone| self.step.plan.zone(*zone));
        for zone in zones.filter(|zone| zone.channel == channel) {
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
    pub fn let_go_of_controllers(&mut self, channel: ChannelId) {
        let now = self.follows_now(channel);
        let state = self.notes.channels.get_mut(channel);
        let before = state.follows;
        state.before = before;
        state.follows = now;
        if now.pedals() {
            state.left = (0, 0);
        } else if before.pedals() {
            state.left = (before.plain, before.switches);
        }
        if before.bend != 0 && now.bend == 0 {
            self.notes.channels.rest_bend(channel, self.step);
        }
    }
}
