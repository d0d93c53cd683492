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

use super::{Sequencer, deliver};

/// How soon after the connection what was kept begins to come.
const BEGINS: Duration = Duration::from_millis(20);
/// A pause that ends it.
const PAUSE: Duration = Duration::from_millis(2);
/// It lasts no longer, whatever comes: playing must work again within 100 ms.
const LONGEST: Duration = Duration::from_millis(60);

/// The devices that were connected just now.
#[derive(Default)]
pub(super) struct Fresh {
    devices: Vec<New>,
    /// Somebody waits for what comes.
    is_awaited: bool,
}

struct New {
    device: Addr,
    until: Instant,
    at_most: Instant,
    /// The mark that ends it is on its way.
    is_marked: bool,
}

impl Fresh {
    /// A device was connected.
    pub(super) fn connected(&mut self, device: Addr, now: Instant) {
        self.devices.retain(|new| new.device != device);
        self.devices.push(New { device, until: now + BEGINS, at_most: now + LONGEST, is_marked: false });
    }

    /// Until when old notes may come of each that is not marked, as far as is known by now.
    pub(super) fn ends(&self) -> impl Iterator<Item = Instant> + '_ {
        self.devices.iter().filter(|new| !new.is_marked).map(|new| new.until)
    }

    /// Somebody waits for what comes from now on.
    pub(super) fn awaited(&mut self) {
        self.is_awaited = true;
    }

    /// Has the mark sent where it is time for it. `send` says whether it could be: where not, the system's queue is full,
    /// and is thrown away with all that is old.
    fn mark(&mut self, now: Instant, send: impl FnOnce() -> bool) {
        let is_over = |new: &New| !new.is_marked && new.until <= now;
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
    pub(super) fn is_old(&mut self, event: &Event<'_>) -> bool {
        !self.devices.is_empty() && self.is_old_at(event, Instant::now())
    }

    fn is_old_at(&mut self, event: &Event<'_>, now: Instant) -> bool {
        let source = event.get_source();
        let Some(new) = self.devices.iter_mut().find(|new| new.device == source) else { return false };
        if new.until > now {
            new.until = new.until.max(now + PAUSE).min(new.at_most);
        }
        event.get_type() == EventType::Noteon && event.get_data::<EvNote>().is_some_and(|note| note.velocity > 0)
    }
}

impl Sequencer {
    /// Reads what was played before, as long as it may come.
    pub(super) fn read_old(&mut self) {
        while let Some(until) = self.fresh.ends().max().filter(|until| *until > Instant::now()) {
            if self.has_more() || self.sleep(Some(until)) {
                self.read();
            }
        }
    }

    /// Sends the mark to ourselves where it is time for it.
    pub(super) fn mark_fresh(&mut self) {
        if self.fresh.devices.is_empty() {
            return;
        }
        let Sequencer { fresh, seq, client, announcements, .. } = self;
        fresh.mark(Instant::now(), || {
            let mut mark = Event::new(EventType::Usr1, &[0; 12]);
            mark.set_source(*announcements);
            mark.set_dest(Addr { client: *client, port: *announcements });
            mark.set_direct();
            deliver(seq, &mut mark).is_ok()
        });
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
        let mut fresh = Fresh::default();
        let source = note(1).get_source();
        fresh.connected(source, began);
        fresh.awaited();
        let late = began + Duration::from_secs(3);
        let mut sent = 0;
        fresh.mark(began + BEGINS / 2, || unreachable!("it is not over"));
        fresh.mark(late, || {
            sent += 1;
            true
        });
        fresh.mark(late, || unreachable!("one is enough"));
        assert_eq!((sent, fresh.is_old_at(&note(1), late), fresh.is_old_at(&note(0), late)), (1, true, false));
        fresh.marked();
        assert!(!fresh.is_old_at(&note(1), late) && fresh.devices.is_empty());
    }

    #[test]
    fn until_somebody_waits_all_is_old() {
        let began = Instant::now();
        let mut fresh = Fresh::default();
        let source = note(1).get_source();
        fresh.connected(source, began);
        let late = began + Duration::from_secs(3);
        fresh.mark(late, || unreachable!("nobody waits"));
        assert!(fresh.is_old_at(&note(1), late));
        fresh.awaited();
        fresh.mark(late, || true);
        assert!(fresh.is_old_at(&note(1), late));
        fresh.marked();
        assert!(!fresh.is_old_at(&note(1), late));
        fresh.connected(source, began);
        fresh.mark(late, || false);
        assert!(fresh.devices.is_empty(), "where the queue is full all that waits is lost");
    }

    #[test]
    fn a_device_that_was_connected_after_the_mark_stays() {
        let began = Instant::now();
        let mut fresh = Fresh::default();
        let source = note(1).get_source();
        fresh.awaited();
        fresh.connected(source, began);
        fresh.mark(began + BEGINS, || true);
        fresh.connected(source, began + BEGINS);
        fresh.marked();
        assert!(fresh.is_old_at(&note(1), began + BEGINS));
        fresh.lost(began + LONGEST);
        assert!(fresh.devices.is_empty());
    }
}
