//! Looks again and again which ports there are, since midir does not tell.

use std::thread::{self, JoinHandle};
use std::time::Duration;

use crossbeam_channel::{RecvTimeoutError, Sender, bounded};
use midir::{MidiIO, MidiInput, MidiOutput};

use crate::ports::{Fault, PortsError};

/// How often it looks: less than a system needs to find a device that was plugged in (0.4 s with USB on Linux), so
/// that one that was pulled is not missed; a look costs under a millisecond.
const LOOK: Duration = Duration::from_millis(250);

/// The thread that looks. Dropping it ends it.
pub(super) struct Watch {
    stop: Option<Sender<()>>,
    thread: Option<JoinHandle<()>>,
}

impl Watch {
    /// Calls `looked` after every look, with whether ports have come or gone.
    pub(super) fn begin(
        inputs: MidiInput,
        outputs: MidiOutput,
        looked: impl Fn(bool) + Send + 'static,
    ) -> Result<Self, PortsError> {
        let (stop, stopped) = bounded::<()>(0);
        let mut known = (names(&inputs), names(&outputs));
        let watch = move || {
            while stopped.recv_timeout(LOOK) == Err(RecvTimeoutError::Timeout) {
                let now = (names(&inputs), names(&outputs));
                looked(now != known);
                known = now;
            }
        };
        let thread = thread::Builder::new().name("port watch".into()).spawn(watch);
        let thread = thread.map_err(|error| Fault::refused("Starting to watch the ports", error))?;
        Ok(Watch { stop: Some(stop), thread: Some(thread) })
    }
}

/// The names of all ports, as they are.
fn names<Io: MidiIO>(io: &Io) -> Vec<String> {
    io.ports().iter().filter_map(|port| io.port_name(port).ok()).collect()
}

impl Drop for Watch {
    fn drop(&mut self) {
        self.stop = None;
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}
