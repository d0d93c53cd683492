//! The owner thread: it reads the inputs, runs the engine and writes the outputs, with no hop in between.
//!
//! Everybody else reaches it through a [`Remote`] (a bounded channel and a waker) and hears of it through a bounded
//! channel of [`Report`]s, which drops for them and never holds up the music.

mod report;

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use crossbeam_channel::{Receiver, Sender, bounded};

use crate::engine::{Action, Counts, Engine, Event, Out, Plan, Standing};
use crate::map::{Book, Gear};
use crate::midi::decode;
use crate::ports::{Arrival, InputWish, OutputWish, Ports, Target, Waker, Wish};

pub use report::{Report, Reports};

/// Commands that may wait for the owner; more than a person can give before it looks.
const COMMANDS: usize = 64;

/// Something said to the owner from another thread.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Command {
    /// Something done to the set.
    Action(Action),
    /// Turns the zone of this number, from 0, in the current song the other way.
    TurnZone(usize),
}

/// Reaches the owner from any thread, without waiting for it.
#[derive(Debug, Clone)]
pub struct Remote {
    commands: Sender<Command>,
    stop: Arc<AtomicBool>,
    waker: Waker,
}

impl Remote {
    /// Gives a command. Says whether it was taken: it is not where many wait already.
    pub fn give(&self, command: Command) -> bool {
        let taken = self.commands.try_send(command).is_ok();
        self.waker.wake();
        taken
    }

    /// Ends the performance; never lost.
    pub fn stop(&self) {
        self.stop.store(true, Ordering::Release);
        self.waker.wake();
    }
}

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
    commands: Receiver<Command>,
    stop: Arc<AtomicBool>,
    reports: Reports,
    /// Outputs that did not take their last message, so that each failure is reported once.
    refusing: Vec<bool>,
    not_taken: u64,
}

/// The ports that a gear file wants.
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
    Wish { inputs: inputs.collect(), outputs: outputs.collect() }
}

impl Daemon {
    /// A performance of `book` on its open ports, with the remote that steers it and the reports that it gives.
    #[must_use]
    pub fn new(book: &Book, ports: Box<dyn Ports>) -> (Daemon, Remote, Receiver<Report>) {
        let plan = Arc::new(Plan::new(book));
        let engine = Engine::new(plan);
        let (sender, commands) = bounded(COMMANDS);
        let stop = Arc::new(AtomicBool::new(false));
        let (reports, receiver) = Reports::new();
        let remote = Remote { commands: sender, stop: Arc::clone(&stop), waker: ports.waker() };
        let daemon = Daemon {
            out: engine.out(),
            refusing: vec![false; book.gear.outputs.len()],
            ports,
            engine,
            began: Instant::now(),
            next: None,
            commands,
            stop,
            reports,
            not_taken: 0,
        };
        (daemon, remote, receiver)
    }

    /// Plays from the first entry until it is told to stop; every note is ended and every pedal lifted then.
    pub fn run(mut self) -> Ended {
        self.step(Event::Start { entry: 0, place: 0 });
        while !self.stop.load(Ordering::Acquire) {
            self.take_one();
        }
        self.step(Event::Stop);
        let ended = Ended { counts: self.engine.counts(), not_taken: self.not_taken, unheard: self.reports.unheard() };
        self.reports.give(Report::Ended(ended));
        ended
    }

    /// Waits for one arrival, or until the engine wants to be called, and acts on it.
    fn take_one(&mut self) {
        let wait = self.next.map(|next| Duration::from_micros(next.saturating_sub(self.now())));
        match self.ports.wait(wait) {
            Arrival::Message { input, bytes } => {
                // What cannot be decoded was counted by the ports.
                if let Ok(message) = decode(bytes) {
                    let now = self.began.elapsed().as_micros() as u64;
                    self.next = self.engine.step(Event::Message { input, message }, now, &mut self.out);
                    self.say();
                }
            }
            Arrival::InputGone(input) => {
                self.step(Event::InputLost(input));
                self.reports.give(Report::InputGone(input));
            }
            Arrival::InputBack(input) => self.reports.give(Report::InputBack(input)),
            Arrival::OutputGone(output) => self.reports.give(Report::OutputGone(output)),
            Arrival::OutputBack(output) => {
                self.step(Event::OutputBack(output));
                self.reports.give(Report::OutputBack(output));
            }
            Arrival::Overrun => {
                // Note-offs of any input may be among what is lost.
                for input in 0..self.engine.plan().inputs() {
                    self.step(Event::InputLost(input));
                }
                self.reports.give(Report::Overrun);
            }
            Arrival::Woken => self.take_commands(),
            Arrival::Quiet => self.step(Event::Time),
        }
    }

    fn take_commands(&mut self) {
        while let Ok(command) = self.commands.try_recv() {
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

    fn now(&self) -> u64 {
        self.began.elapsed().as_micros() as u64
    }

    fn step(&mut self, event: Event<'_>) {
        self.next = self.engine.step(event, self.now(), &mut self.out);
        self.say();
    }

    /// Sends what the step said, then tells what it noticed.
    fn say(&mut self) {
        for said in self.out.said() {
            let refused = self.ports.send(said.output, said.bytes).is_err();
            if refused {
                self.not_taken += 1;
            }
            if let Some(before) = self.refusing.get_mut(said.output) {
                if refused && !*before && self.ports.output_there(said.output) {
                    self.reports.give(Report::NotTaken(said.output));
                }
                *before = refused;
            }
        }
        let standing = self.engine.standing();
        for notice in self.out.notices() {
            self.reports.give(Report::Told(*notice, standing));
        }
        self.out.clear();
    }

    /// Where the set stands.
    #[must_use]
    pub fn standing(&self) -> Standing {
        self.engine.standing()
    }
}

impl std::fmt::Debug for Daemon {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Daemon").field("engine", &self.engine).finish_non_exhaustive()
    }
}
