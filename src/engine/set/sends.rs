//! Sends: messages to other machines, at once or later, and the notes among them with their ends (rules R8, R20).

use crate::engine::ids::{ChannelId, Micros, SendId};
use crate::engine::notes::Notes;
use crate::engine::notes::owners::{Strike, Striker};
use crate::engine::plan::{Plan, PlanSend};
use crate::engine::say::Say;
use crate::engine::step::Step;

/// What waits for its time. Each send waits at most once and has at most one note sounding, so there is always room.
#[derive(Debug)]
pub(in crate::engine) struct Sends {
    waiting: Vec<WaitingSend>,
}

#[derive(Debug, Clone, Copy)]
struct WaitingSend {
    at: Micros,
    /// `None`: of a send that is no longer in the plan, while its note sounds.
    send: Option<SendId>,
    what: WaitingPart,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum WaitingPart {
    /// The end of its note.
    EndNote(SentNote),
    /// To be said.
    Say,
}

/// A note of a send that sounds, and what the table of active notes knows it by.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct SentNote {
    channel: ChannelId,
    note: u8,
    generation: u32,
}

impl WaitingSend {
    /// At one time in file order; those without a send come last.
    fn order(&self) -> (Micros, bool, Option<SendId>) {
        (self.at, self.send.is_none(), self.send)
    }
}

impl PlanSend {
    /// How many bytes it says at the most.
    pub fn longest(&self) -> usize {
        match &self.say {
            Say::System { bytes, .. } => bytes.len(),
            _ => 16,
        }
    }
}

impl Sends {
    /// With room for so many sends of another plan that wait or sound.
    pub fn new(plan: &Plan, more: usize) -> Sends {
        Sends { waiting: Vec::with_capacity(2 * (plan.sends.len() + more)) }
    }

    /// When the first of what waits is due.
    pub fn next(&self) -> Option<Micros> {
        self.waiting.iter().map(|waiting| waiting.at).min()
    }

    /// Nothing waits any longer, nor will notes end by themselves.
    pub fn forget_all(&mut self) {
        self.waiting.clear();
    }

    /// Takes over what waits: the ends of notes, and sends that are still there under the number that `send` tells.
    pub fn take_over(
        &mut self,
        older: &Sends,
        channel: impl Fn(ChannelId) -> ChannelId,
        send: impl Fn(SendId) -> Option<SendId>,
    ) {
        for waiting in &older.waiting {
            let send = waiting.send.and_then(&send);
            match waiting.what {
                WaitingPart::Say if send.is_none() => {}
                WaitingPart::Say => self.put(waiting.at, send, WaitingPart::Say),
                WaitingPart::EndNote(note) => {
                    let note = SentNote { channel: channel(note.channel), ..note };
                    self.put(waiting.at, send, WaitingPart::EndNote(note));
                }
            }
        }
    }

    /// The first note to end, or send to say, that is due by `now`.
    fn take_due(&mut self, says: bool, now: Micros) -> Option<WaitingSend> {
        let due = |waiting: &WaitingSend| waiting.at <= now && (waiting.what == WaitingPart::Say) == says;
        let waiting = self.waiting.iter().enumerate().filter(|(_, waiting)| due(waiting));
        let (index, _) = waiting.min_by_key(|(_, waiting)| waiting.order())?;
        Some(self.waiting.swap_remove(index))
    }

    fn put(&mut self, at: Micros, send: Option<SendId>, what: WaitingPart) {
        self.waiting.push(WaitingSend { at, send, what });
    }

    /// This send's last note, if its end has not come yet.
    fn take_note(&mut self, send: SendId) -> Option<SentNote> {
        let note = |waiting: &WaitingSend| waiting.send == Some(send) && waiting.what != WaitingPart::Say;
        let index = self.waiting.iter().position(note)?;
        match self.waiting.swap_remove(index).what {
            WaitingPart::EndNote(note) => Some(note),
            WaitingPart::Say => None,
        }
    }

    fn forget(&mut self, forgotten: impl Fn(SendId) -> bool) {
        self.waiting.retain(|waiting| waiting.what != WaitingPart::Say || !waiting.send.is_some_and(&forgotten));
    }

    /// Ends the sent notes whose time has come.
    pub fn end_notes(&mut self, notes: &mut Notes, step: &mut Step<'_>) {
        while let Some(WaitingSend { what: WaitingPart::EndNote(note), .. }) = self.take_due(false, step.now) {
            end_note(note, notes, step);
        }
    }

    /// Says the sends whose time has come.
    pub fn say_due(&mut self, notes: &mut Notes, step: &mut Step<'_>) {
        while let Some(due) = self.take_due(true, step.now) {
            if let Some(send) = due.send {
                self.say(send, notes, step);
            }
        }
    }

    /// Says a send, or has it wait for its time.
    pub fn send(&mut self, send: SendId, notes: &mut Notes, step: &mut Step<'_>) {
        self.forget(|other| other == send);
        match step.plan.send(send).after {
            Micros::ZERO => self.say(send, notes, step),
            after => self.put(step.now + after, Some(send), WaitingPart::Say),
        }
    }

    /// Drops what still waits for what is being left; what leaving it sends later stays.
    pub fn leave_song(&mut self, plan: &Plan) {
        self.forget(|send| plan.send(send).dropped_on_leaving);
    }

    fn say(&mut self, id: SendId, notes: &mut Notes, step: &mut Step<'_>) {
        let send = step.plan.send(id);
        match (&send.say, send.channel) {
            (Say::System { bytes, .. }, _) => step.send(send.output, bytes),
            (Say::Program { bank, program }, Some(channel)) => {
                notes.channels.say_program(channel, *bank, Some(*program), step);
            }
            (Say::Control { number, value }, Some(channel)) => send_control(channel, *number, *value, notes, step),
            (Say::Note { note, velocity, length }, Some(channel)) => {
                if let Some(sounding) = self.take_note(id) {
                    end_note(sounding, notes, step);
                }
                let generation = strike((channel, *note), Striker::Send(id), *velocity, notes, step);
                let sounding = SentNote { channel, note: *note, generation };
                self.put(step.now + *length, Some(id), WaitingPart::EndNote(sounding));
            }
            // A channel message has a channel.
            (_, None) => {}
        }
    }
}

/// Strikes a note of a send; what the table of active notes knows it by.
fn strike(
    (channel, note): (ChannelId, u8),
    striker: Striker,
    velocity: u8,
    notes: &mut Notes,
    step: &mut Step<'_>,
) -> u32 {
    notes.end_fade(channel, step);
    let strike = notes.owners.strike((channel, note), striker, step.now, step.plan.gather);
    if strike == Strike::Again {
        step.note_off(channel, note, 64);
    }
    if strike != Strike::Join {
        notes.owners.struck((channel, note), striker, velocity, step.now);
        notes.channels.note_on(channel, note, velocity, step);
    }
    notes.owners.add_owner(channel, note)
}

fn end_note(SentNote { channel, note, generation }: SentNote, notes: &mut Notes, step: &mut Step<'_>) {
    if notes.owners.remove_owner(channel, note, generation) {
        step.note_off(channel, note, 64);
    }
}

/// A controller of ours; channel mode messages first end all notes of their channel (rule R7).
fn send_control(channel: ChannelId, number: u8, value: u8, notes: &mut Notes, step: &mut Step<'_>) {
    if number >= 120 {
        notes.end_all(channel, step);
        notes.channels.return_expression(channel, step);
    }
    notes.channels.control(channel, number, value, step);
    if number == 121 {
        notes.channels.get_mut(channel).reset_controllers();
    }
}
