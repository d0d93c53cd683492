//! The owner thread: it reads the inputs, runs the engine and writes the outputs, with no hop in between.
//!
//! Everybody else reaches it through a [`Remote`] (a bounded channel and a waker) and hears of it through a bounded
//! channel of [`Report`]s, which drops for them and never holds up the music.

pub mod changes;
pub mod control;
pub(crate) mod give_way;
mod inbox;
mod live_view;
mod metrics;
pub mod observer;
pub mod persist;
mod receiving;
pub mod recorder;
mod recovery;
pub mod reload;
pub(crate) mod repeats;
mod report;
pub mod requests;
mod sending;
mod show;
pub mod state;
pub mod supervisor;
#[cfg(test)]
mod tests;
pub(crate) mod token_bucket;

use std::sync::Arc;
use std::time::{Duration, Instant, SystemTime};

use rtrb::Consumer;

use crate::engine::{Action, Engine, Event, Micros, Out, Standing};
use crate::map::Gear;
use crate::ports::{Arrival, InputWish, OutputWish, Ports, Target, Wish};
use inbox::{Inbox, Question, Request};
use live_view::LiveViewWriter;
use persist::Beginning;
use report::ReportQueue;

pub use inbox::{Handed, Instruction, Noticed, Remote, StepOutcome, Unasked};
pub use live_view::{LiveView, Received, Sent};
use metrics::Lateness;
pub use metrics::Metrics;
use recorder::RecorderHandle;
pub use report::{Ended, Happened, Report, SavedFault};
pub use show::{PreparedMaps, Show};
use supervisor::Heartbeat;

/// The longest message that is handed on, in bytes (rule R18).
const LONGEST_MESSAGE: usize = 65_536;

/// The performance of a set on open ports.
pub struct Daemon {
    ports: Box<dyn Ports>,
    engine: Engine,
    out: Out,
    began: Instant,
    /// When the engine next wants to be called, since the beginning.
    next: Option<Micros>,
    /// The message that came in last; kept for its memory.
    received: Vec<u8>,
    inbox: Inbox,
    /// What is played.
    show: Arc<Show>,
    reports: ReportQueue,
    /// Where reports come out, until somebody observes.
    unread: Option<Consumer<Report>>,
    outputs: Vec<OutputState>,
    refused: u64,
    /// What was noticed since somebody who waits for an outcome asked.
    noticed: Noticed,
    recorder: Option<RecorderHandle>,
    heartbeat: Heartbeat,
    metrics: Metrics,
    lateness: Lateness,
    view: LiveView,
    view_writer: LiveViewWriter,
    /// How long messages took from their arrival to the last byte that they caused.
    latency: Lateness,
}

/// What the owner remembers of an output.
#[derive(Debug, Clone, Copy, Default)]
struct OutputState {
    /// It did not take its last message: a failure is reported once.
    refusing: bool,
    /// That is still to be told.
    to_tell: bool,
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
        let (view, view_writer) = LiveView::new(show.book.gear.inputs.len(), show.book.gear.outputs.len());
        let (remote, inbox) = Inbox::new(ports.waker(), Arc::clone(show));
        let (reports, unread) = ReportQueue::new(show);
        let daemon = Daemon {
            out: engine.out(),
            outputs: outputs.collect(),
            ports,
            engine,
            began: Instant::now(),
            next: None,
            received: Vec::with_capacity(LONGEST_MESSAGE),
            inbox,
            show: Arc::clone(show),
            reports,
            unread: Some(unread),
            refused: 0,
            noticed: Noticed::default(),
            recorder: None,
            heartbeat: Heartbeat::default(),
            metrics: Metrics::default(),
            lateness: Lateness::default(),
            view,
            view_writer,
            latency: Lateness::default(),
        };
        (daemon, remote)
    }

    /// Records the performance too.
    pub fn record(&mut self, recorder: RecorderHandle) {
        self.recorder = Some(recorder);
    }

    /// Counts how often the owner has gone round its loop.
    #[must_use]
    pub fn heartbeat(&self) -> Heartbeat {
        self.heartbeat.clone()
    }

    /// What was left out so far, kept up to date while it plays.
    #[must_use]
    pub fn metrics(&self) -> Metrics {
        self.metrics.clone()
    }

    /// What can be seen of it at any moment, kept up to date while it plays.
    #[must_use]
    pub fn live_view(&self) -> LiveView {
        self.view.clone()
    }

    /// Plays from `beginning` until it is told to stop; every note is ended and every pedal lifted then.
    pub fn run(mut self, beginning: &Beginning) -> Ended {
        self.begin(beginning);
        while !self.inbox.is_to_stop() {
            self.take_one();
            self.count();
            self.heartbeat.beat();
        }
        self.step(Event::Stop);
        let ended =
            Ended { counts: self.engine.counts(), refused: self.refused, reports_lost: self.reports.lost().count() };
        let report = self.report(Happened::Ended(ended));
        self.reports.publish_last(report);
        ended
    }

    /// Silences what a run that ended unexpectedly may have left, then begins or goes on.
    fn begin(&mut self, beginning: &Beginning) {
        if beginning.may_have_left_notes() {
            self.outputs.iter_mut().for_each(|output| output.left_sounding = true);
            for output in 0..self.outputs.len() {
                self.silence_if_left(output);
            }
        }
        match beginning {
            Beginning::Afresh | Beginning::Changed(_) => self.step(Event::Start { entry: 0, order_step: 0 }),
            Beginning::GoOn(kept) => {
                self.step(Event::Resume(kept.standing));
                for (name, on) in &kept.zones {
                    if let Some(name) = self.engine.plan().zone_named(name) {
                        self.step(Event::Action(Action::Zone { name, on: Some(*on) }));
                    }
                }
            }
        }
        // A talkback that was open when the last run ended unexpectedly.
        for cue in beginning.cues_left(self.engine.plan()) {
            self.step(Event::CloseCue(cue));
        }
    }

    fn silence_if_left(&mut self, output: usize) {
        let left = self.outputs.get(output).is_some_and(|state| state.left_sounding);
        if left && self.ports.output_available(output) {
            self.step(Event::Silence(output));
            self.tell(Happened::Silenced(output));
        }
    }

    /// Waits for one arrival, or until the engine wants to be called, and acts on it.
    fn take_one(&mut self) {
        let wait = self.next.map(|next| Duration::from_micros((next - self.now()).0));
        match self.ports.wait(wait) {
            Arrival::Message { input, bytes } => {
                let came = self.began.elapsed();
                let mut received = std::mem::take(&mut self.received);
                received.clear();
                received.extend_from_slice(bytes);
                self.receive(input, &received, came);
                self.received = received;
            }
            Arrival::InputDisconnected(input) => {
                self.step(Event::InputLost(input));
                self.tell(Happened::InputDisconnected(input));
                self.tell_connections();
            }
            Arrival::InputBack(input) => {
                self.step(Event::InputBack(input));
                self.tell(Happened::InputBack(input));
                self.tell_connections();
            }
            Arrival::OutputDisconnected(output) => {
                self.tell(Happened::OutputDisconnected(output));
                self.tell_connections();
            }
            Arrival::InputHeld(input) => self.tell(Happened::InputHeld(input)),
            Arrival::OutputHeld(output) => self.tell(Happened::OutputHeld(output)),
            Arrival::OutputBack(output) => self.set_up(output, Event::OutputBack(output)),
            Arrival::OutputJoined(output) => self.set_up(output, Event::OutputJoined(output)),
            Arrival::Overrun => {
                // Note-offs of any input may be among what is lost.
                for input in 0..self.engine.plan().inputs() {
                    self.step(Event::InputLost(input));
                }
                self.tell(Happened::Overrun);
            }
            Arrival::Woken => {
                while let Some(request) = self.inbox.take() {
                    self.fulfil(request);
                }
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
        self.tell(Happened::OutputBack(output));
        self.tell_connections();
    }

    /// Who is connected, told whenever that may have changed, where the ports know it; seldom, so that it may allocate.
    fn tell_connections(&mut self) {
        if !self.ports.capabilities().knows_connections {
            return;
        }
        self.tell(Happened::Connections(Arc::new(self.ports.connections())));
    }

    /// A report of what happened just now.
    fn report(&self, what: Happened) -> Report {
        Report { at: SystemTime::now(), show: Arc::clone(&self.show), snapshot: self.engine.snapshot(), what }
    }

    fn tell(&mut self, what: Happened) {
        let report = self.report(what);
        self.reports.publish(report);
    }

    fn fulfil(&mut self, request: Request) {
        match request {
            Request::Instruction(Instruction::Action(action)) => self.step(Event::Action(action)),
            Request::Instruction(Instruction::TurnZone(number)) => {
                if let Some(name) = self.engine.plan().zone_in_song(self.engine.standing().song, number) {
                    self.step(Event::Action(Action::Zone { name, on: None }));
                }
            }
            Request::Play { input, bytes } => self.receive(input, &bytes, self.began.elapsed()),
            Request::Ask(question) => self.answer(question),
            Request::Load(prepared) => self.load(prepared),
            Request::Tell(what) => self.tell(what),
        }
    }

    /// Does what somebody waits for, and tells its outcome; who no longer waits is not waited for either.
    fn answer(&mut self, question: Question) {
        self.noticed = Noticed::default();
        self.step(Event::Action(question.action));
        let _ = self.inbox.answers.try_send(question.answered(self.noticed, self.engine.snapshot()));
    }

    /// Lets those who look see how it stands.
    fn count(&mut self) {
        for input in 0..self.engine.plan().inputs() {
            self.view_writer.set_down(input, self.engine.keys_down(input));
        }
        let counts = self.engine.counts();
        let Daemon { metrics, ports, refused, engine, .. } = self;
        metrics.set(&counts, *refused, ports.dropped_overload(), ports.dropped());
        metrics.set_tempo(engine.position(), engine.tempo());
    }

    fn now(&self) -> Micros {
        in_ticks(self.began.elapsed())
    }

    /// Loads maps between two events; what was played before goes back to be freed.
    fn load(&mut self, mut prepared: Box<PreparedMaps>) {
        let now = self.now();
        let successor = &prepared.successor;
        let stepped = self.contain(|engine, sink| engine.make_way(successor, now, sink));
        self.after(stepped);
        let successor = &mut prepared.successor;
        successor.exchange_out(&mut self.out);
        let stepped = self.contain(|engine, sink| engine.take_over(successor, now, sink));
        self.show = Arc::clone(&prepared.show);
        // All that belongs to the old maps was told; from here on every number is the new ones'.
        self.tell(Happened::Loaded);
        if let Some(recorder) = &self.recorder {
            recorder.plan(now.0, Arc::clone(&prepared.show.plan));
        }
        self.after(stepped);
        let _ = self.inbox.replaced.try_send(prepared);
    }

    fn step(&mut self, event: Event<'_>) {
        let now = self.now();
        let stepped = self.contain(|engine, sink| engine.step(event, now, sink));
        if let Some(recorder) = &self.recorder {
            recorder.event(now.0, event);
        }
        self.after(stepped);
    }

    /// Where the set stands.
    #[must_use]
    pub fn standing(&self) -> Standing {
        self.engine.standing()
    }
}

/// The owner's time in whole ticks of a take: what is recorded is what the engine was told.
fn in_ticks(since: Duration) -> Micros {
    Micros(since.as_micros() as u64 / recorder::TICK * recorder::TICK)
}

impl std::fmt::Debug for Daemon {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Daemon").field("engine", &self.engine).finish_non_exhaustive()
    }
}
