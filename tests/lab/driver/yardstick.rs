//! What time is in the lab.
//!
//! A machine that has other work to do is slow, and that is no fault. So nothing is given a number of seconds here: whoever
//! waits does so in beats, and a beat takes as long as the machine takes for it then and there. A deadline that is
//! written down as a duration is turned into beats, as many as fit into it where nothing else goes on.

use std::sync::{Mutex, MutexGuard, OnceLock, PoisonError};
use std::thread;
use std::time::{Duration, Instant};

use alsa::Seq;
use alsa::seq::{Addr, Event, EventType};

use crate::sequencer::{ear, sleep};

/// What a beat takes beside its round trip.
const REST: Duration = Duration::from_millis(2);
/// Only a failure takes so long, where the system itself waits and nobody can count beats.
pub const LONG: Duration = Duration::from_secs(60);

/// A number of beats: each is two milliseconds of sleep and a round trip, from this thread to another one and back, through
/// the kernel's wire.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub struct Beats(u32);

impl Beats {
    /// So many as fit into a time where the machine does nothing else.
    pub fn within(time: Duration) -> Self {
        Beats(u32::try_from(time.as_micros() / REST.as_micros()).unwrap_or(u32::MAX))
    }

    /// Waits until something holds, asking at every beat; says after how many it did, or nothing if these were too few.
    pub fn until(self, mut holds: impl FnMut() -> bool) -> Option<Beats> {
        for passed in 0..=self.0 {
            if holds() {
                return Some(Beats(passed));
            }
            beat();
        }
        None
    }

    /// How often so many go into them.
    pub fn times(self, each: u32) -> u32 {
        self.0 / each
    }

    /// Lets them pass.
    pub fn pass(self) {
        (0..self.0).for_each(|_| beat());
    }
}

/// Waits for a beat.
pub fn beat() {
    thread::sleep(REST);
    wire().round_trip();
}

/// How long a round trip takes at this moment: the slowest of fifty.
pub fn round_trip() -> Duration {
    let wire = wire();
    let trips = (0..50).map(|_| {
        let since = Instant::now();
        wire.round_trip();
        since.elapsed()
    });
    trips.max().unwrap_or_default()
}

/// Two clients, of which the other one sends back whatever it gets.
struct Wire {
    seq: Seq,
    port: i32,
    other: Addr,
}

impl Wire {
    fn new() -> Result<Self, String> {
        let client = |seq: &Seq| seq.client_id().map_err(|error| error.to_string());
        let (seq, port, _) = ear("lab yardstick", "near")?;
        let (far, its_port, _) = ear("lab yardstick", "far")?;
        let near = Addr { client: client(&seq)?, port };
        let other = Addr { client: client(&far)?, port: its_port };
        thread::spawn(move || {
            loop {
                sleep(&far, -1);
                while far.input().event_input().is_ok() {
                    send(&far, its_port, near);
                }
            }
        });
        Ok(Wire { seq, port, other })
    }

    fn round_trip(&self) {
        send(&self.seq, self.port, self.other);
        while self.seq.input().event_input().is_err() {
            sleep(&self.seq, -1);
        }
    }
}

fn send(seq: &Seq, from: i32, to: Addr) {
    let mut event = Event::new(EventType::Usr0, &[0_u8; 12]);
    event.set_source(from);
    event.set_dest(to);
    event.set_direct();
    let _ = seq.event_output_direct(&mut event);
}

/// The wire, one for all threads; they measure one after the other.
fn wire() -> MutexGuard<'static, Wire> {
    static WIRE: OnceLock<Mutex<Wire>> = OnceLock::new();
    let wire = WIRE.get_or_init(|| Mutex::new(Wire::new().expect("the sequencer gives no yardstick")));
    wire.lock().unwrap_or_else(PoisonError::into_inner)
}
