//! How other threads reach the owner.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use crossbeam_channel::{Receiver, Sender, bounded};

use super::Relief;
use crate::engine::Action;
use crate::ports::Waker;

/// Commands that may wait for the owner; more than a person can give before it looks.
pub(super) const COMMANDS: usize = 64;

/// Something said to the owner from another thread.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Command {
    /// Something done to the set.
    Action(Action),
    /// Turns the zone of this number, from 0, in the current song the other way.
    TurnZone(usize),
}

/// Reaches the owner from any thread, without waiting for it.
#[derive(Debug, Clone)]
pub struct Remote {
    commands: Sender<Command>,
    reliefs: Sender<Box<Relief>>,
    relieved: Receiver<Box<Relief>>,
    stop: Arc<AtomicBool>,
    waker: Waker,
}

/// The owner's end of its remotes.
pub(super) struct Desk {
    pub commands: Receiver<Command>,
    pub reliefs: Receiver<Box<Relief>>,
    /// Takes what is no longer played back to whoever brought the relief.
    pub relieved: Sender<Box<Relief>>,
    stop: Arc<AtomicBool>,
}

impl Desk {
    /// Whether the performance is to end.
    pub fn is_to_stop(&self) -> bool {
        self.stop.load(Ordering::Acquire)
    }
}

impl Remote {
    pub(super) fn new(waker: Waker) -> (Remote, Desk) {
        let (command_sender, commands) = bounded(COMMANDS);
        let (relief_sender, reliefs) = bounded(1);
        let (relieved_sender, relieved) = bounded(1);
        let stop = Arc::new(AtomicBool::new(false));
        let desk = Desk { commands, reliefs, relieved: relieved_sender, stop: Arc::clone(&stop) };
        (Remote { commands: command_sender, reliefs: relief_sender, relieved, stop, waker }, desk)
    }

    /// Gives a command. Says whether it was taken: it is not where many wait already.
    pub fn give(&self, command: Command) -> bool {
        let taken = self.commands.try_send(command).is_ok();
        self.waker.wake();
        taken
    }

    /// Hands over maps to come into force. Returns when they have, with whether they did; they do not where the
    /// performance has ended. What was played before is freed here, in the caller's thread.
    pub(super) fn relieve(&self, relief: Box<Relief>) -> bool {
        if self.reliefs.send(relief).is_err() {
            return false;
        }
        self.waker.wake();
        self.relieved.recv().is_ok()
    }

    /// Makes the owner go round its loop once.
    pub fn wake(&self) {
        self.waker.wake();
    }

    /// Ends the performance; never lost.
    pub fn stop(&self) {
        self.stop.store(true, Ordering::Release);
        self.waker.wake();
    }
}
