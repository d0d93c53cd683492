//! Keys that were played before we listened.
//!
//! A keyboard keeps what is played while nobody takes it, and gives it all at once when somebody begins to: notes that
//! come late, in a heap. The lab's keyboard gives some 1,400 such messages within 25 ms of the connection, under
//! emulation. So notes that begin within 20 ms of it are left out, and for longer while the heap goes on without a
//! pause of 2 ms, up to 60 ms; ends of notes, pedals and all else are taken, since they say how things stand and harm
//! nothing. A key really struck in that time is lost, as it is in the 400 ms before, in which the system finds the
//! keyboard.

use std::time::{Duration, Instant};

use ::alsa::seq::{Addr, EvNote, Event, EventType};

/// How soon after the connection what was kept begins to come.
const BEGINS: Duration = Duration::from_millis(20);
/// A pause that ends it.
const PAUSE: Duration = Duration::from_millis(2);
/// It lasts no longer, whatever comes: playing must work again within 100 ms.
const LONGEST: Duration = Duration::from_millis(60);

/// The devices that were connected just now.
#[derive(Default)]
pub(super) struct StaleNotes(Vec<NewDevice>);

struct NewDevice {
    device: Addr,
    until: Instant,
    at_most: Instant,
}

impl StaleNotes {
    /// A device was connected.
    pub(super) fn connected(&mut self, device: Addr, now: Instant) {
        self.0.retain(|new| new.device != device);
        self.0.push(NewDevice { device, until: now + BEGINS, at_most: now + LONGEST });
    }

    /// Until when old notes may come, as far as is known by now.
    pub(super) fn until(&self) -> Option<Instant> {
        self.0.iter().map(|new| new.until).max()
    }

    /// Whether an event begins a note that was played before we listened.
    pub(super) fn is_stale(&mut self, event: &Event<'_>) -> bool {
        if self.0.is_empty() {
            return false;
        }
        let now = Instant::now();
        self.0.retain(|new| new.until > now);
        let source = event.get_source();
        let Some(new) = self.0.iter_mut().find(|new| new.device == source) else { return false };
        new.until = new.until.max(now + PAUSE).min(new.at_most);
        event.get_type() == EventType::Noteon && event.get_data::<EvNote>().is_some_and(|note| note.velocity > 0)
    }
}
