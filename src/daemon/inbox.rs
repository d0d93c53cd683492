//! The owner's inbox: one bounded queue, read in the order in which it was filled.
//!
//! Everybody else holds a [`Remote`], which puts requests in and wakes the owner. What the owner sends back, an outcome
//! or maps that are no longer played, goes through a queue of its own with room for it.

use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::thread;
use std::time::{Duration, Instant};

use crossbeam_channel::{Receiver, Sender, bounded};

use super::{Happened, PreparedMaps, Show};
use crate::engine::{Action, Notice, Snapshot};
use crate::ports::Waker;

/// Commands that may wait for the owner; more than a person can give before it looks.
pub(super) const COMMANDS: usize = 64;
/// Messages of the page's keyboard that may wait for the owner; more than ten fingers play before it looks.
const PLAYED: usize = 256;
/// Requests that may wait. The page's keyboard cannot fill it, so there is always room for a panic.
const REQUESTS: usize = PLAYED + COMMANDS;
/// How long a request that must not be lost waits for room before it looks again.
const FULL_WAIT: Duration = Duration::from_millis(2);

/// The owner gets so long to answer; it needs some microseconds.
const PATIENCE: Duration = Duration::from_secs(2);

/// The most notices that are remembered of one step.
const MOST_NOTICES: usize = 16;

/// Something that the owner is to do.
#[derive(Debug)]
pub(super) enum Request {
    Instruction(Instruction),
    /// A message of three bytes that counts as an input's, and did not come through its port.
    Play {
        input: usize,
        bytes: [u8; 3],
    },
    /// An action whose outcome somebody waits for.
    Ask(Question),
    /// Maps that are to be loaded.
    Load(Box<PreparedMaps>),
    /// Something that another thread wants everybody to hear.
    Tell(Happened),
}

/// Something said to the owner from another thread.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Instruction {
    /// Something done to the set.
    Action(Action),
    /// Turns the zone of this number, from 0, in the current song the other way.
    TurnZone(usize),
}

/// What the engine noticed in one step, without a heap.
#[derive(Debug, Clone, Copy)]
pub struct Noticed {
    list: [Notice; MOST_NOTICES],
    count: usize,
}

impl Default for Noticed {
    fn default() -> Self {
        Noticed { list: [Notice::NothingThere; MOST_NOTICES], count: 0 }
    }
}

impl Noticed {
    /// One more; what does not fit is left out.
    pub(super) fn add(&mut self, notice: Notice) {
        if let Some(free) = self.list.get_mut(self.count) {
            *free = notice;
            self.count += 1;
        }
    }

    /// All of them in order.
    #[must_use]
    pub fn all(&self) -> &[Notice] {
        &self.list[..self.count]
    }
}

/// An action whose outcome somebody waits for.
#[derive(Debug, Clone, Copy)]
pub(super) struct Question {
    pub action: Action,
    number: u64,
}

/// What came of an action.
#[derive(Debug, Clone, Copy)]
pub struct StepOutcome {
    /// What the engine noticed.
    pub noticed: Noticed,
    /// What it knows now.
    pub snapshot: Snapshot,
    number: u64,
}

impl Question {
    pub fn answered(&self, noticed: Noticed, snapshot: Snapshot) -> StepOutcome {
        StepOutcome { noticed, snapshot, number: self.number }
    }
}

/// Why the outcome of an action is not known.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Unasked<E> {
    /// The words are no action of the set that is played.
    #[error("{0}")]
    Unread(E),
    /// The owner did not answer in time.
    #[error("the performance does not answer: it is stuck or about to end")]
    Silent,
}

/// What became of maps that were handed over.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Handed {
    /// They are loaded.
    Loaded,
    /// Others were loaded since these were prepared, and these are not: prepare them again.
    Overtaken,
    /// The performance has ended.
    Ended,
}

/// What all remotes of an owner share; whoever holds it is alone in changing what is played.
#[derive(Debug)]
struct Turn {
    show: Arc<Show>,
    asked: u64,
}

/// Reaches the owner from any thread, without waiting for it unless an outcome is wanted.
#[derive(Debug, Clone)]
pub struct Remote {
    requests: Sender<Request>,
    answers: Receiver<StepOutcome>,
    replaced: Receiver<Box<PreparedMaps>>,
    turn: Arc<Mutex<Turn>>,
    stop: Arc<AtomicBool>,
    waker: Waker,
}

/// The owner's end. It shares no lock with its remotes.
pub(super) struct Inbox {
    requests: Receiver<Request>,
    /// Takes an outcome back to whoever asked, if there is room.
    pub answers: Sender<StepOutcome>,
    /// Takes what is no longer played back to whoever brought the new maps.
    pub replaced: Sender<Box<PreparedMaps>>,
    stop: Arc<AtomicBool>,
}

impl Inbox {
    /// An inbox and the first remote to it.
    pub fn new(waker: Waker, show: Arc<Show>) -> (Remote, Inbox) {
        let (sender, requests) = bounded(REQUESTS);
        // One more than questions: an answer that came too late for who asked must not be in the next one's way.
        let (answer_sender, answers) = bounded(2);
        let (replaced_sender, replaced) = bounded(1);
        let stop = Arc::new(AtomicBool::new(false));
        let turn = Arc::new(Mutex::new(Turn { show, asked: 0 }));
        let inbox = Inbox { requests, answers: answer_sender, replaced: replaced_sender, stop: Arc::clone(&stop) };
        (Remote { requests: sender, answers, replaced, turn, stop, waker }, inbox)
    }

    /// The next request. Neither waits nor allocates.
    pub fn take(&self) -> Option<Request> {
        self.requests.try_recv().ok()
    }

    /// Whether the performance is to end.
    pub fn is_to_stop(&self) -> bool {
        self.stop.load(Ordering::Acquire)
    }
}

impl Remote {
    fn turn(&self) -> MutexGuard<'_, Turn> {
        self.turn.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// What is played.
    #[must_use]
    pub fn show(&self) -> Arc<Show> {
        Arc::clone(&self.turn().show)
    }

    /// Puts a request in where fewer than `most` wait.
    fn put(&self, request: Request, most: usize) -> bool {
        let taken = self.requests.len() < most && self.requests.try_send(request).is_ok();
        self.waker.wake();
        taken
    }

    /// Puts a request in that must not be lost; false where the performance has ended.
    fn put_surely(&self, mut request: Request) -> bool {
        loop {
            match self.requests.try_send(request) {
                Ok(()) => break self.waker.wake(),
                Err(error) if error.is_disconnected() => return false,
                Err(error) => request = error.into_inner(),
            }
            thread::sleep(FULL_WAIT);
        }
        true
    }

    /// Gives an instruction. Says whether it was taken: it is not where many requests wait already.
    pub fn give(&self, instruction: Instruction) -> bool {
        self.put(Request::Instruction(instruction), REQUESTS)
    }

    /// Plays a message of three bytes, a note or a controller, as if it had come through the port of an input. Says whether
    /// it was taken: it is not where many wait already, and then may be the end of a note, so try again.
    pub fn play(&self, input: usize, bytes: [u8; 3]) -> bool {
        self.put(Request::Play { input, bytes }, PLAYED)
    }

    /// Has everybody hear that saved maps were refused, or that changes no longer fit.
    pub(super) fn tell(&self, what: Happened) {
        self.put_surely(Request::Tell(what));
    }

    /// Has an action done and waits for its outcome. `read` finds it among the names of what is played, which stays so
    /// until the action is done.
    ///
    /// # Errors
    /// What `read` says, or no answer in time.
    pub fn ask<E>(
        &self,
        read: impl FnOnce(&Show) -> Result<Action, E>,
    ) -> Result<(Action, StepOutcome, Arc<Show>), Unasked<E>> {
        let mut turn = self.turn();
        let action = read(&turn.show).map_err(Unasked::Unread)?;
        turn.asked += 1;
        let number = turn.asked;
        while self.answers.try_recv().is_ok() {}
        if !self.put(Request::Ask(Question { action, number }), REQUESTS) {
            return Err(Unasked::Silent);
        }
        let deadline = Instant::now() + PATIENCE;
        loop {
            match self.answers.recv_deadline(deadline) {
                Ok(outcome) if outcome.number == number => return Ok((action, outcome, Arc::clone(&turn.show))),
                Ok(_) => {}
                Err(_) => return Err(Unasked::Silent),
            }
        }
    }

    /// Hands over maps to be loaded. Returns when they are, or will not be. What was played before is freed here, in the
    /// caller's thread.
    pub fn load(&self, prepared: Box<PreparedMaps>) -> Handed {
        let mut turn = self.turn();
        if !Arc::ptr_eq(&turn.show, &prepared.follows) {
            return Handed::Overtaken;
        }
        let show = Arc::clone(prepared.show());
        if !self.put_surely(Request::Load(prepared)) || self.replaced.recv().is_err() {
            return Handed::Ended;
        }
        turn.show = show;
        Handed::Loaded
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
