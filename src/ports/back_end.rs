//! What every back end gives: one interface to the system's ports.

use std::fmt;
use std::sync::Arc;
use std::time::Duration;

use super::error::SendFault;
use super::port::Connection;

/// Which back end gives the system's ports.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Backend {
    /// The system's own: the ALSA sequencer on Linux, elsewhere the same as [`Backend::Portable`].
    #[default]
    System,
    /// midir, the same everywhere, and able to do less: see [`Capabilities`].
    Portable,
}

/// What not every back end can do.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Capabilities {
    /// It notices that others connect something to our ports, and connects it again when it comes back.
    pub knows_connections: bool,
    /// It receives system exclusive messages. All can send them.
    pub receives_exclusive: bool,
    /// It can make ports of its own that other programs connect to.
    pub virtual_ports: bool,
}

/// What ended a wait.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Arrival<'a> {
    /// One whole message with its status byte, from an input.
    Message {
        /// Number of the input.
        input: usize,
        /// The message.
        bytes: &'a [u8],
    },
    /// An input's port is gone.
    InputDisconnected(usize),
    /// An input's port is connected again.
    InputBack(usize),
    /// An output's port is gone, or the last program has stopped listening to our virtual port.
    OutputDisconnected(usize),
    /// An output's port is connected again, or a program has begun to listen to our virtual port, after nobody did.
    OutputBack(usize),
    /// One more program has begun to listen to an output.
    OutputJoined(usize),
    /// An input's port is there again and cannot be opened, mostly because another program has it. It is tried again;
    /// this is told once.
    InputHeld(usize),
    /// The same for an output's port.
    OutputHeld(usize),
    /// Arrived messages were lost; anything of any input may be missing. The portable back end cannot always notice.
    Overrun,
    /// Somebody used the [`Waker`].
    Woken,
    /// Nothing arrived in the time given.
    Quiet,
}

/// The open ports of one gear file. Dropping it closes them.
pub trait Ports: Send {
    /// Waits until something arrives, or for `timeout` (`None`: for ever). What has already arrived is
    /// given one by one, in order, without waiting. Allocates nothing while messages of up to three bytes arrive.
    fn wait(&mut self, timeout: Option<Duration>) -> Arrival<'_>;

    /// Sends one whole message with its status byte, at once. Never blocks, and allocates nothing for messages
    /// of up to three bytes. A send that fails concerns this output alone, and is not tried again.
    ///
    /// # Errors
    /// [`SendFault::Full`] where a listener did not take it (others may have; where the back end can, what ends a note
    /// or lifts a pedal is kept for that listener and is no error), [`SendFault::NotConnected`] where
    /// the output's port is not connected, [`SendFault::NotAMessage`] where the bytes are not exactly one message that
    /// can be sent.
    fn send(&mut self, output: usize, bytes: &[u8]) -> Result<(), SendFault>;

    /// A handle with which another thread ends [`Ports::wait`].
    fn waker(&self) -> Waker;

    /// Whether an input has a port to listen to at present.
    fn input_connected(&self, input: usize) -> bool;

    /// Whether an output can be sent to at present: its port is connected, or it is virtual.
    fn output_available(&self, output: usize) -> bool;

    /// The connections that others made with our ports and that stand now, and those that are to be made again when
    /// the other side comes back; to be given to [`Wish::remembered`](super::Wish::remembered) by the next run. They change before
    /// [`Arrival::OutputBack`], [`Arrival::OutputDisconnected`], [`Arrival::InputBack`] or [`Arrival::InputDisconnected`] is given,
    /// and when somebody takes a connection away while others remain, which is not reported.
    fn connections(&self) -> Vec<Connection>;

    /// How many messages were shed so far because they came faster than they were read, by us or by a listener:
    /// controllers before notes, never the end of a note or a pedal that comes up.
    fn dropped_overload(&self) -> u64;

    /// How many messages were thrown away so far because they were too long, cut short or malformed, or began a note
    /// that was played before anybody listened.
    fn dropped(&self) -> u64;

    /// Which of the optional abilities this back end has.
    fn capabilities(&self) -> Capabilities;
}

/// Makes [`Ports::wait`] return [`Arrival::Woken`] soon, from any thread. Waking several times before the wait
/// returns counts once, so whatever the wake is about must be looked up again after each.
#[derive(Clone)]
pub struct Waker(Arc<dyn Fn() + Send + Sync>);

impl Waker {
    /// Ends the wait by calling `wake`.
    pub(super) fn new(wake: impl Fn() + Send + Sync + 'static) -> Waker {
        Waker(Arc::new(wake))
    }

    /// Ends the wait.
    pub fn wake(&self) {
        (self.0)();
    }
}

impl fmt::Debug for Waker {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Waker")
    }
}
