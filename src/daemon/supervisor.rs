//! The service manager: told when the set is entered, where it stands, that the owner is alive, and that it ends.
//!
//! Alive means: woken, the owner has gone round its loop. It sleeps without a limit while nothing happens, so it is
//! woken for the question; one that is stuck does not answer, the service manager hears nothing and starts it again.

use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::thread;
use std::time::{Duration, Instant};

use crossbeam_channel::{Receiver, RecvTimeoutError, Sender, bounded};

/// How often the owner has gone round its loop.
#[derive(Debug, Clone, Default)]
pub struct Heartbeat(Arc<AtomicU64>);

impl Heartbeat {
    /// Once more round the loop.
    pub fn beat(&self) {
        self.0.fetch_add(1, Ordering::Relaxed);
    }

    /// How often so far.
    #[must_use]
    pub fn count(&self) -> u64 {
        self.0.load(Ordering::Relaxed)
    }
}

/// What a look at the heartbeat says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Liveness {
    /// The owner had too little time to answer.
    Early,
    /// The owner has moved since the last look.
    Alive,
    /// The owner was asked and has not moved.
    Stuck,
}

/// Judges from counts and times alone whether the owner lives.
#[derive(Debug, Clone)]
pub struct LivenessCheck {
    every: Duration,
    /// Count and time of the last look that was not early.
    last: (u64, Duration),
}

impl LivenessCheck {
    /// A check for a service manager that waits so long for a sign of life; the owner's count and the time now.
    #[must_use]
    pub fn new(patience: Duration, count: u64, now: Duration) -> LivenessCheck {
        // The manual of sd_watchdog_enabled asks for a sign every half of the time; an answer may take as long as the
        // time from look to look, so it is a quarter.
        LivenessCheck { every: patience / 4, last: (count, now) }
    }

    /// Looks at the owner's count. After every look that is not early the owner is to be woken, so that it can answer
    /// before the next one.
    pub fn look(&mut self, count: u64, now: Duration) -> Liveness {
        let (before, then) = self.last;
        if now.saturating_sub(then) < self.every {
            return Liveness::Early;
        }
        self.last = (count, now);
        if count == before { Liveness::Stuck } else { Liveness::Alive }
    }

    /// How long it is until the next look that is not early.
    #[must_use]
    pub fn rest(&self, now: Duration) -> Duration {
        (self.last.1 + self.every).saturating_sub(now)
    }
}

/// Something that the service manager is told.
#[derive(Debug, Clone, PartialEq, Eq)]
enum ServiceMessage {
    /// The set has been entered on open ports.
    Ready,
    /// Where it stands, in plain words.
    Status(String),
    /// A sign of life.
    Alive,
    /// It ends.
    Stopping,
}

/// Tells the service manager how it goes, from a thread of its own.
#[derive(Debug)]
pub struct Supervisor {
    says: Sender<ServiceMessage>,
    /// Gone when everything has been told.
    told: Receiver<()>,
    ready: bool,
}

/// States that may wait to be told.
const WAITING: usize = 64;

/// At the end the service manager gets so long to listen.
const PATIENCE: Duration = Duration::from_secs(1);

impl Supervisor {
    /// Begins to tell, if a service manager started us and wants to be told; `wake` makes the owner of `heartbeat` go
    /// round its loop.
    #[must_use]
    pub fn begin(heartbeat: Heartbeat, wake: impl Fn() + Send + 'static) -> Option<Supervisor> {
        let patience = system::wanted()?;
        let (says, waiting) = bounded(WAITING);
        let (alive, told) = bounded::<()>(0);
        let tell = move || {
            let _alive = alive;
            attend(&waiting, patience, &heartbeat, &wake, &mut system::notify);
        };
        thread::Builder::new().name("service".to_owned()).spawn(tell).ok()?;
        Some(Supervisor { says, told, ready: false })
    }

    /// Where the set stands, in plain words; the first time, that it has been entered.
    pub fn stands(&mut self, words: &str) {
        // A line is the unit of what is told; titles may hold anything.
        let words = words.replace(char::is_control, " ");
        if !self.ready {
            self.ready = self.says.try_send(ServiceMessage::Ready).is_ok();
        }
        let _ = self.says.try_send(ServiceMessage::Status(words));
    }

    /// The end has begun; returns when that has been told.
    pub fn stopping(self) {
        let _ = self.says.send_timeout(ServiceMessage::Stopping, PATIENCE);
        drop(self.says);
        let _ = self.told.recv_timeout(PATIENCE);
    }
}

/// Tells what is to be told and, where somebody waits for signs of life, gives them.
fn attend(
    waiting: &Receiver<ServiceMessage>,
    patience: Option<Duration>,
    heartbeat: &Heartbeat,
    wake: &dyn Fn(),
    tell: &mut dyn FnMut(&ServiceMessage),
) {
    let began = Instant::now();
    let mut watch = patience.map(|patience| LivenessCheck::new(patience, heartbeat.count(), began.elapsed()));
    wake();
    loop {
        let said = match &watch {
            Some(watch) => waiting.recv_timeout(watch.rest(began.elapsed())),
            None => waiting.recv().map_err(|_| RecvTimeoutError::Disconnected),
        };
        match said {
            Ok(say) => tell(&say),
            Err(RecvTimeoutError::Timeout) => {}
            Err(RecvTimeoutError::Disconnected) => return,
        }
        let verdict = watch.as_mut().map(|watch| watch.look(heartbeat.count(), began.elapsed()));
        if verdict == Some(Liveness::Alive) {
            tell(&ServiceMessage::Alive);
        }
        if matches!(verdict, Some(Liveness::Alive | Liveness::Stuck)) {
            wake();
        }
    }
}

#[cfg(target_os = "linux")]
mod system {
    //! systemd's protocol: a datagram to the socket that the environment names.

    use std::time::Duration;

    use sd_notify::NotifyState;

    use super::ServiceMessage;

    /// Whether somebody wants to be told; and how long it waits for signs of life, if it wants them.
    pub fn wanted() -> Option<Option<Duration>> {
        std::env::var_os("NOTIFY_SOCKET")?;
        Some(sd_notify::watchdog_enabled().filter(|patience| !patience.is_zero()))
    }

    /// A service manager that does not listen is its own affair.
    pub fn notify(say: &ServiceMessage) {
        let state = match say {
            ServiceMessage::Ready => NotifyState::Ready,
            ServiceMessage::Status(words) => NotifyState::Status(words),
            ServiceMessage::Alive => NotifyState::Watchdog,
            ServiceMessage::Stopping => NotifyState::Stopping,
        };
        let _ = sd_notify::notify(&[state]);
    }
}

#[cfg(not(target_os = "linux"))]
mod system {
    //! Nobody who wants to be told.

    use std::time::Duration;

    use super::ServiceMessage;

    pub fn wanted() -> Option<Option<Duration>> {
        None
    }

    pub fn notify(_: &ServiceMessage) {}
}

#[cfg(test)]
mod tests {
    use std::cell::{Cell, RefCell};

    use super::*;

    const fn ms(count: u64) -> Duration {
        Duration::from_millis(count)
    }

    #[test]
    fn who_moves_lives_and_who_does_not_is_stuck() {
        let mut watch = LivenessCheck::new(ms(400), 7, ms(1_000));
        assert_eq!(watch.rest(ms(1_000)), ms(100));
        assert_eq!(watch.look(8, ms(1_099)), Liveness::Early);
        assert_eq!(watch.look(8, ms(1_100)), Liveness::Alive);
        assert_eq!(watch.look(8, ms(1_150)), Liveness::Early);
        assert_eq!(watch.rest(ms(1_150)), ms(50));
        assert_eq!(watch.look(8, ms(1_200)), Liveness::Stuck);
        assert_eq!(watch.look(8, ms(1_300)), Liveness::Stuck, "and stays so");
        assert_eq!(watch.look(9, ms(1_400)), Liveness::Alive, "until it moves");
        assert_eq!(watch.look(9, ms(9_000)), Liveness::Stuck);
        assert_eq!(watch.rest(ms(9_999)), ms(0));
        // Counters may wrap; time that stands still is early.
        assert_eq!(watch.look(0, ms(9_100)), Liveness::Alive);
        assert_eq!(watch.look(1, ms(9_100)), Liveness::Early);
    }

    /// What is told while an owner is woken so many times; `answer` is what the owner does when it is.
    fn told(patience: Option<Duration>, wakes: u32, answer: &dyn Fn(&Heartbeat)) -> Vec<ServiceMessage> {
        let heartbeat = Heartbeat::default();
        let told = RefCell::new(Vec::new());
        let woken = Cell::new(0);
        let (sender, waiting) = bounded(8);
        sender.send(ServiceMessage::Ready).unwrap();
        let sender = RefCell::new(Some(sender));
        let wake = || {
            answer(&heartbeat);
            woken.set(woken.get() + 1);
            if woken.get() == wakes
                && let Some(sender) = sender.take()
            {
                sender.send(ServiceMessage::Stopping).unwrap();
            }
        };
        attend(&waiting, patience, &heartbeat, &wake, &mut |say| told.borrow_mut().push(say.clone()));
        told.into_inner()
    }

    #[test]
    fn an_owner_that_answers_gives_signs_of_life() {
        let told = told(Some(ms(8)), 4, &Heartbeat::beat);
        assert_eq!((told.first(), told.last()), (Some(&ServiceMessage::Ready), Some(&ServiceMessage::Stopping)));
        assert!(told.iter().filter(|say| **say == ServiceMessage::Alive).count() >= 3, "{told:?}");
    }

    #[test]
    fn an_owner_that_is_stuck_gives_none() {
        assert_eq!(told(Some(ms(8)), 6, &|_| ()), [ServiceMessage::Ready, ServiceMessage::Stopping]);
    }

    #[test]
    fn nobody_gives_signs_of_life_where_nobody_waits_for_it() {
        assert_eq!(told(None, 1, &Heartbeat::beat), [ServiceMessage::Ready, ServiceMessage::Stopping]);
    }
}
