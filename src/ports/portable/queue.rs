//! The queue between midir's threads and ours.
//!
//! Where it fills because we are kept busy, it sheds what hurts least: first controllers, bends, pressures and clock,
//! then notes that begin. Ends of notes and pedals that come up always get the last places.

use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

use crossbeam_channel::{Receiver, Sender, bounded};

use crate::ports::priority::Priority;

/// Messages that wait; more than a controller sends while we are kept busy.
const PLACES: usize = 8192;

/// One message on its way from midir's thread, or nothing but a wake-up.
#[derive(Debug, PartialEq, Eq)]
pub(super) enum Item {
    Message { input: usize, bytes: [u8; 3], length: usize },
    Wake,
}

/// The end of the queue where things are put in.
#[derive(Clone)]
pub(super) struct Queue {
    sender: Sender<Item>,
    places: usize,
    shed: Arc<AtomicU64>,
}

impl Queue {
    pub(super) fn new() -> (Self, Receiver<Item>) {
        Queue::of(PLACES)
    }

    fn of(places: usize) -> (Self, Receiver<Item>) {
        let (sender, receiver) = bounded(places);
        (Queue { sender, places, shed: Arc::default() }, receiver)
    }

    /// Puts a message in, or sheds it. False where something is lost that must not be.
    pub(super) fn put(&self, input: usize, message: &[u8]) -> bool {
        let priority = Priority::of(message);
        let limit = match priority {
            Priority::Other => self.places / 4 * 3,
            Priority::NoteOn => self.places / 8 * 7,
            Priority::Release => self.places,
        };
        let mut bytes = [0; 3];
        let Some(place) = bytes.get_mut(..message.len()) else { return true };
        place.copy_from_slice(message);
        let item = Item::Message { input, bytes, length: message.len() };
        if self.sender.len() < limit && self.sender.try_send(item).is_ok() {
            return true;
        }
        self.shed.fetch_add(u64::from(priority != Priority::Release), Ordering::Relaxed);
        priority != Priority::Release
    }

    /// Ends the wait of whoever reads; a full queue does so as well.
    pub(super) fn wake(&self) {
        let _ = self.sender.try_send(Item::Wake);
    }

    /// How many messages were shed so far.
    pub(super) fn shed(&self) -> u64 {
        self.shed.load(Ordering::Relaxed)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn controllers_are_shed_before_notes_and_ends_of_notes_never() {
        let (queue, arrived) = Queue::of(16);
        for _ in 0..20 {
            assert!(queue.put(0, &[0xB0, 1, 1]));
        }
        assert_eq!((arrived.len(), queue.shed()), (12, 8));
        for _ in 0..20 {
            assert!(queue.put(0, &[0x90, 60, 1]));
        }
        assert_eq!((arrived.len(), queue.shed()), (14, 26));
        assert!(queue.put(0, &[0x80, 60, 1]));
        assert!(queue.put(0, &[0xB0, 64, 0]));
        assert!(!queue.put(0, &[0x90, 60, 0]), "what must not be lost is, so it is told");
        assert_eq!((arrived.len(), queue.shed()), (16, 26));
    }
}
