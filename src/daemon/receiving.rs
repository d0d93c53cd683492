//! What the owner receives: messages from ports and from the page's keyboard go to the engine, each by itself, and how long each
//! took is reckoned.

use std::time::Duration;

use super::recorder::RecorderHandle;
use super::recovery::{Failed, contained};
use super::{Daemon, in_ticks};
use crate::engine::{Engine, Event, Out};
use crate::midi::decode;

impl Daemon {
    /// What is played on the page's keyboard.
    pub(super) fn play(&mut self, input: usize, bytes: [u8; 3]) {
        let came = self.began.elapsed();
        let Daemon { engine, out, recorder, .. } = self;
        if let Some(stepped) = receive(engine, out, recorder.as_ref(), in_ticks(came), input, &bytes) {
            self.after(stepped);
            self.time(came);
        }
    }

    /// How long a message took that came in at `came` and has been dealt with.
    pub(super) fn time(&mut self, came: Duration) {
        let now = self.began.elapsed();
        if let Some(of_99) = self.latency.add((now - came).as_micros() as u64, now.as_micros() as u64) {
            self.view_writer.set_latency(of_99.max(1));
        }
    }
}

/// Has the engine hear a whole message; none where it cannot be decoded, which the ports have counted.
pub(super) fn receive(
    engine: &mut Engine,
    out: &mut Out,
    recorder: Option<&RecorderHandle>,
    now: u64,
    input: usize,
    bytes: &[u8],
) -> Option<Result<Option<u64>, Failed>> {
    let message = decode(bytes).ok()?;
    if let Some(recorder) = recorder {
        recorder.input(now, input, bytes);
    }
    Some(contained(engine, out, |engine, out| engine.step(Event::Message { input, message }, now, out)))
}
