//! Messages from ports and from the page's keyboard go to the engine, each by itself, and how long each took is measured.

use std::time::Duration;

use super::{Daemon, in_ticks};
use crate::engine::Event;
use crate::midi::decode;

impl Daemon {
    /// A whole message of an input that came in at `came`. What it causes is sent before anything else is done. One that
    /// cannot be decoded was counted by the ports.
    pub(super) fn receive(&mut self, input: usize, bytes: &[u8], came: Duration) {
        let Ok(message) = decode(bytes) else { return };
        let now = in_ticks(came);
        let stepped = self.contain(|engine, sink| engine.step(Event::Message { input, message }, now, sink));
        let sent = self.began.elapsed();
        if let Some(recorder) = &self.recorder {
            recorder.input(now.0, input, bytes);
        }
        self.view_writer.received(input, bytes);
        self.after(stepped);
        if let Some(of_99) = self.latency.add((sent - came).as_micros() as u64, sent.as_micros() as u64) {
            self.view_writer.set_latency(of_99.max(1));
        }
    }
}
