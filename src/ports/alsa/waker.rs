//! How other threads end the wait: an event to ourselves, so that there is one thing to wait for and not two.

use std::io;
use std::os::fd::BorrowedFd;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use ::alsa::seq::{Addr, EventType};

use super::super::Waker;

/// Used by any thread, noticed by the one that waits.
pub(super) struct EventWaker {
    waker: Waker,
    woken: Arc<AtomicBool>,
}

impl EventWaker {
    /// `client` is the descriptor of our client, `port` one of its own ports that can be written to.
    pub(super) fn new(client: BorrowedFd<'_>, port: Addr) -> io::Result<Self> {
        let client = client.try_clone_to_owned()?;
        let event = event_to(port);
        let woken = Arc::new(AtomicBool::new(false));
        let mark = Arc::clone(&woken);
        let wake = move || {
            if !mark.swap(true, Ordering::SeqCst) {
                // It fails only where our queue is full: then the wait ends anyway, and the mark is seen.
                let _ = rustix::io::write(&client, &event);
            }
        };
        Ok(EventWaker { waker: Waker::new(wake), woken })
    }

    /// Whether somebody used it since the last call. Asked before every wait: the event only ends the wait that goes on.
    pub(super) fn take_woken(&self) -> bool {
        self.woken.load(Ordering::Relaxed) && self.woken.swap(false, Ordering::SeqCst)
    }

    pub(super) fn waker(&self) -> Waker {
        self.waker.clone()
    }
}

/// An event for direct delivery that says nothing, laid out as the kernel's `struct snd_seq_event`
/// (`include/uapi/sound/asequencer.h`): type, flags, tag, queue, eight bytes of time, source, destination, twelve
/// bytes of data. By hand, since alsa-lib's handle must stay on one thread.
fn event_to(port: Addr) -> [u8; 28] {
    const DIRECT: u8 = 253;
    let byte = |number: i32| u8::try_from(number).unwrap_or(0);
    let mut event = [0; 28];
    event[0] = EventType::Usr0 as u8;
    event[3] = DIRECT;
    event[14] = byte(port.client);
    event[15] = byte(port.port);
    event
}
