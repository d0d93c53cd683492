//! Keys that were played before we listened.
//!
//! A keyboard keeps what is played while nobody takes it, and gives it all at once when somebody begins to: notes that
//! come late, in a heap. The lab's keyboard gives some 1,400 such messages within 25 ms of the connection, under
//! emulation. So notes that begin within 30 ms of it are left out; ends of notes, pedals and all else are taken, since
//! they say how things stand and harm nothing. A key really struck in these 30 ms is lost, as it is in the 400 ms before,
//! in which the system finds the keyboard.

use std::time::{Duration, Instant};

use ::alsa::seq::{Addr, EvNote, Event, EventType};

/// How long what was kept may come after the connection.
const KEPT: Duration = Duration::from_millis(30);

/// The devices that were connected just now.
#[derive(Default)]
pub(super) struct Fresh(Vec<(Addr, Instant)>);

impl Fresh {
    /// A device was connected.
    pub(super) fn connected(&mut self, device: Addr, now: Instant) {
        self.0.retain(|(known, _)| *known != device);
        self.0.push((device, now + KEPT));
    }

    /// Until when old notes may come.
    pub(super) fn until(&self) -> Option<Instant> {
        self.0.iter().map(|(_, until)| *until).max()
    }

    /// Whether an event begins a note that was played before we listened.
    pub(super) fn is_old(&mut self, event: &Event<'_>) -> bool {
        if self.0.is_empty() {
            return false;
        }
        let now = Instant::now();
        self.0.retain(|(_, until)| *until > now);
        let begins = || event.get_data::<EvNote>().is_some_and(|note| note.velocity > 0);
        let source = event.get_source();
        event.get_type() == EventType::Noteon && self.0.iter().any(|(device, _)| *device == source) && begins()
    }
}
