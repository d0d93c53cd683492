//! What a step of the engine says leaves at once, message by message. Recording it, showing it and telling of it come
//! after the last message of the step.

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::time::Instant;

use super::metrics::Lateness;
use super::{Daemon, Happened, OutputState, in_ticks};
use crate::engine::{Engine, Micros, Notice, Out, Sink};
use crate::ports::Ports;

/// A tick of a clock,
const CLOCK: u8 = 0xF8;
/// and how late it may still be given.
const LATE_TICK: Micros = Micros::from_millis(100);

/// The engine panicked.
pub(super) struct Failed;

/// Sends what a step says as it is calculated, and keeps it in `out`.
struct LiveSink<'a> {
    out: &'a mut Out,
    ports: &'a mut dyn Ports,
    outputs: &'a [OutputState],
    began: Instant,
    /// How late ticks of our clock were given.
    lateness: &'a mut Lateness,
    /// What 99 of 100 ticks stayed below, once that was calculated again.
    late: Option<u64>,
}

impl Sink for LiveSink<'_> {
    fn send(&mut self, at: Micros, output: usize, bytes: &[u8]) {
        let tick = (bytes == [CLOCK]).then(|| in_ticks(self.began.elapsed()));
        // After the process was held up, what is left of a clock's ticks would come all at once.
        if tick.is_some_and(|now| now - at > LATE_TICK) {
            return;
        }
        let taken = self.ports.send(output, bytes).is_ok();
        self.out.send(at, output, bytes);
        if !taken {
            self.out.refuse_last();
        }
        if let Some(now) = tick.filter(|_| self.outputs.get(output).is_some_and(|output| output.tempo)) {
            self.late = self.lateness.add((now - at).0, now.0).or(self.late);
        }
    }

    fn notice(&mut self, notice: Notice) {
        self.out.notice(notice);
    }
}

impl Daemon {
    /// Runs a step of the engine; what it says is sent at once. A panic in it goes no further.
    pub(super) fn contain<T>(&mut self, step: impl FnOnce(&mut Engine, &mut dyn Sink) -> T) -> Result<T, Failed> {
        // What a panic leaves behind is looked at by `recover` only, which trusts nothing but the list of what sounds.
        catch_unwind(AssertUnwindSafe(|| self.run_live(step))).map_err(|_| Failed)
    }

    fn run_live<T>(&mut self, step: impl FnOnce(&mut Engine, &mut dyn Sink) -> T) -> T {
        let Daemon { engine, out, ports, outputs, lateness, began, .. } = self;
        let mut sink = LiveSink { out, ports: ports.as_mut(), outputs, began: *began, lateness, late: None };
        let value = step(engine, &mut sink);
        if let Some(late) = sink.late {
            self.metrics.set_late(late.next_power_of_two());
        }
        value
    }

    /// Runs something of the engine that has to go well; a panic in it ends the process.
    pub(super) fn surely<T>(&mut self, step: impl FnOnce(&mut Engine, &mut dyn Sink) -> T) -> T {
        let value = self.run_live(step);
        self.publish();
        value
    }

    /// Records, shows and tells what a step said. All of it was sent before.
    pub(super) fn publish(&mut self) {
        for said in self.out.said() {
            if !said.taken {
                self.refused += 1;
            } else if let Some(recorder) = &self.recorder {
                recorder.output(said.at.0, said.output, said.bytes);
            }
            self.view_writer.sent(said.output, said.bytes);
            if let Some(state) = self.outputs.get_mut(said.output) {
                state.to_tell |= !said.taken && !state.refusing && self.ports.output_available(said.output);
                state.refusing = !said.taken;
            }
        }
        for output in 0..self.outputs.len() {
            if std::mem::take(&mut self.outputs[output].to_tell) {
                self.tell(Happened::OutputRefused(output));
            }
        }
        for index in 0..self.out.notices().len() {
            let notice = self.out.notices()[index];
            self.noticed.add(notice);
            self.tell(Happened::Noticed(notice));
        }
        self.out.clear();
    }
}
