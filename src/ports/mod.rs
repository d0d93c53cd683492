//! The platform's MIDI ports: opening them, waiting for what arrives, sending, and noticing that they come and go.
//!
//! Three back ends, alike: the ALSA sequencer, midir (the portable one), and ports in memory for tests.
//! This module knows bytes and names of ports; what the bytes mean for the music is the engine's business.

mod alarm;
#[cfg(target_os = "linux")]
mod alsa;
mod back_end;
mod error;
mod identity;
mod input_queue;
mod matching;
pub mod memory;
mod message;
mod peers;
mod port;
mod portable;
mod remembered;
mod table;
mod wish;

pub use back_end::{Arrival, Backend, Capabilities, Ports, Waker};
pub use error::{Fault, PortsError, SendFault};
pub use matching::{Match, look_up};
pub use port::{CLIENT, Connection, Direction, FoundPort};
pub use wish::{InputWish, OutputWish, Target, Wish};

/// Opens all ports that a gear file wants. Optional ports that are not connected are taken up when they come.
///
/// # Errors
/// All faults at once: ports that are missing, names that fit two, a system without MIDI.
pub fn open(backend: Backend, wish: &Wish) -> Result<Box<dyn Ports>, PortsError> {
    match backend {
        #[cfg(target_os = "linux")]
        Backend::System => Ok(Box::new(alsa::Sequencer::open(wish)?)),
        _ => Ok(Box::new(portable::Portable::open(wish)?)),
    }
}

/// What a back end can do on this system, whether or not it has MIDI at present.
#[must_use]
pub fn capabilities(backend: Backend) -> Capabilities {
    match backend {
        #[cfg(target_os = "linux")]
        Backend::System => alsa::CAPABILITIES,
        _ => portable::CAPABILITIES,
    }
}

/// The ports that the system has now, inputs first, without the system's own timer and announcements.
///
/// # Errors
/// A system without MIDI, or one that does not let us see.
pub fn list(backend: Backend) -> Result<Vec<FoundPort>, PortsError> {
    match backend {
        #[cfg(target_os = "linux")]
        Backend::System => alsa::list(),
        _ => portable::list(),
    }
}
