//! One who has connected: what it said so far, and what it is still to be told. Nothing here waits.

use std::io::{ErrorKind, Read, Result, Write};
use std::time::{Duration, Instant};

use rustix::event::PollFlags;
use subtle::ConstantTimeEq;

use super::local::Stream;
use super::{Answer, LONGEST, Outcome};

/// A whole line must be there in this time after the last one, and so must room for its answer.
const PATIENCE: Duration = Duration::from_secs(3);

/// Somebody at the socket.
pub(super) struct Visitor {
    pub stream: Stream,
    /// When it came in, or the last answer was given to it.
    pub since: Instant,
    /// What came and was not answered yet; never more than a line may have.
    read_so_far: Vec<u8>,
    /// What it has not taken yet.
    to_write: Vec<u8>,
    /// Whether that is the last that it is told.
    is_last: bool,
    /// The key, until it has said that.
    key: Option<String>,
}

impl Visitor {
    /// # Errors
    /// Its stream cannot be kept from waiting.
    pub fn new(stream: Stream, key: Option<String>) -> Result<Visitor> {
        stream.set_nonblocking(true)?;
        let (read_so_far, to_write) = (Vec::new(), Vec::new());
        Ok(Visitor { stream, since: Instant::now(), read_so_far, to_write, is_last: false, key })
    }

    /// What it can go on with. One who does not take an answer is not read from.
    pub fn interest(&self) -> PollFlags {
        if self.to_write.is_empty() { PollFlags::IN } else { PollFlags::OUT }
    }

    /// Until when it may go on so.
    pub fn deadline(&self) -> Instant {
        self.since + PATIENCE
    }

    /// Whether it can go on without anything new.
    pub fn is_pending(&self) -> bool {
        self.to_write.is_empty() && self.read_so_far.contains(&b'\n')
    }

    /// Goes on by one step: says more of an answer, or hears more and has one line answered. Whether it stays.
    pub fn go_on(&mut self, answer: impl FnOnce(&[u8]) -> Answer) -> bool {
        if !self.to_write.is_empty() {
            return self.write();
        }
        if !self.read_so_far.contains(&b'\n') && !self.read() {
            return false;
        }
        let answer = match self.read_so_far.iter().position(|byte| *byte == b'\n') {
            Some(end) if self.key.is_some() => return self.says_the_key(end),
            Some(end) => {
                let answer = answer(&self.read_so_far[..end]);
                self.read_so_far.drain(..=end);
                answer
            }
            None if self.read_so_far.len() < LONGEST => return true,
            // A stranger is told nothing.
            None if self.key.is_some() => return false,
            None => Answer::new(Outcome::Wrong, format!("A request is one line of at most {LONGEST} bytes.")),
        };
        self.is_last = answer.outcome == Outcome::Wrong;
        self.answer(&answer)
    }

    /// Whether its first line, which ends there, is the key.
    fn says_the_key(&mut self, end: usize) -> bool {
        let key = self.key.take().unwrap_or_default();
        let is_right = bool::from(key.as_bytes().ct_eq(&self.read_so_far[..end]));
        self.read_so_far.drain(..=end);
        is_right
    }

    /// Tells it something as far as it takes it now. Whether it stays.
    pub fn answer(&mut self, answer: &Answer) -> bool {
        let Ok(text) = serde_json::to_vec(answer) else { return false };
        self.to_write.extend(text);
        self.to_write.push(b'\n');
        self.since = Instant::now();
        self.write()
    }

    /// Whether the other end is there.
    fn read(&mut self) -> bool {
        let mut chunk = [0; LONGEST];
        match self.stream.read(&mut chunk[..LONGEST - self.read_so_far.len()]) {
            Ok(0) => false,
            Ok(count) => {
                self.read_so_far.extend_from_slice(&chunk[..count]);
                true
            }
            Err(error) => is_for_later(error.kind()),
        }
    }

    fn write(&mut self) -> bool {
        match self.stream.write(&self.to_write) {
            Ok(count) => drop(self.to_write.drain(..count)),
            Err(error) if is_for_later(error.kind()) => {}
            Err(_) => return false,
        }
        if self.to_write.is_empty() {
            self.since = Instant::now();
            return !self.is_last;
        }
        true
    }
}

fn is_for_later(kind: ErrorKind) -> bool {
    matches!(kind, ErrorKind::WouldBlock | ErrorKind::Interrupted)
}
