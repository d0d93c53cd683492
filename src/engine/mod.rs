//! The engine: what comes out for what goes in. Pure and deterministic; time is an argument (rule R20).
//!
//! [`Plan`] is a set compiled flat, [`Engine`] its state while it is played, and [`Engine::step`] the one way in.
//! The engine knows no port, clock, file or thread. After [`Engine::new`] it allocates nothing.
//!
//! The engine is made of parts; each knows only those above it in this table.
//!
//! | part | what it is |
//! | --- | --- |
//! | `ids`, `zone`, `say`, `plan`, `compile` | typed numbers; a zone, a send and a set, flat; how a set is compiled |
//! | `out`, `guard`, `step` | what a step says, and the step context that every part is handed |
//! | `current` | where the set stands, and the zones in use |
//! | `channels` | what each channel of each output was last told |
//! | `notes` | what sounds and who owns it; how notes begin, end and fade; the drone |
//! | `controllers` | pedals, controllers, bend and pressure (R7, R9) |
//! | `hand` | from pressed keys to notes; handfuls and what is derived from them |
//! | `cues` | presses and cues (R19): they return what they do |
//! | `set` | actions, songs, sections, keys, sends, clock |
//! | `stop`, `take_over`, `snapshot` | panic and the end; a saved map is loaded; what others show and keep |
//! | `event`, `action`, `replay`, `script` | words for what happens; takes and scripts played through the engine |

mod action;
mod channels;
mod compile;
mod controllers;
mod cues;
mod current;
mod event;
mod guard;
mod hand;
mod ids;
mod notes;
mod out;
mod plan;
mod replay;
mod say;
pub mod script;
mod set;
mod snapshot;
mod step;
mod stop;
mod take_over;
mod zone;

use std::sync::Arc;

pub use event::{Event, MarkerEvent};
pub use ids::{Action, CueId, Micros};
pub use out::{By, Fired, Notice, Out, Reason, Said, Sink};
pub use plan::Plan;
pub use replay::{Cause, Line, Rehearsal, ReplayStep};
pub use set::clock::Position;
pub use snapshot::{MOST_SWITCHES, MOST_ZONES, Snapshot};
pub use take_over::Successor;

pub use crate::evening::Standing;
pub use crate::map::{ActionError, Plain};

use crate::midi::Message;
use controllers::Controllers;
use cues::{Cues, Offered};
use current::Current;
use guard::FeedbackGuard;
use hand::Hand;
use ids::{DetectorId, KeyId};
use notes::{Notes, On};
use plan::PlanDeed;
use set::clock::Clock;
use set::held_back::HeldBack;
use set::sends::Sends;
use step::{Received, Step};

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
    current: Current,
    notes: Notes,
    controllers: Controllers,
    hand: Hand,
    cues: Cues,
    sends: Sends,
    clock: Clock,
    guard: FeedbackGuard,
    /// Index of the song or pause that `next-song` will enter, where one was lined up.
    next_song: Option<usize>,
    /// How much of the lists the start held back (rule R8).
    held_back: HeldBack,
    /// The entry for which the drone's sound was set up.
    drone_ready: Option<usize>,
    not_understood: u64,
    /// When the last step was.
    last: Micros,
    /// When it wants to be called, as the last step said.
    wanted: Option<Micros>,
}

impl Engine {
    /// The engine before the set begins: [`Event::Start`] must come first.
    #[must_use]
    pub fn new(plan: Arc<Plan>) -> Engine {
        Engine::with_room_for(plan, 0, 0)
    }

    /// With room for so many sends of another plan that wait or sound, and held notes of it.
    fn with_room_for(plan: Arc<Plan>, more_sends: usize, more_unheld: usize) -> Engine {
        Engine {
            current: Current::new(&plan),
            notes: Notes::new(&plan, more_unheld),
            controllers: Controllers::new(&plan),
            hand: Hand::new(&plan),
            cues: Cues::new(&plan),
            sends: Sends::new(&plan, more_sends),
            clock: Clock::default(),
            guard: FeedbackGuard::new(&plan),
            next_song: None,
            held_back: HeldBack::default(),
            drone_ready: None,
            not_understood: 0,
            last: Micros::ZERO,
            wanted: None,
            plan,
        }
    }

    /// A buffer that fits this engine's plan.
    #[must_use]
    pub fn out(&self) -> Out {
        let system = self.plan.sends.iter().map(|send| send.longest()).sum();
        Out::for_channels(self.plan.channels.len(), system)
    }

    /// Takes one event at `now`, never less than before; what has become due since the last step runs first, at its own
    /// time. What the step says goes into `sink`, in order, as it is calculated. Returns when the engine next wants to
    /// be called. Cannot fail, wait or allocate.
    pub fn step(&mut self, event: Event<'_>, now: Micros, sink: &mut dyn Sink) -> Option<Micros> {
        self.with_step(now, sink, |engine, step| {
            engine.run_due(now, step);
            engine.happen(event, step);
            engine.hand.end_step();
            engine.wanted = engine.next();
            // Where nothing is gathered, what a zone derives is decided before another event of this time.
            engine.run_due(now, step);
            engine.notes.notice_ended_drone(step);
        });
        self.wanted
    }

    /// Runs what is due by `now`, each at its own time; at one time in rule R20's order.
    fn run_due(&mut self, now: Micros, step: &mut Step<'_>) {
        while let Some(due) = self.wanted.filter(|due| *due <= now) {
            step.now = due;
            self.clock.tick(step);
            self.sends.end_notes(&mut self.notes, step);
            self.notes.run_fades(step);
            let (hand, _, mut on) = self.parts(step);
            hand.run_decisions(&mut on);
            self.sends.say_due(&mut self.notes, step);
            self.resolve_presses(step);
            self.wanted = self.next();
        }
        step.now = now;
    }

    /// When it next wants to be called.
    fn next(&self) -> Option<Micros> {
        let all = [
            self.clock.next_tick(&self.plan),
            self.sends.next(),
            self.notes.channels.next_fade(),
            self.hand.next_decision(&self.current, &self.plan),
            self.cues.next(),
        ];
        all.into_iter().flatten().min()
    }

    fn happen(&mut self, event: Event<'_>, step: &mut Step<'_>) {
        match event {
            Event::Start { entry, order_step } => self.start(entry, order_step, step),
            Event::Resume(standing) => self.resume(standing, step),
            Event::Message { input, message } => self.receive(input, message, step),
            Event::Action(action) => self.act(action, step),
            Event::InputBack(input) => self.cues.appear(input, step.now),
            Event::CloseCue(cue) => {
                if let Some(off) = self.cues.close_left(cue, self.cue_list(), step) {
                    self.sends.send(off, &mut self.notes, step);
                }
            }
            Event::InputLost(input) => self.lose_input(input, step),
            Event::OutputBack(output) => {
                self.set_up_output(output, step);
                self.notes.strike_again(output, step);
            }
            Event::OutputJoined(output) => self.set_up_output(output, step),
            Event::Silence(output) => self.silence_output(output, step),
            Event::Time => {}
            Event::Stop => self.stop(step),
        }
    }

    /// A message of an input: first the cues', then the zones'.
    fn receive(&mut self, input: usize, message: Message<'_>, step: &mut Step<'_>) {
        let Some(known) = step.plan.inputs.get(input) else {
            self.not_understood += 1;
            return;
        };
        let is_listened_to = message.channel().is_none_or(|channel| known.listens_to(channel.index()));
        let received = Received { input, message, is_listened_to };
        if step.plan.cues.is_empty() {
            return self.play(&received, step);
        }
        let list = self.cue_list();
        self.cues.release_lost(&received, list, step.plan);
        self.do_deeds(None, step);
        let offered = self.cues.offer(&received, list, step);
        if let Offered::TakenKey(id) = offered {
            let (hand, _, mut on) = self.parts(step);
            hand.release(id, 64, &mut on);
        }
        self.do_deeds(Some(message), step);
        match offered {
            Offered::Free => self.play(&received, step),
            Offered::Taken | Offered::TakenKey(_) => {}
            Offered::TakenControl(number, value) => {
                // A pedal that was down when it became a cue's still has to come up where it was heard.
                let from = (input, message.channel().map_or(0, |channel| channel.index()));
                if self.controllers.lifts_pedal(from, number, value) {
                    let (hand, controllers, mut on) = self.parts(step);
                    controllers.pedal(from, number, value, &mut on);
                    hand.take_sustained(controllers.sustained(), &on);
                }
            }
        }
    }

    /// A message that is no cue's.
    fn play(&mut self, received: &Received<'_>, step: &mut Step<'_>) {
        let &Received { input, message, is_listened_to } = received;
        let plan = step.plan;
        let (hand, controllers, mut on) = self.parts(step);
        match message {
            Message::NoteOn { channel, note, velocity } if is_listened_to => {
                hand.press(KeyId::new(input, channel.index(), note as u8), u8::from(velocity), &mut on);
            }
            // Also on a channel that a saved map no longer has us hear: what began there ends there (rule R1).
            Message::NoteOff { channel, note, velocity } => {
                hand.release(KeyId::new(input, channel.index(), note as u8), u8::from(velocity), &mut on);
            }
            Message::PolyPressure { channel, note, value } if is_listened_to => {
                on.notes.press_harder(KeyId::new(input, channel.index(), note as u8), u8::from(value), on.step);
            }
            Message::Control { channel, number, value } => {
                let from = (input, channel.index());
                let (number, value) = (plan.inputs[input].heard_as(u8::from(number)), u8::from(value));
                match number {
                    _ if !(is_listened_to || controllers.lifts_pedal(from, number, value)) => {}
                    123..=127 => hand.lift_keys(input, Some(from.1), &mut on),
                    _ => {
                        controllers.turn(from, number, value, &mut on);
                        hand.take_sustained(controllers.sustained(), &on);
                    }
                }
            }
            Message::Pressure { value, .. } if is_listened_to => {
                controllers.press_channel(input, u8::from(value), &mut on);
            }
            Message::Bend { value, .. } if is_listened_to => controllers.bend(input, u16::from(value), &mut on),
            Message::Clock(_) | Message::SongPosition(_) => self.clock.receive(input, message, step),
            Message::Exclusive(bytes) => step.send_to_all(plan.outputs_that(|output| output.exclusive), bytes),
            // Program changes, song select and the other system messages are not passed on (rules R7 and R18).
            _ => {}
        }
    }

    /// What a hand and a foot are, with what they act on.
    fn parts<'a, 'p>(&'a mut self, step: &'a mut Step<'p>) -> (&'a mut Hand, &'a mut Controllers, On<'a, 'p>) {
        let Engine { current, notes, hand, controllers, .. } = self;
        (hand, controllers, On { current, notes, step })
    }

    /// The cues in use: the gear's and, from a song's entry until it is left, the song's.
    fn cue_list(&self) -> u16 {
        self.current.entered(&self.plan).map_or(0, |playing| playing.tonight.song as u16 + 1)
    }

    /// Presses of which it is known by now what they were.
    fn resolve_presses(&mut self, step: &mut Step<'_>) {
        let mut detector = DetectorId(0);
        while self.cues.resolve(detector, self.cue_list(), step) {
            self.do_deeds(None, step);
            detector = DetectorId(detector.0 + 1);
        }
    }

    /// Does what cues have the engine do.
    fn do_deeds(&mut self, message: Option<Message<'_>>, step: &mut Step<'_>) {
        while let Some(deed) = self.cues.next_deed(self.cue_list(), message, step) {
            self.do_deed(deed, step);
        }
    }

    fn do_deed(&mut self, deed: PlanDeed, step: &mut Step<'_>) {
        match deed {
            PlanDeed::Act(action) => self.act(action, step),
            PlanDeed::Send(send) => self.sends.send(send, &mut self.notes, step),
        }
    }

    /// Runs something with a step context of this engine.
    fn with_step<T>(
        &mut self,
        now: Micros,
        sink: &mut dyn Sink,
        run: impl FnOnce(&mut Engine, &mut Step<'_>) -> T,
    ) -> T {
        let plan = Arc::clone(&self.plan);
        let mut guard = std::mem::take(&mut self.guard);
        let value = run(self, &mut Step::new(&plan, now, &mut guard, sink));
        guard.end_step();
        self.guard = guard;
        self.last = now;
        value
    }

    /// Where the set stands.
    #[must_use]
    pub fn standing(&self) -> Standing {
        self.current.standing
    }

    /// What was left out so far.
    #[must_use]
    pub fn counts(&self) -> Counts {
        Counts { out_of_range: self.notes.out_of_range, not_understood: self.not_understood }
    }

    /// How many notes sound.
    #[must_use]
    pub fn sounding(&self) -> usize {
        self.notes.owners.sounding()
    }

    /// Whether the drone sounds.
    #[must_use]
    pub fn drone_sounds(&self) -> bool {
        self.notes.drone_sounds()
    }

    /// The keys of an input that are down and play, on whatever channel: one bit for each. Looks at 32 words, and
    /// neither waits nor allocates.
    #[must_use]
    pub fn keys_down(&self, input: usize) -> u128 {
        self.notes.owners.keys_down(input)
    }

    /// Whether a key of a channel (0 to 15) of an input is down, for those who draw it.
    #[must_use]
    pub fn is_down(&self, input: usize, channel: u8, key: u8) -> bool {
        input < self.plan.inputs.len() && self.notes.owners.key(KeyId::new(input, channel, key)).down
    }

    /// Which cues are on.
    pub fn cues_on(&self) -> impl Iterator<Item = CueId> {
        self.cues.all_on()
    }

    /// Where the tracks player stands, in bars of the song's meter; `None` where no clock comes in.
    #[must_use]
    pub fn position(&self) -> Option<Position> {
        self.clock.position(&self.current, &self.plan)
    }

    /// The song's tempo or the tapped one, in quarter notes a minute: that of the clock that we give.
    #[must_use]
    pub fn tempo(&self) -> Option<f64> {
        self.clock.tempo()
    }

    /// The plan that is played.
    #[must_use]
    pub fn plan(&self) -> &Arc<Plan> {
        &self.plan
    }
}
