//! What the owner thread tells the others.

use std::cell::Cell;

use crossbeam_channel::{Receiver, Sender, bounded};

use super::Ended;
use crate::engine::{Notice, Standing};

/// Reports that may wait to be read.
const REPORTS: usize = 1024;

/// Something that happened in the performance.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Report {
    /// The engine noticed something; where the set stood then.
    Told(Notice, Standing),
    /// An input is gone; its notes have ended and its pedals are up.
    InputGone(usize),
    /// An input is back.
    InputBack(usize),
    /// An output is gone, or nobody listens to it any longer.
    OutputGone(usize),
    /// An output is back, or somebody has begun to listen; it has been set up.
    OutputBack(usize),
    /// The system lost messages on their way to us; all that was held has ended.
    Overrun,
    /// An output did not take a message.
    NotTaken(usize),
    /// The performance is over.
    Ended(Ended),
}

/// Gives reports without ever waiting; what does not fit is counted.
#[derive(Debug)]
pub struct Reports {
    sender: Sender<Report>,
    unheard: Cell<u64>,
}

impl Reports {
    pub(super) fn new() -> (Reports, Receiver<Report>) {
        let (sender, receiver) = bounded(REPORTS);
        (Reports { sender, unheard: Cell::new(0) }, receiver)
    }

    pub(super) fn give(&self, report: Report) {
        if self.sender.try_send(report).is_err() {
            self.unheard.set(self.unheard.get() + 1);
        }
    }

    pub(super) fn unheard(&self) -> u64 {
        self.unheard.get()
    }
}
