//! Sends: messages to other machines, at once or later, and the notes among them with their ends (rules R8, R20).

use std::sync::Arc;

use super::Engine;
use super::ledger::{FIRST_SEND, Strike};
use super::out::Out;
use super::place::{CENTRE, PEDALS};
use super::plan::{PlanSend, Say};

/// What waits for its time. Each send waits at most once and has at most one note sounding, so there is always room.
#[derive(Debug)]
pub(super) struct Pending {
    waiting: Vec<Waiting>,
}

#[derive(Debug, Clone, Copy)]
struct Waiting {
    at: u64,
    send: u16,
    what: What,
}

/// The number of a send that is no longer in the plan, while its note sounds.
const NO_SEND: u16 = u16::MAX;

#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum What {
    /// The end of its note.
    EndNote(SentNote),
    /// To be said.
    Say,
}

/// A note of a send that sounds, and what the ledger knows it by.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
struct SentNote {
    place: u16,
    note: u8,
    generation: u32,
}

impl Waiting {
    /// At one time in file order.
    fn order(&self) -> (u64, u16) {
        (self.at, self.send)
    }
}

impl Pending {
    pub fn new(sends: usize) -> Pending {
        Pending { waiting: Vec::with_capacity(2 * sends) }
    }

    /// When the first of what waits is due.
    pub fn next(&self) -> Option<u64> {
        self.waiting.iter().map(|waiting| waiting.at).min()
    }

    pub fn forget_all(&mut self) {
        self.waiting.clear();
    }

    /// Takes over what waits: the ends of notes, and sends that are still there under the number that `send` tells.
    pub fn take_over(&mut self, older: &Pending, place: impl Fn(u16) -> u16, send: impl Fn(u16) -> Option<u16>) {
        for waiting in &older.waiting {
            match (waiting.what, send(waiting.send)) {
                (What::Say, Some(send)) => self.put(waiting.at, send, What::Say),
                (What::Say, None) => {}
                (What::EndNote(note), send) => {
                    let note = SentNote { place: place(note.place), ..note };
                    self.put(waiting.at, send.unwrap_or(NO_SEND), What::EndNote(note));
                }
            }
        }
    }

    /// The first note to end, or send to say, that is due by `now`.
    fn take_due(&mut self, says: bool, now: u64) -> Option<Waiting> {
        let due = |waiting: &Waiting| waiting.at <= now && (waiting.what == What::Say) == says;
        let waiting = self.waiting.iter().enumerate().filter(|(_, waiting)| due(waiting));
        let (index, _) = waiting.min_by_key(|(_, waiting)| waiting.order())?;
        Some(self.waiting.swap_remove(index))
    }

    fn put(&mut self, at: u64, send: u16, what: What) {
        self.waiting.push(Waiting { at, send, what });
    }

    /// This send's last note, if its end has not come yet.
    fn take_note(&mut self, send: u16) -> Option<SentNote> {
        let note = |waiting: &Waiting| waiting.send == send && waiting.what != What::Say;
        let index = self.waiting.iter().position(note)?;
        match self.waiting.swap_remove(index).what {
            What::EndNote(note) => Some(note),
            What::Say => None,
        }
    }

    fn forget_saying(&mut self, forgotten: impl Fn(u16) -> bool) {
        self.waiting.retain(|waiting| waiting.what != What::Say || !forgotten(waiting.send));
    }
}

impl PlanSend {
    /// How many bytes it says at the most.
    pub(super) fn longest(&self) -> usize {
        match &self.say {
            Say::System { bytes, .. } => bytes.len(),
            _ => 16,
        }
    }
}

impl Engine {
    /// Ends the sent notes whose time has come.
    pub(super) fn end_sent_notes(&mut self, now: u64, out: &mut Out) {
        while let Some(Waiting { what: What::EndNote(note), .. }) = self.pending.take_due(false, now) {
            self.end_sent_note(note, out);
        }
    }

    /// Says the sends whose time has come.
    pub(super) fn say_waiting(&mut self, now: u64, out: &mut Out) {
        while let Some(due) = self.pending.take_due(true, now) {
            self.say_send(due.send, now, out);
        }
    }

    /// Says a send, or has it wait for its time.
    pub(super) fn send(&mut self, send: u16, now: u64, out: &mut Out) {
        self.pending.forget_saying(|other| other == send);
        match self.plan.sends[usize::from(send)].after {
            0 => self.say_send(send, now, out),
            after => self.pending.put(now.saturating_add(after), send, What::Say),
        }
    }

    /// Drops what still waits for the song that is being left; what its leave-sends say later stays.
    pub(super) fn drop_waiting_sends(&mut self) {
        let plan = Arc::clone(&self.plan);
        self.pending.forget_saying(|send| plan.sends[usize::from(send)].dropped_on_leaving);
    }

    fn say_send(&mut self, number: u16, now: u64, out: &mut Out) {
        let plan = Arc::clone(&self.plan);
        let send = &plan.sends[usize::from(number)];
        match &send.say {
            Say::Program { bank, program } => self.say_program(send.place, *bank, Some(*program), out),
            Say::Control { number, value } => self.send_control(send.place, *number, *value, out),
            Say::Note { note, velocity, length } => {
                if let Some(sounding) = self.pending.take_note(number) {
                    self.end_sent_note(sounding, out);
                }
                self.wake_place(send.place, out);
                let striker = FIRST_SEND + u32::from(number);
                let strike = self.ledger.strike(send.place, *note, striker, now, plan.gather);
                if strike == Strike::Again {
                    self.say_off(send.place, *note, 64, out);
                }
                if strike != Strike::Join {
                    self.ledger.struck(send.place, *note, striker, *velocity, now);
                    self.say_on(send.place, *note, *velocity, out);
                }
                let generation = self.ledger.add_owner(send.place, *note);
                let sounding = SentNote { place: send.place, note: *note, generation };
                self.pending.put(now.saturating_add(*length), number, What::EndNote(sounding));
            }
            Say::System { bytes, .. } => out.say(send.output, bytes),
        }
    }

    fn end_sent_note(&mut self, SentNote { place, note, generation }: SentNote, out: &mut Out) {
        if self.ledger.remove_owner(place, note, generation) {
            self.say_off(place, note, 64, out);
        }
    }

    /// A controller of ours; channel mode messages first end all notes of their place (rule R7).
    fn send_control(&mut self, place: u16, number: u8, value: u8, out: &mut Out) {
        if number >= 120 {
            self.end_all_notes(place, out);
            self.return_expression(place, out);
        }
        self.control_place(place, number, value, out);
        if number == 121 {
            // What the place has made of it (RP-015).
            let state = &mut self.places[usize::from(place)];
            for number in PEDALS.take(4).chain([1]) {
                state.controls[usize::from(number)] = 0;
            }
            state.controls[11] = 127;
            state.bend = CENTRE;
            state.pressure = 0;
        }
    }
}
