//! Waits that end in time where the system ends them late.
//!
//! Windows ends a wait with a limit at its next tick, up to 15.6 ms late; a sleep has a timer of its own there and is
//! right to half a millisecond, whatever the machine's tick. So a thread beside the waiting one sleeps until shortly
//! after the limit comes into reach, and ends the wait. Elsewhere waits are right by themselves, and there is none.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::thread::{self, JoinHandle};
use std::time::{Duration, Instant};

/// More than a wait with a limit may be late.
const NEAR: Duration = Duration::from_millis(32);
/// It sleeps so long at a time: a limit that is set meanwhile may be an earlier one.
const SLICE: Duration = Duration::from_millis(1);
/// No limit.
const NONE: u64 = u64::MAX;

/// Ends the waits of one thread. Dropping it ends its own.
#[derive(Debug)]
pub(super) struct Alarm {
    shared: Arc<SharedAlarm>,
    thread: Option<JoinHandle<()>>,
}

#[derive(Debug)]
struct SharedAlarm {
    began: Instant,
    /// The limit, in microseconds since then.
    at: AtomicU64,
    ended: AtomicBool,
}

impl Alarm {
    /// One that calls `ring` at a limit, where the system needs one and gives a thread.
    pub(super) fn where_needed(ring: impl Fn() + Send + 'static) -> Option<Alarm> {
        if cfg!(windows) { Alarm::new(ring) } else { None }
    }

    fn new(ring: impl Fn() + Send + 'static) -> Option<Alarm> {
        let shared = SharedAlarm { began: Instant::now(), at: AtomicU64::new(NONE), ended: AtomicBool::new(false) };
        let shared = Arc::new(shared);
        let own = Arc::clone(&shared);
        let thread = thread::Builder::new().name("alarm".to_owned()).spawn(move || own.attend(&ring)).ok()?;
        Some(Alarm { shared, thread: Some(thread) })
    }

    /// The limit of a wait that is to end at `deadline`: one that is far off ends before, and the next one with the
    /// alarm. Takes no lock and allocates nothing.
    pub(super) fn limit(&self, deadline: Instant) -> Instant {
        let left = deadline.saturating_duration_since(Instant::now());
        if left > NEAR {
            return deadline - NEAR;
        }
        let at = deadline.saturating_duration_since(self.shared.began).as_micros();
        self.shared.at.store(u64::try_from(at).unwrap_or(NONE), Ordering::SeqCst);
        self.unpark();
        deadline
    }

    fn unpark(&self) {
        self.thread.iter().for_each(|thread| thread.thread().unpark());
    }
}

impl SharedAlarm {
    fn attend(&self, ring: &dyn Fn()) {
        while !self.ended.load(Ordering::SeqCst) {
            let at = self.at.load(Ordering::SeqCst);
            if at == NONE {
                thread::park();
                continue;
            }
            let left = Duration::from_micros(at).saturating_sub(self.began.elapsed());
            if !left.is_zero() {
                thread::sleep(left.min(SLICE));
            } else if self.at.compare_exchange(at, NONE, Ordering::SeqCst, Ordering::SeqCst).is_ok() {
                ring();
            }
        }
    }
}

impl Drop for Alarm {
    fn drop(&mut self) {
        self.shared.ended.store(true, Ordering::SeqCst);
        self.unpark();
        // Who rings may be the last who holds it.
        if let Some(thread) = self.thread.take().filter(|thread| thread.thread().id() != thread::current().id()) {
            let _ = thread.join();
        }
    }
}

#[cfg(test)]
mod tests {
    use crossbeam_channel::bounded;

    use super::*;

    #[test]
    fn it_rings_once_for_the_last_limit_and_not_before_it() {
        let (ring, rung) = bounded(8);
        let ringing = move || {
            let _ = ring.send(Instant::now());
        };
        let alarm = Alarm::new(ringing).unwrap();
        let now = Instant::now();
        let (later, sooner) = (now + NEAR, now + NEAR / 2);
        assert_eq!(alarm.limit(later), later);
        assert_eq!(alarm.limit(sooner), sooner);
        let at: Instant = rung.recv().unwrap();
        assert!(at >= sooner);
        let far = Instant::now() + 100 * NEAR;
        assert_eq!(alarm.limit(far), far - NEAR, "the wait itself comes near");
        // The one that was replaced does not ring either; when the alarm has ended, nothing can.
        while Instant::now() < later {
            thread::sleep(SLICE);
        }
        drop(alarm);
        assert!(rung.recv().is_err());
    }
}
