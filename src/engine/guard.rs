//! The feedback guard between two machines that answer each other: no message goes back to where it came from, and no loop
//! goes on (rule R19).

use super::ids::Micros;
use super::plan::Plan;
use crate::evening::Inputs;
use crate::midi::Message;

/// A message that fired a cue is not sent back for so long.
const ECHO: Micros = Micros::from_millis(1_000);
/// A cue that fires so soon after we sent something to the same port may be an answer.
const ANSWER: Micros = Micros::from_millis(200);
/// So many answers without a pause are a loop.
const LOOP: u32 = 8;
/// An input in a loop is not listened to before it has been silent for so long.
const SILENCE: Micros = Micros::from_millis(1_000);
/// Bytes of a message that are remembered; a longer one is no cue.
const LENGTH: usize = 16;

/// What is remembered of each input that has an output at the same port.
#[derive(Debug, Clone, Default)]
pub(super) struct FeedbackGuard(Vec<GuardedInput>);

/// What is remembered of one input.
#[derive(Debug, Clone, Copy, Default)]
struct GuardedInput {
    bytes: [u8; LENGTH],
    length: usize,
    until: Micros,
    /// When something was sent to its port last, before this step and in it.
    sent: Option<Micros>,
    sent_now: Option<Micros>,
    answers: u32,
    /// It is in a loop until it was silent up to here.
    loops_until: Option<Micros>,
}

/// Whether a cue may fire.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum LoopVerdict {
    Fires,
    /// It is in a loop that was told.
    InLoop,
    /// A loop begins to be one with this cue.
    LoopBegins,
}

impl GuardedInput {
    fn is_echo(&self, bytes: &[u8], at: Micros) -> bool {
        at < self.until && self.bytes.get(..self.length) == Some(bytes)
    }
}

/// The inputs at the same port as an output.
fn twins(plan: &Plan, output: u8) -> Inputs {
    plan.outputs.get(usize::from(output)).map_or(0, |output| output.twins)
}

impl FeedbackGuard {
    pub fn new(plan: &Plan) -> FeedbackGuard {
        FeedbackGuard(vec![GuardedInput::default(); plan.inputs.len()])
    }

    /// A message fired a cue: it is not sent back.
    pub fn remember(&mut self, input: usize, message: Message<'_>, now: Micros) {
        let Some(line) = self.0.get_mut(input) else { return };
        let mut bytes = [0; LENGTH];
        line.length = match message {
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
        line.bytes = bytes;
        line.until = now + ECHO;
    }

    /// Whether a cue of an input may fire now, or two machines answer each other.
    pub fn judge(&mut self, input: usize, now: Micros) -> LoopVerdict {
        let Some(line) = self.0.get_mut(input) else { return LoopVerdict::Fires };
        if line.loops_until.is_some_and(|until| now < until) {
            line.loops_until = Some(now + SILENCE);
            return LoopVerdict::InLoop;
        }
        line.loops_until = None;
        let is_answer = line.sent.is_some_and(|sent| now - sent < ANSWER);
        line.answers = if is_answer { line.answers + 1 } else { 0 };
        if line.answers < LOOP {
            return LoopVerdict::Fires;
        }
        line.answers = 0;
        line.loops_until = Some(now + SILENCE);
        LoopVerdict::LoopBegins
    }

    /// Whether a message may be sent to an output, and does not only go back to where it came from.
    pub fn lets_pass(&mut self, plan: &Plan, output: u8, bytes: &[u8], at: Micros) -> bool {
        if !plan.has_twins {
            return true;
        }
        let twins = twins(plan, output);
        for (_, line) in self.0.iter_mut().enumerate().filter(|(input, _)| twins & 1 << input != 0) {
            if line.is_echo(bytes, at) {
                return false;
            }
            // Our own clock is no answer to anything.
            if bytes != [0xF8] {
                line.sent_now = Some(at);
            }
        }
        true
    }

    /// The step is over: what was sent in it may be answered from now on.
    pub fn end_step(&mut self) {
        for line in &mut self.0 {
            line.sent = line.sent_now.take().or(line.sent);
        }
    }
}
