//! One who has connected: what it said so far, and what it is still to be told. Nothing here waits.

use std::io::{ErrorKind, Read, Result, Write};
use std::os::unix::net::UnixStream;
use std::time::{Duration, Instant};

use rustix::event::PollFlags;

use super::{Answer, LONGEST, Outcome};

/// A whole line must be there in this time after the last one, and so must room for its answer.
const PATIENCE: Duration = Duration::from_secs(3);

/// Somebody at the socket.
pub(super) struct Visitor {
    pub stream: UnixStream,
    /// When it came in, or the last answer was given to it.
    pub since: Instant,
    /// What came and was not read yet; never more than a line may have.
    heard: Vec<u8>,
    /// What it has not taken yet.
    to_say: Vec<u8>,
    /// Whether that is the last that it is told.
    is_last: bool,
}

impl Visitor {
    /// # Errors
    /// Its stream cannot be kept from waiting.
    pub fn new(stream: UnixStream) -> Result<Visitor> {
        stream.set_nonblocking(true)?;
        let (heard, to_say) = (Vec::new(), Vec::new());
        Ok(Visitor { stream, since: Instant::now(), heard, to_say, is_last: false })
    }

    /// What it can go on with. One who does not take an answer is not heard.
    pub fn interest(&self) -> PollFlags {
        if self.to_say.is_empty() { PollFlags::IN } else { PollFlags::OUT }
    }

    /// Until when it may go on so.
    pub fn deadline(&self) -> Instant {
        self.since + PATIENCE
    }

    /// Whether it can go on without anything new.
    pub fn is_pending(&self) -> bool {
        self.to_say.is_empty() && self.heard.contains(&b'\n')
    }

    /// Goes on by one step: says more of an answer, or hears more and has one line answered. Whether it stays.
    pub fn go_on(&mut self, answer: impl FnOnce(&[u8]) -> Answer) -> bool {
        if !self.to_say.is_empty() {
            return self.say();
        }
        if !self.heard.contains(&b'\n') && !self.hear() {
            return false;
        }
        let answer = match self.heard.iter().position(|byte| *byte == b'\n') {
            Some(end) => {
                let answer = answer(&self.heard[..end]);
                self.heard.drain(..=end);
                answer
            }
            None if self.heard.len() < LONGEST => return true,
            None => Answer::new(Outcome::Wrong, format!("A request is one line of at most {LONGEST} bytes.")),
        };
        self.is_last = answer.outcome == Outcome::Wrong;
        self.tell(&answer)
    }

    /// Tells it something as far as it takes it now. Whether it stays.
    pub fn tell(&mut self, answer: &Answer) -> bool {
        let Ok(text) = serde_json::to_vec(answer) else { return false };
        self.to_say.extend(text);
        self.to_say.push(b'\n');
        self.since = Instant::now();
        self.say()
    }

    /// Whether the other end is there.
    fn hear(&mut self) -> bool {
        let mut chunk = [0; LONGEST];
        match self.stream.read(&mut chunk[..LONGEST - self.heard.len()]) {
            Ok(0) => false,
            Ok(count) => {
                self.heard.extend_from_slice(&chunk[..count]);
                true
            }
            Err(error) => is_for_later(error.kind()),
        }
    }

    fn say(&mut self) -> bool {
        match self.stream.write(&self.to_say) {
            Ok(count) => drop(self.to_say.drain(..count)),
            Err(error) if is_for_later(error.kind()) => {}
            Err(_) => return false,
        }
        if self.to_say.is_empty() {
            self.since = Instant::now();
            return !self.is_last;
        }
        true
    }
}

fn is_for_later(kind: ErrorKind) -> bool {
    matches!(kind, ErrorKind::WouldBlock | ErrorKind::Interrupted)
}
