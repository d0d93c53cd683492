//! Two machines that answer each other: no message goes back to where it came from, and no loop goes on (rule R19).

use std::sync::Arc;

use super::Engine;
use super::out::{Notice, Out};
use super::plan::Plan;
use crate::evening::Inputs;
use crate::midi::Message;

/// A message that fired a cue is not sent back for so long, in microseconds.
const ECHO: u64 = 1_000_000;
/// A cue that fires so soon after we said something to the same port may be an answer.
const ANSWER: u64 = 200_000;
/// So many answers without a pause are a loop.
const LOOP: u32 = 8;
/// An input in a loop is not listened to before it has been silent for so long.
const SILENCE: u64 = 1_000_000;
/// Bytes of a message that are remembered; a longer one is no cue.
const LENGTH: usize = 16;

/// What is remembered of each input that has an output at the same port.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Echo {
    bytes: [u8; LENGTH],
    length: usize,
    until: u64,
    /// When something was said to its port last.
    said: Option<u64>,
    answers: u32,
    /// It is in a loop until it was silent up to here.
    loops_until: Option<u64>,
}

impl Echo {
    fn is(&self, bytes: &[u8], at: u64) -> bool {
        at < self.until && self.bytes.get(..self.length) == Some(bytes)
    }
}

/// The inputs at the same port as an output.
fn twins(plan: &Plan, output: usize) -> Inputs {
    plan.outputs.get(output).map_or(0, |output| output.twins)
}

impl Engine {
    /// A message fired a cue: it is not sent back.
    pub(super) fn remember_echo(&mut self, input: usize, message: Message<'_>, now: u64) {
        let Some(echo) = self.echoes.get_mut(input) else { return };
        let mut bytes = [0; LENGTH];
        echo.length = match message {
            Message::Exclusive(exclusive) if exclusive.len() <= LENGTH => {
                bytes[..exclusive.len()].copy_from_slice(exclusive);
                exclusive.len()
            }
            Message::Exclusive(_) => 0,
            message => {
                let mut short = [0; 3];
                let length = message.encode(&mut short);
                bytes[..3].copy_from_slice(&short);
                length
            }
        };
        echo.bytes = bytes;
        echo.until = now.saturating_add(ECHO);
    }

    /// Whether a cue is about to fire in a loop of two machines that answer each other; it is broken then.
    pub(super) fn is_loop(&mut self, input: usize, now: u64, out: &mut Out) -> bool {
        let Some(echo) = self.echoes.get_mut(input) else { return false };
        if echo.loops_until.is_some_and(|until| now < until) {
            echo.loops_until = Some(now.saturating_add(SILENCE));
            return true;
        }
        echo.loops_until = None;
        let is_answer = echo.said.is_some_and(|said| now.saturating_sub(said) < ANSWER);
        echo.answers = if is_answer { echo.answers + 1 } else { 0 };
        if echo.answers < LOOP {
            return false;
        }
        echo.answers = 0;
        echo.loops_until = Some(now.saturating_add(SILENCE));
        out.notice(Notice::Loop(input));
        true
    }

    /// Takes out of what was said all that only goes back to where it came from, and remembers what was said to whom.
    pub(super) fn take_out_echoes(&mut self, out: &mut Out) {
        if !self.plan.has_twins {
            return;
        }
        let plan = Arc::clone(&self.plan);
        let echoes = &mut self.echoes;
        out.retain(|at, output, bytes| {
            let twins = twins(&plan, output);
            for (_, echo) in echoes.iter_mut().enumerate().filter(|(input, _)| twins & 1 << input != 0) {
                if echo.is(bytes, at) {
                    return false;
                }
                // Our own clock is no answer to anything.
                if bytes != [0xF8] {
                    echo.said = Some(at);
                }
            }
            true
        });
    }
}
