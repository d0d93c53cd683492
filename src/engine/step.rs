//! The step context: what every part of the engine is handed while a step runs.

use super::guard::FeedbackGuard;
use super::ids::{ChannelId, Micros};
use super::out::{Notice, Reason, Sink};
use super::plan::{OutputChannel, Plan};
use crate::midi::Message;

/// A step as it runs: the plan, the time of the cause at hand, and where messages and notices go.
///
/// Messages leave as they are said, in order; nothing is kept back until the step has ended.
pub(super) struct Step<'a> {
    pub plan: &'a Plan,
    /// The time of the cause at hand: of the event, or of what became due before it.
    pub now: Micros,
    pub guard: &'a mut FeedbackGuard,
    sink: &'a mut dyn Sink,
}

impl<'a> Step<'a> {
    pub fn new(plan: &'a Plan, now: Micros, guard: &'a mut FeedbackGuard, sink: &'a mut dyn Sink) -> Step<'a> {
        Step { plan, now, guard, sink }
    }

    /// Tells whoever tells the player.
    pub fn notice(&mut self, notice: Notice) {
        self.sink.notice(notice);
    }

    /// Tells whoever explains the step.
    pub fn reason(&mut self, reason: Reason) {
        self.sink.reason(self.now, reason);
    }

    /// Sends a whole message to an output, unless it only goes back to where it came from (rule R19).
    pub fn send(&mut self, output: u8, bytes: &[u8]) {
        if self.guard.lets_pass(self.plan, output, bytes, self.now) {
            self.sink.send(self.now, usize::from(output), bytes);
        }
    }

    /// Sends the same message to several outputs.
    pub fn send_to_all(&mut self, outputs: impl Iterator<Item = u8>, bytes: &[u8]) {
        for output in outputs {
            self.send(output, bytes);
        }
    }

    /// Sends a channel message of three bytes; `status` without its channel.
    pub fn send_short(&mut self, channel: ChannelId, status: u8, first: u8, second: u8) {
        let OutputChannel { output, channel } = self.plan.channel(channel);
        self.send(output, &[status | channel, first, second]);
    }

    /// Sends a channel message of two bytes; `status` without its channel.
    pub fn send_shorter(&mut self, channel: ChannelId, status: u8, value: u8) {
        let OutputChannel { output, channel } = self.plan.channel(channel);
        self.send(output, &[status | channel, value]);
    }

    pub fn note_on(&mut self, channel: ChannelId, note: u8, velocity: u8) {
        self.send_short(channel, 0x90, note, velocity);
    }

    pub fn note_off(&mut self, channel: ChannelId, note: u8, velocity: u8) {
        self.send_short(channel, 0x80, note, velocity);
    }
}

/// A message of an input, with what is known of it before anything comes of it.
#[derive(Debug, Clone, Copy)]
pub(super) struct Received<'a> {
    pub input: usize,
    pub message: Message<'a>,
    /// Whether the input listens to its channel.
    pub is_listened_to: bool,
}
