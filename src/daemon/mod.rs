//! The owner thread: it reads the inputs, runs the engine and writes the outputs, with no hop in between.
//!
//! Everybody else reaches it through a [`Remote`] (a bounded channel and a waker) and hears of it through a bounded
//! channel of [`Report`]s, which drops for them and never holds up the music.

mod answer;
pub mod changes;
pub mod clerk;
mod hearing;
pub mod keep;
mod mend;
#[cfg(unix)]
pub mod post;
mod remote;
mod report;
mod saying;
mod show;
mod sight;
pub mod state;
pub mod take;
mod tally;
pub mod telling;
#[cfg(test)]
mod tests;
pub mod watch;
pub mod watchdog;

use std::sync::Arc;
use std::time::{Duration, Instant};

use crossbeam_channel::Receiver;

use crate::engine::{Action, Counts, Engine, Event, Out, Standing};
use crate::map::Gear;
use crate::ports::{Arrival, InputWish, OutputWish, Ports, Target, Wish};
use hearing::hear;
use keep::Beginning;
use mend::contained;
use remote::Desk;

pub use remote::{Command, Noticed, Outcome, Remote, Unasked};
pub use report::{Report, Reports};
pub use show::{Relief, Show};
pub use sight::{Heard, Sight};
use take::Tape;
use tally::Lateness;
pub use tally::Tally;
use watchdog::Pulse;

/// What was left when the performance ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Ended {
    /// What the engine left out.
    pub counts: Counts,
    /// Messages that an output did not take.
    pub not_taken: u64,
    /// Reports that nobody fetched in time.
    pub unheard: u64,
}

/// The performance of a set on open ports.
pub struct Daemon {
    ports: Box<dyn Ports>,
    engine: Engine,
    out: Out,
    began: Instant,
    /// When the engine next wants to be called, in microseconds since the beginning.
    next: Option<u64>,
    desk: Desk,
    reports: Reports,
    outputs: Vec<OutputState>,
    not_taken: u64,
    /// What was noticed since somebody who waits for an outcome asked.
    noticed: Noticed,
    tape: Option<Tape>,
    pulse: Pulse,
    tally: Tally,
    lateness: Lateness,
    sight: Sight,
    /// Keys or notes have changed since that was told.
    stirred: bool,
    /// How long messages took from their arrival to the last byte that they caused.
    latency: Lateness,
}

/// What the owner remembers of an output.
#[derive(Debug, Clone, Copy, Default)]
struct OutputState {
    /// It did not take its last message: a failure is reported once.
    refusing: bool,
    /// An earlier run may have left notes sounding there: to be silenced as soon as somebody listens.
    left_sounding: bool,
    /// It gets our clock.
    tempo: bool,
}

/// The ports that a gear file wants. Connections that are to be made again are not among it.
#[must_use]
pub fn wish(gear: &Gear) -> Wish {
    let inputs = gear.inputs.iter().map(|input| InputWish {
        name: input.name.value.clone(),
        port: input.port.value.clone(),
        serial: input.serial.clone(),
        optional: input.optional,
    });
    let outputs = gear.outputs.iter().map(|output| OutputWish {
        name: output.name.value.clone(),
        target: output.port.as_ref().map_or(Target::Virtual, |port| Target::Port(port.value.clone())),
        optional: output.optional,
    });
    Wish { inputs: inputs.collect(), outputs: outputs.collect(), reconnect: gear.reconnect, ..Wish::default() }
}

impl Daemon {
    /// A performance of `show` on its open ports, and the remote that steers it.
    #[must_use]
    pub fn new(show: &Arc<Show>, ports: Box<dyn Ports>) -> (Daemon, Remote) {
        let engine = Engine::new(Arc::clone(&show.plan));
        let outputs = &show.book.gear.outputs;
        let outputs = outputs.iter().map(|output| OutputState { tempo: output.send_clock, ..OutputState::default() });
        let sight = Sight::new(show.book.gear.inputs.len(), show.book.gear.outputs.len());
        let (remote, desk) = Remote::new(ports.waker(), Arc::clone(show));
        let daemon = Daemon {
            out: engine.out(),
            outputs: outputs.collect(),
            ports,
            engine,
            began: Instant::now(),
            next: None,
            desk,
            reports: Reports::default(),
            not_taken: 0,
            noticed: Noticed::default(),
            tape: None,
            pulse: Pulse::default(),
            tally: Tally::default(),
            lateness: Lateness::default(),
            sight,
            stirred: false,
            latency: Lateness::default(),
        };
        (daemon, remote)
    }

    /// Records the performance on this tape too.
    pub fn record(&mut self, tape: Tape) {
        self.tape = Some(tape);
    }

    /// One more who hears of the performance; only before it begins.
    pub fn listen(&mut self) -> Receiver<Report> {
        self.reports.listen()
    }

    /// Counts how often the owner has gone round its loop.
    #[must_use]
    pub fn pulse(&self) -> Pulse {
        self.pulse.clone()
    }

    /// What was left out so far, kept up to date while it plays.
    #[must_use]
    pub fn tally(&self) -> Tally {
        self.tally.clone()
    }

    /// What can be seen of it at any moment, kept up to date while it plays.
    #[must_use]
    pub fn sight(&self) -> Sight {
        self.sight.clone()
    }

    /// Reports for others than the owner to give, to those who listen by now.
    #[must_use]
    pub fn reports(&self) -> Reports {
        self.reports.clone()
    }

    /// Plays from `beginning` until it is told to stop; every note is ended and every pedal lifted then.
    pub fn run(mut self, beginning: &Beginning) -> Ended {
        self.begin(beginning);
        while !self.desk.is_to_stop() {
            self.take_one();
            self.count();
            self.pulse.beat();
        }
        self.step(Event::Stop);
        let ended = Ended { counts: self.engine.counts(), not_taken: self.not_taken, unheard: self.reports.unheard() };
        self.reports.give_last(&Report::Ended(ended));
        ended
    }

    /// Silences what a run that was broken off may have left, then begins or goes on.
    fn begin(&mut self, beginning: &Beginning) {
        if beginning.was_broken_off() {
            self.outputs.iter_mut().for_each(|output| output.left_sounding = true);
            for output in 0..self.outputs.len() {
                self.silence_if_left(output);
            }
        }
        match beginning {
            Beginning::Afresh | Beginning::Changed(_) => self.step(Event::Start { entry: 0, place: 0 }),
            Beginning::GoOn(kept) => {
                self.step(Event::Resume(kept.standing));
                for (name, on) in &kept.zones {
                    if let Some(name) = self.engine.plan().zone_named(name) {
                        self.step(Event::Action(Action::Zone { name, on: Some(*on) }));
                    }
                }
            }
        }
        // A talkback that was open when the last run was broken off.
        for cue in beginning.cues_left(self.engine.plan()) {
            self.step(Event::CloseCue(cue));
        }
    }

    fn silence_if_left(&mut self, output: usize) {
        let left = self.outputs.get(output).is_some_and(|state| state.left_sounding);
        if left && self.ports.output_there(output) {
            self.step(Event::Silence(output));
            self.reports.give(&Report::Silenced(output));
        }
    }

    /// Waits for one arrival, or until the engine wants to be called, and acts on it.
    fn take_one(&mut self) {
        let wait = self.next.map(|next| Duration::from_micros(next.saturating_sub(self.now())));
        match self.ports.wait(wait) {
            Arrival::Message { input, bytes } => {
                // What cannot be decoded was counted by the ports.
                let came = self.began.elapsed();
                let Daemon { engine, out, tape, .. } = self;
                if let Some(stepped) = hear(engine, out, tape.as_ref(), in_ticks(came), input, bytes) {
                    self.after(stepped);
                    self.time(came);
                }
            }
            Arrival::InputGone(input) => {
                self.step(Event::InputLost(input));
                self.reports.give(&Report::InputGone(input));
                self.tell_connections();
            }
            Arrival::InputBack(input) => {
                self.step(Event::InputBack(input));
                self.reports.give(&Report::InputBack(input));
                self.tell_connections();
            }
            Arrival::OutputGone(output) => {
                self.reports.give(&Report::OutputGone(output));
                self.tell_connections();
            }
            Arrival::OutputBack(output) => self.set_up(output, Event::OutputBack(output)),
            Arrival::OutputJoined(output) => self.set_up(output, Event::OutputJoined(output)),
            Arrival::Overrun => {
                // Note-offs of any input may be among what is lost.
                for input in 0..self.engine.plan().inputs() {
                    self.step(Event::InputLost(input));
                }
                self.reports.give(&Report::Overrun);
            }
            Arrival::Woken => {
                self.take_played();
                self.take_commands();
                self.take_questions();
                self.take_relief();
            }
            Arrival::Quiet => self.step(Event::Time),
        }
    }

    /// Somebody listens to an output who knows nothing of it.
    fn set_up(&mut self, output: usize, event: Event<'_>) {
        self.silence_if_left(output);
        if let Some(state) = self.outputs.get_mut(output) {
            state.left_sounding = false;
        }
        self.step(event);
        self.reports.give(&Report::OutputBack(output));
        self.tell_connections();
    }

    /// Who is connected, told whenever that may have changed; seldom, so that it may allocate.
    fn tell_connections(&self) {
        self.reports.give(&Report::Connections(Arc::new(self.ports.connections())));
    }

    fn take_commands(&mut self) {
        while let Ok(command) = self.desk.commands.try_recv() {
            match command {
                Command::Action(action) => self.step(Event::Action(action)),
                Command::TurnZone(number) => {
                    if let Some(name) = self.engine.plan().zone_in_song(self.engine.standing().song, number) {
                        self.step(Event::Action(Action::Zone { name, on: None }));
                    }
                }
            }
        }
    }

    /// Does what somebody waits for, and tells its outcome; who no longer waits is not waited for either.
    fn take_questions(&mut self) {
        while let Ok(question) = self.desk.questions.try_recv() {
            self.noticed = Noticed::default();
            self.step(Event::Action(question.action));
            let _ = self.desk.answers.try_send(question.answered(self.noticed, self.engine.standing()));
        }
    }

    /// Lets those who look see how it stands.
    fn count(&mut self) {
        for input in 0..self.engine.plan().inputs() {
            self.stirred |= self.sight.set_down(input, self.engine.keys_down(input));
        }
        if std::mem::take(&mut self.stirred) {
            self.sight.stir();
        }
        let counts = self.engine.counts();
        let Daemon { tally, ports, reports, not_taken, engine, .. } = self;
        tally.set(&counts, *not_taken, ports.shed(), ports.dropped(), reports.unheard());
        tally.set_tempo(engine.position(), engine.tempo());
    }

    fn now(&self) -> u64 {
        in_ticks(self.began.elapsed())
    }

    /// Saved maps come into force; what was played before goes back to be freed.
    fn take_relief(&mut self) {
        if let Ok(mut relief) = self.desk.reliefs.try_recv() {
            let now = self.now();
            let successor = &mut relief.successor;
            let stepped =
                contained(&mut self.engine, &mut self.out, |engine, out| engine.take_over(successor, now, out));
            self.reports.give(&Report::Maps(Arc::clone(&relief.show)));
            if let Some(tape) = &self.tape {
                tape.plan(now, Arc::clone(&relief.show.plan));
            }
            self.after(stepped);
            let _ = self.desk.relieved.try_send(relief);
        }
    }

    fn step(&mut self, event: Event<'_>) {
        let now = self.now();
        if let Some(tape) = &self.tape {
            tape.event(now, event);
        }
        let stepped = contained(&mut self.engine, &mut self.out, |engine, out| engine.step(event, now, out));
        self.after(stepped);
    }

    /// Where the set stands.
    #[must_use]
    pub fn standing(&self) -> Standing {
        self.engine.standing()
    }
}

/// The owner's time in microseconds, in whole ticks of a take: what is recorded is what the engine was told.
fn in_ticks(since: Duration) -> u64 {
    since.as_micros() as u64 / take::TICK * take::TICK
}

impl std::fmt::Debug for Daemon {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Daemon").field("engine", &self.engine).finish_non_exhaustive()
    }
}
