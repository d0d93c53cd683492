//! The input queue: what has arrived and waits for the engine, and what is shed where too much waits.
//!
//! Each input has a lane of its own, and the lanes take turns: where messages come faster than they can be played, an
//! input sheds its own, first controllers, then notes that begin, and neither takes anything from the others nor makes
//! them wait. Ends of notes are kept; one that already waits is not kept twice, so that even a flood of them has its
//! bounds.

use std::collections::VecDeque;

use super::Arrival;
use super::message::{NOTES_AND_PEDALS, Priority, ShortMessage, note_or_pedal};
use crate::midi::stream::Stream;

/// Messages of one input that wait before it sheds controllers, and before it sheds notes that begin: more than the
/// system's own queue holds (2,000), so that nothing is shed that would not be lost otherwise.
const MOST_OTHER: usize = 3000;
const MOST_NOTES: usize = 4000;

/// What is ready for the next waits, and the bytes of what was given last, which the caller still looks at.
#[derive(Debug, Default)]
pub(super) struct InputQueue {
    /// What happened to ports, and losses; given before all messages.
    pub(super) changes: VecDeque<Arrival<'static>>,
    lanes: Vec<Lane>,
    /// The lane whose turn it is.
    turn: usize,
    /// Messages in all lanes.
    waiting: usize,
    dropped_overload: u64,
    short: ShortMessage,
    exclusive: Vec<u8>,
}

/// What waits of one input.
#[derive(Debug)]
struct Lane {
    messages: VecDeque<QueuedMessage>,
    /// Per channel, the notes and pedals whose end waits with nothing after it.
    ends: [[bool; NOTES_AND_PEDALS]; 16],
}

#[derive(Debug)]
enum QueuedMessage {
    Short(ShortMessage),
    Exclusive(Vec<u8>),
}

impl Lane {
    fn new() -> Self {
        // As many as can wait, so that a flood asks for no memory.
        let messages = VecDeque::with_capacity(MOST_NOTES + 16 * NOTES_AND_PEDALS);
        Lane { messages, ends: [[false; NOTES_AND_PEDALS]; 16] }
    }

    /// Marks or unmarks that the end of this message's note or pedal waits; says whether it was marked.
    fn mark_end(&mut self, message: &[u8], waits: bool) -> bool {
        let mark = note_or_pedal(message).and_then(|(channel, number)| self.ends.get_mut(channel)?.get_mut(number));
        mark.is_some_and(|mark| std::mem::replace(mark, waits))
    }
}

impl InputQueue {
    /// Room for so many inputs.
    pub(super) fn new(inputs: usize) -> Self {
        let lanes = (0..inputs).map(|_| Lane::new()).collect();
        InputQueue { changes: VecDeque::with_capacity(64), lanes, ..InputQueue::default() }
    }

    /// Whether nothing is ready.
    pub(super) fn is_empty(&self) -> bool {
        self.changes.is_empty() && self.waiting == 0
    }

    /// The next thing, if there is any; it may be looked at until the next call.
    pub(super) fn pop(&mut self) -> Option<Arrival<'_>> {
        if let Some(change) = self.changes.pop_front() {
            return Some(change);
        }
        let (input, message) = self.next_message()?;
        let bytes = match message {
            QueuedMessage::Short(short) => {
                self.short = short;
                self.short.as_bytes()
            }
            QueuedMessage::Exclusive(exclusive) => {
                self.exclusive = exclusive;
                &self.exclusive
            }
        };
        Some(Arrival::Message { input, bytes })
    }

    /// The first of the next lane that has any.
    fn next_message(&mut self) -> Option<(usize, QueuedMessage)> {
        if self.waiting == 0 {
            return None;
        }
        for _ in 0..self.lanes.len() {
            self.turn = (self.turn + 1) % self.lanes.len();
            let lane = &mut self.lanes[self.turn];
            let Some(message) = lane.messages.pop_front() else { continue };
            self.waiting -= 1;
            if let QueuedMessage::Short(short) = &message
                && Priority::of(short.as_bytes()) == Priority::Release
            {
                lane.mark_end(short.as_bytes(), false);
            }
            return Some((self.turn, message));
        }
        None
    }

    /// Where the changes from this place on say that an input is lost, what waits of it is discarded: its keys come up
    /// anyway.
    pub(super) fn discard_lost(&mut self, from: usize) {
        for change in self.changes.iter().skip(from) {
            let lost = match change {
                Arrival::InputDisconnected(input) => self.lanes.get_mut(*input..=*input).unwrap_or_default(),
                Arrival::Overrun => &mut self.lanes[..],
                _ => continue,
            };
            for lane in lost {
                self.waiting -= lane.messages.len();
                lane.messages.clear();
                lane.ends = [[false; NOTES_AND_PEDALS]; 16];
            }
        }
    }

    /// How many messages were shed so far.
    pub(super) fn dropped_overload(&self) -> u64 {
        self.dropped_overload
    }

    /// Splits bytes of an input into whole messages.
    pub(super) fn push_bytes(&mut self, input: usize, stream: &mut Stream, bytes: &[u8]) {
        for byte in bytes {
            if let Some(message) = stream.push(*byte) {
                self.push(input, message);
            }
        }
    }

    /// A whole message of an input.
    pub(super) fn push(&mut self, input: usize, message: &[u8]) {
        let Some(lane) = self.lanes.get_mut(input) else { return };
        let priority = Priority::of(message);
        let limit = match priority {
            Priority::Other => MOST_OTHER,
            Priority::NoteOn => MOST_NOTES,
            Priority::Release => usize::MAX,
        };
        if lane.messages.len() >= limit {
            self.dropped_overload += 1;
            return;
        }
        if message.first() == Some(&0xF0) {
            // The buffer of the last one that was given, so that no more memory is asked for.
            let mut bytes = std::mem::take(&mut self.exclusive);
            bytes.clear();
            bytes.extend_from_slice(message);
            self.waiting += 1;
            lane.messages.push_back(QueuedMessage::Exclusive(bytes));
            return;
        }
        let Some(short) = ShortMessage::new(message) else { return };
        let is_end = priority == Priority::Release;
        if lane.mark_end(message, is_end) && is_end && lane.messages.len() >= MOST_NOTES {
            return;
        }
        self.waiting += 1;
        lane.messages.push_back(QueuedMessage::Short(short));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn given_one(queue: &mut InputQueue) -> Option<(usize, Vec<u8>)> {
        match queue.pop() {
            Some(Arrival::Message { input, bytes }) => Some((input, bytes.to_vec())),
            _ => None,
        }
    }

    fn given(queue: &mut InputQueue) -> Vec<(usize, Vec<u8>)> {
        std::iter::from_fn(|| given_one(queue)).collect()
    }

    #[test]
    fn a_flood_sheds_controllers_then_notes_and_no_end_and_nothing_of_others() {
        let mut queue = InputQueue::new(2);
        for round in 0..100 {
            for key in 0..128 {
                queue.push(0, &[0xB0, 1, key]);
                queue.push(0, &[0x90, key, 100]);
                queue.push(0, &[0x80, key, 64]);
            }
            queue.push(1, &[0x90, round, 100]);
        }
        let given = given(&mut queue);
        assert_eq!(given.iter().filter(|(input, _)| *input == 1).count(), 100);
        assert!(given.len() < MOST_NOTES + 128 + 100, "{} wait", given.len());
        let mut sounding = [0_i32; 128];
        for (_, message) in given.iter().filter(|(input, _)| *input == 0) {
            match message[..] {
                [0x90, key, _] => sounding[usize::from(key)] = 1,
                [0x80, key, _] => sounding[usize::from(key)] = 0,
                _ => {}
            }
        }
        assert_eq!(sounding, [0; 128]);
        let kept = given.len() as u64;
        assert!(queue.dropped_overload() > 0 && kept + queue.dropped_overload() <= 100 * (3 * 128 + 1));
        // All is forgotten once it was given.
        queue.push(0, &[0xB0, 1, 1]);
        assert_eq!(queue.waiting, 1);
    }

    #[test]
    fn lanes_take_turns_and_a_lost_input_takes_along_what_waits_of_it_alone() {
        let mut queue = InputQueue::new(2);
        for key in 0..3 {
            queue.push(0, &[0x90, key, 1]);
        }
        queue.push(1, &[0x90, 60, 1]);
        queue.push(1, &[0x80, 60, 1]);
        queue.push(0, &[0x80, 0, 1]);
        let inputs =
            |queue: &mut InputQueue| -> Vec<usize> { (0..3).filter_map(|_| Some(given_one(queue)?.0)).collect() };
        assert_eq!(inputs(&mut queue), [1, 0, 1]);
        queue.changes.push_back(Arrival::InputDisconnected(0));
        queue.discard_lost(0);
        queue.push(0, &[0x80, 0, 1]);
        assert_eq!(queue.pop(), Some(Arrival::InputDisconnected(0)));
        assert_eq!(given(&mut queue), [(0, vec![0x80, 0, 1])]);
        assert!(queue.is_empty());
    }

    #[test]
    fn an_overrun_takes_along_what_waits_of_every_input() {
        let mut queue = InputQueue::new(2);
        queue.push(0, &[0x90, 60, 1]);
        queue.push(1, &[0xF0, 1, 2, 3, 0xF7]);
        queue.changes.push_back(Arrival::Overrun);
        queue.discard_lost(0);
        assert_eq!(queue.pop(), Some(Arrival::Overrun));
        assert!(queue.is_empty());
    }

    #[test]
    fn a_burst_as_long_as_the_systems_queue_is_kept_whole() {
        let mut queue = InputQueue::new(1);
        for event in 0..2000_u32 {
            let key = u8::try_from(event / 3 % 128).unwrap();
            queue.push(0, &[[0x90, key, 1], [0xB0, 1, key], [0x80, key, 64]][event as usize % 3]);
        }
        assert_eq!((given(&mut queue).len(), queue.dropped_overload()), (2000, 0));
    }

    #[test]
    fn what_comes_no_faster_than_it_is_taken_is_never_shed() {
        let mut queue = InputQueue::new(1);
        for _ in 0..2000 {
            for message in [[0xB0, 64, 0], [0x80, 60, 0], [0x80, 60, 0], [0xE0, 0, 64]] {
                queue.push(0, &message);
            }
            assert_eq!(given(&mut queue).len(), 4);
        }
        assert_eq!(queue.dropped_overload(), 0);
    }
}
