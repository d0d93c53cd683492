//! What each place — one channel of one output — was last told (rule R8), and how to tell it something.

use super::Engine;
use super::fade::Fade;
use super::out::Out;
use super::plan::{Place, SetUp};
use crate::evening::Inputs;

/// Nothing is known of this value.
pub(super) const UNKNOWN: u8 = 255;
/// Bend at rest.
pub(super) const CENTRE: u16 = 8192;
/// Nothing is known of the bend.
const UNKNOWN_BEND: u16 = u16::MAX;
/// Controllers that the player's present value is given to where they are newly followed (rule R8).
pub(super) const LASTING: [u8; 4] = [1, 2, 4, 11];
/// The pedals: controllers 64–69.
pub(super) const PEDALS: std::ops::RangeInclusive<u8> = 64..=69;

/// The inputs that something at a place follows, by what they send.
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

/// What a place was last told, by any rule.
#[derive(Debug, Clone, Copy)]
pub(super) struct PlaceState {
    pub controls: [u8; 128],
    pub bend: u16,
    pub pressure: u8,
    program: u8,
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
}

impl Default for PlaceState {
    /// Controllers at rest (RP-015); bank, program, volume and pan unknown.
    fn default() -> Self {
        let mut controls = [UNKNOWN; 128];
        for number in PEDALS.chain([1, 2, 4]) {
            controls[usize::from(number)] = 0;
        }
        controls[11] = 127;
        PlaceState {
            controls,
            bend: CENTRE,
            pressure: 0,
            program: UNKNOWN,
            played: false,
            follows: Follows::default(),
            before: Follows::default(),
            left: (0, 0),
            fade: None,
            resume: None,
        }
    }
}

/// The value that a controller has when nobody touches it (RP-015).
pub(super) fn rest(number: u8) -> u8 {
    if number == 11 { 127 } else { 0 }
}

impl PlaceState {
    pub fn control(&self, number: u8) -> u8 {
        self.controls[usize::from(number)]
    }

    /// Nothing is known of the place any more (rule R21), save for pedals that somebody may still be waiting to
    /// see lifted.
    pub fn forget(&mut self) {
        let still_down = |number: u8, value: u8| PEDALS.contains(&number) && value != 0;
        for (number, value) in self.controls.iter_mut().enumerate() {
            if self.follows.pedals() || !still_down(number as u8, *value) {
                *value = UNKNOWN;
            }
        }
        self.bend = UNKNOWN_BEND;
        self.pressure = UNKNOWN;
        self.program = UNKNOWN;
    }
}

/// Bytes of a 14-bit bend.
fn bend_bytes(value: u16) -> [u8; 2] {
    [(value & 0x7F) as u8, (value >> 7) as u8 & 0x7F]
}

impl Engine {
    pub(super) fn place(&self, place: u16) -> Place {
        self.plan.places[usize::from(place)]
    }

    /// Says a channel message of three bytes.
    pub(super) fn say(&self, place: u16, status: u8, first: u8, second: u8, out: &mut Out) {
        let Place { output, channel } = self.place(place);
        out.say(output, &[status | channel, first, second]);
    }

    pub(super) fn say_on(&mut self, place: u16, note: u8, velocity: u8, out: &mut Out) {
        self.places[usize::from(place)].played = true;
        self.say(place, 0x90, note, velocity, out);
    }

    pub(super) fn say_off(&self, place: u16, note: u8, velocity: u8, out: &mut Out) {
        self.say(place, 0x80, note, velocity, out);
    }

    pub(super) fn say_control(&mut self, place: u16, number: u8, value: u8, out: &mut Out) {
        self.places[usize::from(place)].controls[usize::from(number)] = value;
        self.say(place, 0xB0, number, value, out);
    }

    pub(super) fn say_bend(&mut self, place: u16, value: u16, out: &mut Out) {
        self.places[usize::from(place)].bend = value;
        let [low, high] = bend_bytes(value);
        self.say(place, 0xE0, low, high, out);
    }

    pub(super) fn say_pressure(&mut self, place: u16, value: u8, out: &mut Out) {
        self.places[usize::from(place)].pressure = value;
        let Place { output, channel } = self.place(place);
        out.say(output, &[0xD0 | channel, value]);
    }

    /// Bank, most significant byte first, and at once the program (MIDI 1.0 Detailed Specification 4.2.1, p. 13).
    pub(super) fn say_program(&mut self, place: u16, bank: Option<(u8, u8)>, program: Option<u8>, out: &mut Out) {
        if let Some((msb, lsb)) = bank {
            self.say_control(place, 0, msb, out);
            self.say_control(place, 32, lsb, out);
        }
        if let Some(program) = program {
            self.places[usize::from(place)].program = program;
            let Place { output, channel } = self.place(place);
            out.say(output, &[0xC0 | channel, program]);
        }
    }

    /// Says what of a sound's set-up the place was not last told.
    pub(super) fn set_up(&mut self, place: u16, sound: SetUp, out: &mut Out) {
        let state = &self.places[usize::from(place)];
        let bank = sound.bank.filter(|(msb, lsb)| (state.control(0), state.control(32)) != (*msb, *lsb));
        let program = sound.program.filter(|program| bank.is_some() || *program != state.program);
        let differs = |number: u8, value: Option<u8>| value.is_some_and(|value| value != state.control(number));
        if bank.is_some() || program.is_some() || differs(7, sound.volume) || differs(10, sound.pan) {
            self.wake_place(place, out);
        }
        self.say_program(place, bank, program, out);
        for (number, value) in [(7, sound.volume), (10, sound.pan)] {
            if let Some(value) = value.filter(|value| *value != self.places[usize::from(place)].control(number)) {
                self.say_control(place, number, value, out);
            }
        }
    }

    /// Ends every note of a place, whoever owns it.
    pub(super) fn end_all_notes(&mut self, place: u16, out: &mut Out) {
        self.rings.retain(|ring| ring.place != place);
        self.stop_fading(place);
        for note in 0..128 {
            if self.ledger.end_by_force(place, note) {
                self.say_off(place, note, 64, out);
            }
        }
    }

    /// Pedals up, where they are not known to be.
    pub(super) fn lift_pedals(&mut self, place: u16, out: &mut Out) {
        for number in PEDALS {
            if ![0, UNKNOWN].contains(&self.places[usize::from(place)].control(number)) {
                self.say_control(place, number, 0, out);
            }
        }
    }

    /// Bend and pressure to rest, where they are not.
    pub(super) fn rest_bend(&mut self, place: u16, out: &mut Out) {
        let state = &self.places[usize::from(place)];
        let bend = ![CENTRE, UNKNOWN_BEND].contains(&state.bend);
        let pressure = ![0, UNKNOWN].contains(&state.pressure);
        if bend {
            self.say_bend(place, CENTRE, out);
        }
        if pressure {
            self.say_pressure(place, 0, out);
        }
    }
}
