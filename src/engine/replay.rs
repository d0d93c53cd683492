//! The same engine, offline and exact: a take played through a plan.

use std::sync::Arc;

use super::{Counts, Engine, Event, MarkerEvent, Micros, Notice, Plan, Reason, Sink, Standing};
use crate::midi::decode;
use crate::midi::file::{Take, TakeKind};

/// What one event of a take made the engine say.
#[derive(Debug, Clone)]
pub struct ReplayStep {
    /// What happened.
    pub cause: Cause,
    /// Its time, in microseconds from the take's start.
    pub at: u64,
    /// What was said before it and because of it.
    pub said: Vec<Line>,
    /// Why it was said, each with its time.
    pub reasons: Vec<(u64, Reason)>,
    /// What the player would have been told.
    pub notices: Vec<Notice>,
    /// Where the set stood afterwards.
    pub standing: Standing,
}

/// What happened in a [`ReplayStep`].
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Cause {
    /// The set began.
    Start,
    /// The take's event of this index.
    Event(usize),
    /// The take ended: what was due ran, and everything stopped.
    End,
}

/// A message to an output.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Line {
    /// When, in microseconds: the time of its own cause, which may lie before that of its step.
    pub at: u64,
    /// When, in the take's ticks: its cause's tick, or the tick nearest its own time where it waited.
    pub tick: u64,
    /// Number of the output.
    pub output: usize,
    /// One whole message.
    pub bytes: Vec<u8>,
}

/// Keeps all that one step says.
struct Kept<'a> {
    take: &'a Take,
    /// The step's time in the take.
    at: Micros,
    tick: u64,
    said: Vec<Line>,
    reasons: Vec<(u64, Reason)>,
    notices: Vec<Notice>,
}

impl<'a> Kept<'a> {
    fn new(take: &'a Take, at: Micros, tick: u64) -> Kept<'a> {
        Kept { take, at, tick, said: Vec::new(), reasons: Vec::new(), notices: Vec::new() }
    }
}

impl Sink for Kept<'_> {
    fn send(&mut self, at: Micros, output: usize, bytes: &[u8]) {
        let tick = if at == self.at { self.tick } else { self.take.nearest_tick(at.0) };
        self.said.push(Line { at: at.0, tick, output, bytes: bytes.to_vec() });
    }

    fn notice(&mut self, notice: Notice) {
        self.notices.push(notice);
    }

    fn reason(&mut self, at: Micros, reason: Reason) {
        self.reasons.push((at.0, reason));
    }
}

/// A take played through a plan.
#[derive(Debug, Clone)]
pub struct Rehearsal {
    /// Each event of the take with what came of it, framed by the start and the end.
    pub steps: Vec<ReplayStep>,
    /// Markers that say nothing known: their tick, and why.
    pub unknown_markers: Vec<(u64, String)>,
    /// What was left out.
    pub counts: Counts,
}

impl Rehearsal {
    /// Plays `take` as the input of number `input`, or as the one that its markers name from there on, starting in the
    /// first section of `entry`.
    #[must_use]
    pub fn new(plan: &Arc<Plan>, take: &Take, input: usize, entry: usize) -> Rehearsal {
        let mut engine = Engine::new(Arc::clone(plan));
        let mut rehearsal = Rehearsal { steps: Vec::new(), unknown_markers: Vec::new(), counts: Counts::default() };
        let mut step = |cause, event: Event<'_>, at: u64, tick: u64| {
            let mut kept = Kept::new(take, Micros(at), tick);
            engine.step(event, Micros(at), &mut kept);
            if matches!(event, Event::Time) {
                // The end: what was due has run, now everything stops.
                engine.step(Event::Stop, Micros(at), &mut kept);
            }
            let Kept { said, reasons, notices, .. } = kept;
            rehearsal.steps.push(ReplayStep { cause, at, said, reasons, notices, standing: engine.standing() });
            rehearsal.counts = engine.counts();
        };
        // Where an earlier run ended unexpectedly, what it left sounding is silenced first; then the set goes on or begins.
        let mut first = take.events.iter().map_while(|event| match &event.kind {
            TakeKind::Marker(text) => MarkerEvent::parse(text, plan).ok(),
            TakeKind::Message(_) => None,
        });
        let begins = first.find(|first| !matches!(first, MarkerEvent::Happened(Event::Silence(_))));
        if !matches!(begins, Some(MarkerEvent::Happened(Event::Resume(_) | Event::Start { .. }))) {
            step(Cause::Start, Event::Start { entry, order_step: 0 }, 0, 0);
        }
        let mut from = input;
        for (index, event) in take.events.iter().enumerate() {
            let cause = Cause::Event(index);
            match &event.kind {
                TakeKind::Message(bytes) => {
                    if let Ok(message) = decode(bytes) {
                        step(cause, Event::Message { input: from, message }, event.at, event.tick);
                    }
                }
                TakeKind::Marker(text) => match MarkerEvent::parse(text, plan) {
                    Ok(MarkerEvent::From(input)) => from = input,
                    // A take tells that the set began, not in which entry.
                    Ok(MarkerEvent::Happened(Event::Start { order_step, .. })) => {
                        step(cause, Event::Start { entry, order_step }, event.at, event.tick);
                    }
                    Ok(MarkerEvent::Happened(happened)) => step(cause, happened, event.at, event.tick),
                    Err(error) => rehearsal.unknown_markers.push((event.tick, error.to_string())),
                },
            }
        }
        step(Cause::End, Event::Time, take.end, take.end_tick);
        rehearsal
    }

    /// All messages of one output, by tick, as they were said.
    #[must_use]
    pub fn lines_of(&self, output: usize) -> Vec<(u64, &[u8])> {
        let lines = self.steps.iter().flat_map(|step| &step.said).filter(|line| line.output == output);
        lines.map(|line| (line.tick, line.bytes.as_slice())).collect()
    }
}
