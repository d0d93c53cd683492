//! What each channel of each output was last told (rule R8), and how to tell it something.

use super::ids::{ChannelId, Micros};
use super::plan::Plan;
use super::step::Step;
use crate::evening::Inputs;

/// Bend at rest.
pub(super) const CENTRE: u16 = 8192;
/// The controller that fades: expression.
pub(super) const EXPRESSION: u8 = 11;
/// Controllers that the player's present value is given to where they are newly followed (rule R8).
pub(super) const LASTING: [u8; 4] = [1, 2, 4, EXPRESSION];
/// The pedals: controllers 64–69.
pub(super) const PEDALS: std::ops::RangeInclusive<u8> = 64..=69;
/// Controllers that say how loud a channel is.
const LEVELS: [u8; 2] = [7, EXPRESSION];
/// A fade says a new value so often.
const EVERY: Micros = Micros::from_millis(20);

/// The inputs that something at a channel follows, by what they send.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(super) struct Follows {
    /// Pedals as they come.
    pub plain: Inputs,
    /// Pedals as switches.
    pub switches: Inputs,
    /// Bend and pressure.
    pub bend: Inputs,
    /// Each of [`LASTING`].
    pub lasting: [Inputs; 4],
}

impl Follows {
    /// Whether pedals are followed at all.
    pub fn pedals(&self) -> bool {
        self.plain | self.switches != 0
    }
}

/// How a channel fades (rule R15).
#[derive(Debug, Clone, Copy)]
pub(super) struct Fade {
    begun: Micros,
    /// How long it takes; never 0.
    time: Micros,
    /// The value that it began from.
    from: u8,
    /// When it says its next value.
    next: Micros,
}

impl Fade {
    /// When it wants to be called.
    pub fn due(&self) -> Micros {
        self.next.min(self.begun + self.time)
    }

    pub fn value_at(&self, now: Micros) -> u8 {
        let left = 1.0 - (now - self.begun).0 as f64 / self.time.0 as f64;
        (f64::from(self.from) * left.max(0.0)).round() as u8
    }

    pub fn is_over(&self, now: Micros) -> bool {
        now >= self.begun + self.time
    }

    /// The same fade, once it has said a value.
    pub fn onward(self) -> Fade {
        Fade { next: self.next + EVERY, ..self }
    }
}

/// What a channel was last told, by any rule; `None` where nothing is known.
#[derive(Debug, Clone, Copy)]
pub(super) struct ChannelState {
    pub controls: [Option<u8>; 128],
    pub bend: Option<u16>,
    pub pressure: Option<u8>,
    program: Option<u8>,
    /// Whether it ever got a note.
    pub played: bool,
    /// What the zones in use there follow.
    pub follows: Follows,
    /// What those before the last change followed.
    pub before: Follows,
    /// Inputs whose pedals, plain and as switches, were followed last and may still be lifted (rule R9).
    pub left: (Inputs, Inputs),
    /// How it fades, while it does (rule R15).
    pub fade: Option<Fade>,
    /// Expression as the player has it, from a fade's beginning until it is said again.
    pub resume: Option<u8>,
    /// The [`LEVELS`] that it was told before it was forgotten, until it has them again (rule R21).
    forgotten: [Option<u8>; LEVELS.len()],
}

impl Default for ChannelState {
    /// Controllers at rest (RP-015); bank, program, volume and pan unknown.
    fn default() -> Self {
        let mut controls = [None; 128];
        for number in PEDALS.chain([1, 2, 4]) {
            controls[usize::from(number)] = Some(0);
        }
        controls[usize::from(EXPRESSION)] = Some(127);
        ChannelState {
            controls,
            bend: Some(CENTRE),
            pressure: Some(0),
            program: None,
            played: false,
            follows: Follows::default(),
            before: Follows::default(),
            left: (0, 0),
            fade: None,
            resume: None,
            forgotten: [None; LEVELS.len()],
        }
    }
}

/// The value that a controller has when nobody touches it (RP-015).
pub(super) fn rest(number: u8) -> u8 {
    if number == EXPRESSION { 127 } else { 0 }
}

impl ChannelState {
    pub fn control(&self, number: u8) -> Option<u8> {
        self.controls[usize::from(number)]
    }

    /// A controller's value as it is without a fade.
    pub fn level(&self, number: u8) -> Option<u8> {
        self.resume.filter(|_| number == EXPRESSION).or(self.control(number))
    }

    /// The value of a pedal that is not up, as far as is known.
    pub fn pedal_down(&self, number: u8) -> Option<u8> {
        self.control(number).filter(|value| *value != 0)
    }

    /// Whether this is the program that it was told last.
    pub fn has_program(&self, program: u8) -> bool {
        self.program == Some(program)
    }

    /// Nothing is known of the channel any more (rule R21), save for pedals that somebody may still be waiting to
    /// see lifted.
    pub fn forget(&mut self) {
        let keeps_pedals = !self.follows.pedals();
        self.forgotten = LEVELS.map(|number| self.level(number));
        for (number, value) in self.controls.iter_mut().enumerate() {
            let still_down = PEDALS.contains(&(number as u8)) && *value != Some(0);
            if !(keeps_pedals && still_down) {
                *value = None;
            }
        }
        self.bend = None;
        self.pressure = None;
        self.program = None;
    }

    /// What a channel makes of controller 121 (RP-015).
    pub fn reset_controllers(&mut self) {
        for number in PEDALS.take(4).chain([1]) {
            self.controls[usize::from(number)] = Some(0);
        }
        self.controls[usize::from(EXPRESSION)] = Some(127);
        self.bend = Some(CENTRE);
        self.pressure = Some(0);
    }
}

/// The state of all channels.
#[derive(Debug)]
pub(super) struct Channels {
    states: Vec<ChannelState>,
    /// How many of them fade.
    fading: usize,
}

impl Channels {
    pub fn new(plan: &Plan) -> Channels {
        Channels { states: vec![ChannelState::default(); plan.channels.len()], fading: 0 }
    }

    /// All channels, in gear order.
    pub fn all(&self) -> impl Iterator<Item = ChannelId> + use<> {
        (0..self.states.len() as u16).map(ChannelId)
    }

    pub fn get(&self, channel: ChannelId) -> &ChannelState {
        &self.states[channel.index()]
    }

    pub fn get_mut(&mut self, channel: ChannelId) -> &mut ChannelState {
        &mut self.states[channel.index()]
    }

    pub fn note_on(&mut self, channel: ChannelId, note: u8, velocity: u8, step: &mut Step<'_>) {
        self.get_mut(channel).played = true;
        step.note_on(channel, note, velocity);
    }

    pub fn say_control(&mut self, channel: ChannelId, number: u8, value: u8, step: &mut Step<'_>) {
        self.get_mut(channel).controls[usize::from(number)] = Some(value);
        step.send_short(channel, 0xB0, number, value);
    }

    pub fn say_bend(&mut self, channel: ChannelId, value: u16, step: &mut Step<'_>) {
        self.get_mut(channel).bend = Some(value);
        step.send_short(channel, 0xE0, (value & 0x7F) as u8, (value >> 7) as u8 & 0x7F);
    }

    pub fn say_pressure(&mut self, channel: ChannelId, value: u8, step: &mut Step<'_>) {
        self.get_mut(channel).pressure = Some(value);
        step.send_shorter(channel, 0xD0, value);
    }

    /// Bank, most significant byte first, and at once the program (MIDI 1.0 Detailed Specification 4.2.1, p. 13).
    pub fn say_program(
        &mut self,
        channel: ChannelId,
        bank: Option<(u8, u8)>,
        program: Option<u8>,
        step: &mut Step<'_>,
    ) {
        if let Some((msb, lsb)) = bank {
            self.say_control(channel, 0, msb, step);
            self.say_control(channel, 32, lsb, step);
        }
        if let Some(program) = program {
            self.get_mut(channel).program = Some(program);
            step.send_shorter(channel, 0xC0, program);
        }
    }

    /// A controller's value; while the channel fades, or is silent after it, expression is remembered only.
    pub fn control(&mut self, channel: ChannelId, number: u8, value: u8, step: &mut Step<'_>) {
        match &mut self.get_mut(channel).resume {
            Some(resume) if number == EXPRESSION => *resume = value,
            _ => self.say_control(channel, number, value, step),
        }
    }

    /// The levels of a channel that was forgotten, where nothing has said them since.
    pub fn say_levels(&mut self, channel: ChannelId, step: &mut Step<'_>) {
        let forgotten = std::mem::take(&mut self.get_mut(channel).forgotten);
        for (number, value) in LEVELS.into_iter().zip(forgotten) {
            let is_unknown = self.get(channel).control(number).is_none();
            let at_rest = number == EXPRESSION && value == Some(rest(EXPRESSION));
            if let Some(value) = value.filter(|_| is_unknown && !at_rest) {
                self.say_control(channel, number, value, step);
            }
        }
    }

    /// Pedals up, where they are not known to be.
    pub fn lift_pedals(&mut self, channel: ChannelId, step: &mut Step<'_>) {
        for number in PEDALS {
            if self.get(channel).pedal_down(number).is_some() {
                self.say_control(channel, number, 0, step);
            }
        }
    }

    /// Bend and pressure to rest, where they are not.
    pub fn rest_bend(&mut self, channel: ChannelId, step: &mut Step<'_>) {
        let state = self.get(channel);
        let is_bent = state.bend.is_some_and(|bend| bend != CENTRE);
        let is_pressed = state.pressure.is_some_and(|pressure| pressure != 0);
        if is_bent {
            self.say_bend(channel, CENTRE, step);
        }
        if is_pressed {
            self.say_pressure(channel, 0, step);
        }
    }

    /// When a fade wants to be called.
    pub fn next_fade(&self) -> Option<Micros> {
        if self.fading == 0 {
            return None;
        }
        self.states.iter().filter_map(|state| state.fade.as_ref().map(Fade::due)).min()
    }

    /// The channels of which a fade is due by `now`.
    pub fn next_faded(&self, from: ChannelId, now: Micros) -> Option<(ChannelId, Fade)> {
        if self.fading == 0 {
            return None;
        }
        let due = |channel: ChannelId| self.get(channel).fade.filter(|fade| fade.due() <= now);
        self.all().skip(from.index()).find_map(|channel| due(channel).map(|fade| (channel, fade)))
    }

    /// A channel begins to fade, unless it does already.
    pub fn begin_fade(&mut self, channel: ChannelId, time: Micros, now: Micros) {
        let state = self.get_mut(channel);
        if state.fade.is_none() {
            let from = state.control(EXPRESSION).unwrap_or(127);
            state.fade = Some(Fade { begun: now, time, from, next: now + EVERY });
            state.resume.get_or_insert(from);
            self.fading += 1;
        }
    }

    /// A channel fades no more.
    pub fn stop_fading(&mut self, channel: ChannelId) {
        let was = self.get_mut(channel).fade.take();
        self.fading -= usize::from(was.is_some());
    }

    /// The level that a fade took away comes back.
    pub fn return_expression(&mut self, channel: ChannelId, step: &mut Step<'_>) {
        let state = self.get_mut(channel);
        let known = state.control(EXPRESSION);
        if let Some(value) = state.resume.take().filter(|value| Some(*value) != known) {
            self.say_control(channel, EXPRESSION, value, step);
        }
    }

    /// The level as it is without a fade, whatever the channel was told: another run's fade may have left it lower.
    pub fn say_expression(&mut self, channel: ChannelId, step: &mut Step<'_>) {
        let state = self.get_mut(channel);
        let value = state.resume.take().or(state.control(EXPRESSION)).unwrap_or(rest(EXPRESSION));
        self.say_control(channel, EXPRESSION, value, step);
    }

    /// Takes over what the channels of an older plan were told; `channel` tells their new numbers.
    pub fn take_over(&mut self, older: &Channels, channel: impl Fn(ChannelId) -> ChannelId) {
        for old in older.all() {
            *self.get_mut(channel(old)) = *older.get(old);
        }
        self.fading = self.states.iter().filter(|state| state.fade.is_some()).count();
    }
}
