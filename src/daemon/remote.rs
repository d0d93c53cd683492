//! How other threads reach the owner.

use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

use crossbeam_channel::{Receiver, Sender, bounded};

use super::{Relief, Show};
use crate::engine::{Action, Notice, Standing};
use crate::ports::Waker;

/// Commands that may wait for the owner; more than a person can give before it looks.
pub(super) const COMMANDS: usize = 64;

/// Messages of the stand's keyboard that may wait for the owner; more than ten fingers play before it looks.
const PLAYED: usize = 256;

/// A message that did not come through a port.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Played {
    /// The input that it counts as.
    pub input: usize,
    pub bytes: [u8; 3],
}

/// Something said to the owner from another thread.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Command {
    /// Something done to the set.
    Action(Action),
    /// Turns the zone of this number, from 0, in the current song the other way.
    TurnZone(usize),
}

/// The owner gets so long to answer; it needs some microseconds.
const PATIENCE: Duration = Duration::from_secs(2);

/// The most notices that are remembered of one step.
const MOST_NOTICES: usize = 16;

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

/// What came of a [`Question`].
#[derive(Debug, Clone, Copy)]
pub struct Outcome {
    /// What the engine noticed.
    pub noticed: Noticed,
    /// Where the set stands now.
    pub standing: Standing,
    number: u64,
}

impl Question {
    pub fn answered(&self, noticed: Noticed, standing: Standing) -> Outcome {
        Outcome { noticed, standing, number: self.number }
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
#[derive(Debug)]
pub(super) enum Handed {
    /// They are in force.
    InForce,
    /// Others came into force since these were prepared, and these are not: prepare them anew.
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
    commands: Sender<Command>,
    played: Sender<Played>,
    questions: Sender<Question>,
    answers: Receiver<Outcome>,
    reliefs: Sender<Box<Relief>>,
    relieved: Receiver<Box<Relief>>,
    turn: Arc<Mutex<Turn>>,
    stop: Arc<AtomicBool>,
    waker: Waker,
}

/// The owner's end of its remotes. It shares no lock with them.
pub(super) struct Desk {
    pub commands: Receiver<Command>,
    pub played: Receiver<Played>,
    pub questions: Receiver<Question>,
    /// Takes an outcome back to whoever asked, if there is room.
    pub answers: Sender<Outcome>,
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
    pub(super) fn new(waker: Waker, show: Arc<Show>) -> (Remote, Desk) {
        let (command_sender, commands) = bounded(COMMANDS);
        let (played_sender, played) = bounded(PLAYED);
        let (question_sender, questions) = bounded(1);
        // One more than questions: an answer that came too late for who asked must not be in the next one's way.
        let (answer_sender, answers) = bounded(2);
        let (relief_sender, reliefs) = bounded(1);
        let (relieved_sender, relieved) = bounded(1);
        let stop = Arc::new(AtomicBool::new(false));
        let desk = Desk {
            commands,
            played,
            questions,
            answers: answer_sender,
            reliefs,
            relieved: relieved_sender,
            stop: Arc::clone(&stop),
        };
        let remote = Remote {
            commands: command_sender,
            played: played_sender,
            questions: question_sender,
            answers,
            reliefs: relief_sender,
            relieved,
            turn: Arc::new(Mutex::new(Turn { show, asked: 0 })),
            stop,
            waker,
        };
        (remote, desk)
    }

    fn turn(&self) -> MutexGuard<'_, Turn> {
        self.turn.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// What is in force.
    #[must_use]
    pub fn show(&self) -> Arc<Show> {
        Arc::clone(&self.turn().show)
    }

    /// Gives a command. Says whether it was taken: it is not where many wait already.
    pub fn give(&self, command: Command) -> bool {
        let taken = self.commands.try_send(command).is_ok();
        self.waker.wake();
        taken
    }

    /// Plays a message of three bytes, a note or a controller, as if it had come through the port of an input. Says whether
    /// it was taken: it is not where many wait already, and then may be the end of a note, so try again.
    pub fn play(&self, input: usize, bytes: [u8; 3]) -> bool {
        let taken = self.played.try_send(Played { input, bytes }).is_ok();
        self.waker.wake();
        taken
    }

    /// Has an action done and waits for its outcome. `read` finds it among the names of what is in force, which stays
    /// in force until the action is done.
    ///
    /// # Errors
    /// What `read` says, or no answer in time.
    pub fn ask<E>(
        &self,
        read: impl FnOnce(&Show) -> Result<Action, E>,
    ) -> Result<(Action, Outcome, Arc<Show>), Unasked<E>> {
        let mut turn = self.turn();
        let action = read(&turn.show).map_err(Unasked::Unread)?;
        turn.asked += 1;
        let number = turn.asked;
        while self.answers.try_recv().is_ok() {}
        // One that was not answered in time before may still lie there.
        if self.questions.try_send(Question { action, number }).is_err() {
            return Err(Unasked::Silent);
        }
        self.waker.wake();
        let deadline = Instant::now() + PATIENCE;
        loop {
            match self.answers.recv_deadline(deadline) {
                Ok(outcome) if outcome.number == number => return Ok((action, outcome, Arc::clone(&turn.show))),
                Ok(_) => {}
                Err(_) => return Err(Unasked::Silent),
            }
        }
    }

    /// Hands over maps to come into force. Returns when they have, or will not. What was played before is freed here,
    /// in the caller's thread.
    pub(super) fn relieve(&self, relief: Box<Relief>) -> Handed {
        let mut turn = self.turn();
        if !Arc::ptr_eq(&turn.show, &relief.follows) {
            return Handed::Overtaken;
        }
        let show = Arc::clone(relief.show());
        if self.reliefs.send(relief).is_err() {
            return Handed::Ended;
        }
        self.waker.wake();
        if self.relieved.recv().is_err() {
            return Handed::Ended;
        }
        turn.show = show;
        Handed::InForce
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
