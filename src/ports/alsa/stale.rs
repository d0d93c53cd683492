//! Keys that were played before we listened.
//!
//! A keyboard keeps what is played while nobody takes it, and gives it all at once when somebody begins to: notes that
//! come late, in a heap. The lab's keyboard gives some 1,400 such messages within 25 ms of the connection, under
//! emulation. So notes that begin within 20 ms of it are left out, and for longer while the heap goes on without a
//! pause of 2 ms, up to 60 ms; ends of notes, pedals and all else are taken, since they say how things stand and harm
//! nothing. A key really struck in that time is lost, as it is in the 400 ms before, in which the system finds the
//! keyboard. After the opening it is lost until the first wait too: played then, it would sound late.
//!
//! What counts is when a message came, not when we get to read it, which may be much later on a busy machine. So when the
//! time is over an event is sent to ourselves, the mark: what is read before it came before it.

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
pub(super) struct StaleNotes {
    devices: Vec<NewDevice>,
    /// Somebody waits for what comes.
    is_awaited: bool,
}

struct NewDevice {
    device: Addr,
    until: Instant,
    at_most: Instant,
    /// The mark that ends it is on its way.
    is_marked: bool,
}

impl StaleNotes {
    /// A device was connected.
    pub(super) fn connected(&mut self, device: Addr, now: Instant) {
        self.devices.retain(|new| new.device != device);
        self.devices.push(NewDevice { device, until: now + BEGINS, at_most: now + LONGEST, is_marked: false });
    }

    /// Until when old notes may come of each that is not marked, as far as is known by now.
    pub(super) fn ends(&self) -> impl Iterator<Item = Instant> + '_ {
        self.devices.iter().filter(|new| !new.is_marked).map(|new| new.until)
    }

    /// Whether no device was connected just now.
    pub(super) fn is_empty(&self) -> bool {
        self.devices.is_empty()
    }

    /// Somebody waits for what comes from now on.
    pub(super) fn awaited(&mut self) {
        self.is_awaited = true;
    }

    /// Has the mark sent where it is time for it. `send` says whether it could be: where not, the system's queue is full,
    /// and is thrown away with all that is old.
    pub(super) fn mark(&mut self, now: Instant, send: impl FnOnce() -> bool) {
        let is_over = |new: &NewDevice| !new.is_marked && new.until <= now;
        if !self.is_awaited || !self.devices.iter().any(is_over) {
            return;
        }
        if send() {
            self.devices.iter_mut().filter(|new| is_over(new)).for_each(|new| new.is_marked = true);
        } else {
            self.devices.retain(|new| !is_over(new));
        }
    }

    /// The mark was read.
    pub(super) fn marked(&mut self) {
        self.devices.retain(|new| !new.is_marked);
    }

    /// All that waited was thrown away by the system, marks too.
    pub(super) fn lost(&mut self, now: Instant) {
        self.devices.retain(|new| new.until > now);
    }

    /// Whether an event that is read now begins a note that was played before we listened.
    pub(super) fn is_stale(&mut self, event: &Event<'_>) -> bool {
        !self.devices.is_empty() && self.is_stale_at(event, Instant::now())
    }

    fn is_stale_at(&mut self, event: &Event<'_>, now: Instant) -> bool {
        let source = event.get_source();
        let Some(new) = self.devices.iter_mut().find(|new| new.device == source) else { return false };
        if new.until > now {
            new.until = new.until.max(now + PAUSE).min(new.at_most);
        }
        event.get_type() == EventType::Noteon && event.get_data::<EvNote>().is_some_and(|note| note.velocity > 0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn note(velocity: u8) -> Event<'static> {
        Event::new(EventType::Noteon, &EvNote { channel: 0, note: 60, velocity, off_velocity: 0, duration: 0 })
    }

    #[test]
    fn a_beginning_that_came_before_the_mark_is_old_however_late_it_is_read() {
        let began = Instant::now();
        let mut stale = StaleNotes::default();
        let source = note(1).get_source();
        stale.connected(source, began);
        stale.awaited();
        let late = began + Duration::from_secs(3);
        let mut sent = 0;
        stale.mark(began + BEGINS / 2, || unreachable!("it is not over"));
        stale.mark(late, || {
            sent += 1;
            true
        });
        stale.mark(late, || unreachable!("one is enough"));
        assert_eq!((sent, stale.is_stale_at(&note(1), late), stale.is_stale_at(&note(0), late)), (1, true, false));
        stale.marked();
        assert!(!stale.is_stale_at(&note(1), late) && stale.devices.is_empty());
    }

    #[test]
    fn until_somebody_waits_all_is_stale() {
        let began = Instant::now();
        let mut stale = StaleNotes::default();
        let source = note(1).get_source();
        stale.connected(source, began);
        let late = began + Duration::from_secs(3);
        stale.mark(late, || unreachable!("nobody waits"));
        assert!(stale.is_stale_at(&note(1), late));
        stale.awaited();
        stale.mark(late, || true);
        assert!(stale.is_stale_at(&note(1), late));
        stale.marked();
        assert!(!stale.is_stale_at(&note(1), late));
        stale.connected(source, began);
        stale.mark(late, || false);
        assert!(stale.devices.is_empty(), "where the queue is full all that waits is lost");
    }

    #[test]
    fn a_device_that_was_connected_after_the_mark_stays() {
        let began = Instant::now();
        let mut stale = StaleNotes::default();
        let source = note(1).get_source();
        stale.awaited();
        stale.connected(source, began);
        stale.mark(began + BEGINS, || true);
        stale.connected(source, began + BEGINS);
        stale.marked();
        assert!(stale.is_stale_at(&note(1), began + BEGINS));
        stale.lost(began + LONGEST);
        assert!(stale.devices.is_empty());
    }
}
