//! What the owner sends: what a step of the engine said goes to the outputs, and what it noticed is told.

use super::{Daemon, Happened, in_ticks};

/// A tick of a clock,
const CLOCK: u8 = 0xF8;
/// and how late it may still be given, in microseconds.
const LATE_TICK: u64 = 100_000;

impl Daemon {
    /// Sends what the step said, then tells what it noticed.
    pub(super) fn send(&mut self) {
        for said in self.out.said() {
            if said.bytes == [CLOCK] {
                // After the process was held up, what is left of a clock's ticks would come all at once.
                let now = in_ticks(self.began.elapsed());
                let late = now.saturating_sub(said.at);
                if late > LATE_TICK {
                    continue;
                }
                if self.outputs.get(said.output).is_some_and(|output| output.tempo) {
                    let of_99 = self.lateness.add(late, now);
                    of_99.into_iter().for_each(|of_99| self.metrics.set_late(of_99.next_power_of_two()));
                }
            }
            let refused = self.ports.send(said.output, said.bytes).is_err();
            if refused {
                self.not_taken += 1;
            } else if let Some(recorder) = &self.recorder {
                recorder.output(said.at, said.output, said.bytes);
            }
            self.view_writer.sent(said.output, said.bytes);
            if let Some(state) = self.outputs.get_mut(said.output) {
                state.to_tell |= refused && !state.refusing && self.ports.output_available(said.output);
                state.refusing = refused;
            }
        }
        for output in 0..self.outputs.len() {
            if std::mem::take(&mut self.outputs[output].to_tell) {
                self.tell(Happened::NotTaken(output));
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
