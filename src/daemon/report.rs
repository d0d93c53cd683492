//! What the owner thread tells the others.

use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Duration;

use crossbeam_channel::{Receiver, Sender, bounded};

use super::{Ended, Show};
use crate::engine::{Notice, Standing};
use crate::ports::Connection;

/// Reports that may wait to be read.
const REPORTS: usize = 1024;

/// How long the last report waits for room.
const LAST_WAIT: Duration = Duration::from_secs(1);

/// Something that happened in the performance.
#[derive(Debug, Clone)]
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
    /// An output was silenced, because an earlier run was broken off and may have left notes there.
    Silenced(usize),
    /// Who is connected to our ports by others' doing, and who was and is away.
    Connections(Arc<Vec<Connection>>),
    /// The system lost messages on their way to us; all that was held has ended.
    Overrun,
    /// An output did not take a message.
    NotTaken(usize),
    /// Saved maps came into force; numbers in later reports are theirs.
    Maps(Arc<Show>),
    /// Saved maps have errors, each put into words, or ask for other ports; the old ones stay in force.
    MapsRefused(Arc<Vec<String>>),
    /// Changes that were made to the set this evening, and that no longer fit the saved maps: each in a sentence.
    ChangesDropped(Arc<Vec<String>>),
    /// The engine failed and was built anew: all notes ended, the set goes on where it stood.
    Rebuilt,
    /// The performance is over.
    Ended(Ended),
}

/// Gives reports to all who listen, without ever waiting; what does not fit is counted.
#[derive(Debug, Clone, Default)]
pub struct Reports {
    listeners: Vec<Sender<Report>>,
    unheard: Arc<AtomicU64>,
}

impl Reports {
    /// One more who listens.
    pub(super) fn listen(&mut self) -> Receiver<Report> {
        let (sender, receiver) = bounded(REPORTS);
        self.listeners.push(sender);
        receiver
    }

    pub(super) fn give(&self, report: &Report) {
        for listener in &self.listeners {
            if listener.try_send(report.clone()).is_err() {
                self.unheard.fetch_add(1, Ordering::Relaxed);
            }
        }
    }

    /// The last report: nothing is played any longer, so this one waits a little for whoever is behind.
    pub(super) fn give_last(&self, report: &Report) {
        for listener in &self.listeners {
            let _ = listener.send_timeout(report.clone(), LAST_WAIT);
        }
    }

    /// How many reports were dropped because somebody did not fetch them in time.
    #[must_use]
    pub fn unheard(&self) -> u64 {
        self.unheard.load(Ordering::Relaxed)
    }
}
