//! The engine: what comes out for what goes in. Pure and deterministic; time is an argument (rule R20).
//!
//! [`Plan`] is a set compiled flat, [`Engine`] its state while it is played, and [`Engine::step`] the one way in.
//! The engine knows no port, clock, file or thread. After [`Engine::new`] it allocates nothing.
//!
//! | file | rules |
//! | --- | --- |
//! | `ledger` | R1, R2: what sounds and who owns it |
//! | `press` | R3, R4, R6: from a pressed key to notes |
//! | `handful`, `rings` | R10: what is struck together, and what rings without a finger |
//! | `derive` | R11: notes derived from a handful |
//! | `stay`, `one_key` | R12, R13: stay in key, one-key chords |
//! | `trigger`, `sensor`, `cue`, `echo` | R19: presses, cues, machines that answer each other |
//! | `tempo` | R18: the clock that comes in, the tempo that goes out |
//! | `drone`, `fade` | R14, R15: the drone, and how notes end for good |
//! | `feet` | R7, R9: controllers, pedals, bend, pressure |
//! | `change` | R5, R8: songs, sections, keys |
//! | `switch` | R8, R9, R21: zones going in and out of use |
//! | `place` | R8: what each channel of each output was last told |
//! | `send` | R8, R20: messages to other machines, now and later |
//! | `snapshot` | what others show, tell and keep of all that |
//! | `silence` | R16, R17: panic, a lost input, the end |
//! | `takeover` | R8: a saved map comes into force, a performance goes on |

mod action;
mod change;
mod compile;
mod cue;
mod derive;
mod drone;
mod echo;
mod fade;
mod feet;
mod handful;
mod ledger;
mod marker;
mod one_key;
mod out;
mod place;
mod plan;
mod press;
mod rehearsal;
mod rings;
pub mod script;
mod send;
mod sensor;
mod silence;
mod snapshot;
mod stay;
mod switch;
mod takeover;
mod tempo;
mod trigger;
pub mod words;

use std::sync::Arc;

pub use action::{Action, ActionError};
pub use marker::Marker;
pub use out::{By, Fired, Notice, Out, Said};
pub use plan::Plan;
pub use rehearsal::{Cause, Line, Rehearsal, Step};
pub use snapshot::{MOST_SWITCHES, MOST_ZONES, Snapshot};
pub use takeover::Successor;
pub use tempo::Position;

pub use crate::evening::Standing;

use crate::midi::Message;
use cue::Cues;
use drone::Sounding;
use echo::Echo;
use feet::Feet;
use handful::{Gathering, Handful};
use ledger::Ledger;
use place::PlaceState;
use press::Struck;
use rings::Ring;
use send::Pending;
use tempo::{Followed, Given, Taps};

/// Something that happens to the engine.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Event<'a> {
    /// The set begins with this entry and place of its order; sends that set something going are held back.
    Start {
        /// Index of the entry.
        entry: usize,
        /// Place in its order.
        place: usize,
    },
    /// The set goes on where it was broken off; nothing is said that enters a song.
    Resume(Standing),
    /// A message from an input.
    Message {
        /// Number of the input.
        input: usize,
        /// What it said.
        message: Message<'a>,
    },
    /// Somebody does something to the set.
    Action(Action),
    /// An input's port is there again.
    InputBack(usize),
    /// A cue, by its number, that an earlier run left standing on goes off.
    CloseCue(u16),
    /// An input's port is gone, or messages of it may be lost.
    InputLost(usize),
    /// An output is listened to again, after nobody did.
    OutputBack(usize),
    /// One more program has begun to listen to an output.
    OutputJoined(usize),
    /// An output may hold what another run of ours left there: everything is silenced at it.
    Silence(usize),
    /// Only time has passed.
    Time,
    /// Everything ends.
    Stop,
}

/// What the engine had to leave out.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Counts {
    /// Notes that would have lain outside 0–127 (rule R4).
    pub out_of_range: u64,
    /// Messages of unknown inputs or of no known form.
    pub not_understood: u64,
}

/// A set as it is played.
#[derive(Debug)]
pub struct Engine {
    plan: Arc<Plan>,
    standing: Standing,
    counts: Counts,
    ledger: Ledger,
    feet: Feet,
    places: Vec<PlaceState>,
    pending: Pending,
    /// Zones in use, in file order.
    in_use: Vec<u16>,
    /// Whether one of them derives its notes.
    decides: bool,
    /// Which zones are on, for the current song.
    on: Vec<bool>,
    handfuls: Vec<Handful>,
    gatherings: Vec<Gathering>,
    /// What rings without a finger.
    rings: Vec<Ring>,
    /// What the drone sounds as, while it does.
    drone: Option<Sounding>,
    /// Whether a handful began in this step.
    hand_moved: bool,
    /// The entry for which the drone's sound was set up.
    drone_ready: Option<usize>,
    /// How many messages of the current song were not sent at the start (rule R8).
    not_sent: u16,
    presses: u64,
    /// The input whose clock is passed on (rule R18).
    clock: Option<usize>,
    followed: Followed,
    taps: Taps,
    given: Given,
    cues: Cues,
    echoes: Vec<Echo>,
    /// When it wants to be called, as the last step said.
    wanted: Option<u64>,
    /// How many places fade.
    fading: usize,
    /// Scratch, kept for its memory.
    struck: Vec<Struck>,
    /// Scratch, kept for its memory.
    before: Vec<u16>,
}

impl Engine {
    /// The engine before the set begins: [`Event::Start`] must come first.
    #[must_use]
    pub fn new(plan: Arc<Plan>) -> Engine {
        Engine::with_room_for(plan, 0, 0)
    }

    /// With room for so many sends of another plan that wait or sound, and notes of it that ring.
    fn with_room_for(plan: Arc<Plan>, more_sends: usize, more_rings: usize) -> Engine {
        let zones = plan.zones.len();
        let keys = plan.inputs.len() * 16 * 128;
        let ringing = plan.zones.iter().filter(|zone| zone.can_ring()).count() + 1;
        Engine {
            standing: Standing::default(),
            counts: Counts::default(),
            ledger: Ledger::new(&plan),
            feet: Feet::new(&plan),
            places: vec![PlaceState::default(); plan.places.len()],
            pending: Pending::new(plan.sends.len() + more_sends),
            in_use: Vec::with_capacity(plan.most_zones),
            decides: false,
            on: plan.zones.iter().map(|zone| zone.on).collect(),
            handfuls: vec![Handful::default(); zones],
            gatherings: vec![Gathering::default(); zones],
            // Each zone, and the drone, rings each note at most once.
            rings: Vec::with_capacity(128 * ringing + more_rings),
            drone: None,
            hand_moved: false,
            drone_ready: None,
            not_sent: 0,
            presses: 0,
            clock: None,
            followed: Followed::default(),
            taps: Taps::default(),
            given: Given::default(),
            cues: Cues::new(&plan),
            wanted: None,
            fading: 0,
            echoes: vec![Echo::default(); plan.inputs.len()],
            // One press strikes at most a chord for each zone, or, with `velocity_by`, a note for each key that is down.
            struck: Vec::with_capacity(12 * plan.most_zones + keys),
            before: Vec::with_capacity(plan.most_zones),
            plan,
        }
    }

    /// A buffer that fits this engine's plan.
    #[must_use]
    pub fn out(&self) -> Out {
        let system = self.plan.sends.iter().map(|send| send.longest()).sum();
        Out::for_places(self.plan.places.len(), system)
    }

    /// Takes one event at `now`, in microseconds, never less than before; what has become due since the last step
    /// runs first, at its own time. Returns when it next wants to be called. Cannot fail, wait or allocate.
    pub fn step(&mut self, event: Event<'_>, now: u64, out: &mut Out) -> Option<u64> {
        if self.wanted.is_some_and(|wanted| wanted <= now) {
            self.run_due(now, out);
        }
        out.at(now);
        match event {
            Event::Start { entry, place } => self.start(entry, place, now, out),
            Event::Resume(standing) => self.resume(standing, now, out),
            Event::Message { input, message } => self.hear(input, message, now, out),
            Event::Action(action) => self.act(action, None, now, out),
            Event::InputBack(input) => self.cues.appear(input, now),
            Event::CloseCue(cue) => self.close_left_cue(cue, now, out),
            Event::InputLost(input) => self.lose_input(input, now, out),
            Event::OutputBack(output) => {
                self.set_up_output(output, out);
                self.ring_again(output, out);
            }
            Event::OutputJoined(output) => self.set_up_output(output, out),
            Event::Silence(output) => self.silence_output(output, out),
            Event::Time => {}
            Event::Stop => self.stop(now, out),
        }
        self.hand_moved = false;
        self.wanted = self.next();
        if self.wanted.is_some_and(|wanted| wanted <= now) {
            // Where nothing is gathered, what a zone derives is decided before another event of this time.
            self.run_due(now, out);
            self.wanted = self.next();
        }
        self.take_out_echoes(out);
        self.wanted
    }

    /// When it next wants to be called.
    fn next(&self) -> Option<u64> {
        let all = [self.pending.next(), self.next_fade(), self.next_decision(), self.cues.next(), self.next_tick()];
        all.into_iter().flatten().min()
    }

    /// Runs what is due by `now`, each at its own time; at one time the clock, note ends, fades, decisions,
    /// sends, cues (rule R20).
    fn run_due(&mut self, now: u64, out: &mut Out) {
        while let Some(due) = self.next().filter(|due| *due <= now) {
            out.at(due);
            self.tick_out(due, out);
            self.end_sent_notes(due, out);
            self.run_fades(due, out);
            self.run_decisions(due, out);
            self.say_waiting(due, out);
            self.run_cues(due, out);
        }
    }

    fn hear(&mut self, input: usize, message: Message<'_>, now: u64, out: &mut Out) {
        let Some(known) = self.plan.inputs.get(input) else {
            self.counts.not_understood += 1;
            return;
        };
        let only = known.channel;
        if !self.plan.cues.is_empty() && self.hear_cue(input, message, now, out) {
            return;
        }
        let heard = |channel: wmidi::Channel| only.is_none_or(|only| only == channel.index());
        match message {
            Message::NoteOn { channel, note, velocity } if heard(channel) => {
                self.press(input, channel.index(), note as u8, u8::from(velocity), now, out);
            }
            // Also on a channel that a saved map no longer has us hear: what began there ends there (rule R1).
            Message::NoteOff { channel, note, velocity } => {
                self.release(Ledger::number(input, channel.index(), note as u8), u8::from(velocity), now, out);
            }
            Message::PolyPressure { channel, note, value } if heard(channel) => {
                self.press_key_harder(Ledger::number(input, channel.index(), note as u8), u8::from(value), out);
            }
            Message::Control { channel, number, value }
                if heard(channel) || self.lifts_pedal(input, channel.index(), u8::from(number), u8::from(value)) =>
            {
                self.turn(input, channel.index(), u8::from(number), u8::from(value), now, out);
            }
            Message::Pressure { channel, value } if heard(channel) => self.press_channel(input, u8::from(value), out),
            Message::Bend { channel, value } if heard(channel) => self.bend(input, u16::from(value), out),
            Message::Clock(_) | Message::SongPosition(_) => self.pass_clock(input, message, now, out),
            Message::Exclusive(bytes) => {
                let plan = Arc::clone(&self.plan);
                out.say_to_all(numbers(&plan, |output| output.exclusive), bytes);
            }
            // Program changes, song select and the other system messages are not passed on (rules R7 and R18).
            _ => {}
        }
    }

    /// Rule R18: the clock of the first input that sends one.
    fn pass_clock(&mut self, input: usize, message: Message<'_>, now: u64, out: &mut Out) {
        if *self.clock.get_or_insert(input) == input {
            let mut bytes = [0; 3];
            let length = message.encode(&mut bytes);
            self.follow_clock(message, bytes[0], now, out);
            let plan = Arc::clone(&self.plan);
            out.say_to_all(numbers(&plan, |output| output.clock), &bytes[..length]);
        }
    }

    /// Where the set stands.
    #[must_use]
    pub fn standing(&self) -> Standing {
        self.standing
    }

    /// What was left out so far.
    #[must_use]
    pub fn counts(&self) -> Counts {
        self.counts
    }

    /// How many notes sound.
    #[must_use]
    pub fn sounding(&self) -> usize {
        self.ledger.sounding()
    }

    /// The keys of an input that are down and play, on whatever channel: one bit for each. Looks at 32 words, and
    /// neither waits nor allocates.
    #[must_use]
    pub fn keys_down(&self, input: usize) -> u128 {
        self.ledger.keys_down(input)
    }

    /// The plan that is played.
    #[must_use]
    pub fn plan(&self) -> &Arc<Plan> {
        &self.plan
    }
}

/// Numbers of the outputs that want something.
fn numbers(plan: &Plan, wants: impl Fn(&plan::PlanOutput) -> bool) -> impl Iterator<Item = u8> {
    plan.outputs.iter().enumerate().filter(move |(_, output)| wants(output)).map(|(number, _)| number as u8)
}
