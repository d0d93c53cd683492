//! What has arrived and waits to be looked at.
//!
//! Each input has a lane of its own, and the lanes take turns: where messages come faster than they can be played, an
//! input sheds its own, first controllers, then notes that begin, and neither takes anything from the others nor makes
//! them wait. Ends of notes are kept; one that already waits is not kept twice, so that even a flood of them has its
//! bounds.

use std::collections::VecDeque;

use super::Arrival;
use super::priority::Priority;
use crate::midi::stream::Stream;

/// Messages of one input that wait before it sheds controllers, and before it sheds notes that begin: more than the
/// system's own queue holds (2,000), so that nothing is let go of that would not be lost otherwise.
const LIGHT: usize = 3000;
const NOTES: usize = 4000;

/// Something to be given by the next waits.
#[derive(Debug, PartialEq, Eq)]
pub(super) enum Ready {
    Short { input: usize, bytes: [u8; 3], length: usize },
    Exclusive { input: usize, bytes: Vec<u8> },
    InputGone(usize),
    InputBack(usize),
    OutputGone(usize),
    OutputBack(usize),
    OutputJoined(usize),
    Overrun,
}

/// What is ready to be given, and the bytes of what was given last, which the caller still looks at.
#[derive(Debug, Default)]
pub(super) struct InputQueue {
    /// What happened to ports; told before all messages.
    pub(super) changes: VecDeque<Ready>,
    lanes: Vec<Lane>,
    /// The lane whose turn it is.
    turn: usize,
    /// Messages in all lanes.
    waiting: usize,
    shed: u64,
    short: [u8; 3],
    exclusive: Vec<u8>,
}

/// What waits of one input.
#[derive(Debug, Default)]
struct Lane {
    messages: VecDeque<Ready>,
    /// Per channel, the notes whose end waits with nothing after it, and the pedals.
    ended: [u128; 16],
    lifted: [u8; 16],
}

impl Lane {
    /// The bit of a note, or of a pedal, that a message concerns.
    fn end_of(&mut self, bytes: [u8; 3]) -> Option<(&mut u128, u128)> {
        let place = usize::from(bytes[0] & 0x0F);
        match bytes[0] & 0xF0 {
            0x80 | 0x90 => Some((self.ended.get_mut(place)?, 1 << (bytes[1] & 0x7F))),
            _ => None,
        }
    }

    fn pedal_of(&mut self, bytes: [u8; 3]) -> Option<(&mut u8, u8)> {
        let place = usize::from(bytes[0] & 0x0F);
        match (bytes[0] & 0xF0, bytes[1]) {
            (0xB0, pedal @ 64..=69) => Some((self.lifted.get_mut(place)?, 1 << (pedal - 64))),
            _ => None,
        }
    }

    /// Marks or unmarks that the end of this message's note or pedal waits; says whether it was marked.
    fn mark(&mut self, bytes: [u8; 3], waits: bool) -> bool {
        if let Some((marks, bit)) = self.end_of(bytes) {
            let was = *marks & bit != 0;
            *marks = if waits { *marks | bit } else { *marks & !bit };
            return was;
        }
        if let Some((marks, bit)) = self.pedal_of(bytes) {
            let was = *marks & bit != 0;
            *marks = if waits { *marks | bit } else { *marks & !bit };
            return was;
        }
        false
    }
}

impl InputQueue {
    /// Room for so many inputs.
    pub(super) fn new(inputs: usize) -> Self {
        let lane = || Lane { messages: VecDeque::with_capacity(512), ..Lane::default() };
        let lanes = (0..inputs).map(|_| lane()).collect();
        InputQueue { changes: VecDeque::with_capacity(64), lanes, ..InputQueue::default() }
    }

    /// Whether there is nothing to be given.
    pub(super) fn is_empty(&self) -> bool {
        self.changes.is_empty() && self.waiting == 0
    }

    /// The next thing, if there is any; it may be looked at until the next call.
    pub(super) fn pop(&mut self) -> Option<Arrival<'_>> {
        let ready = match self.changes.pop_front() {
            Some(change) => change,
            None => self.next_message()?,
        };
        Some(match ready {
            Ready::Short { input, bytes, length } => {
                self.short = bytes;
                Arrival::Message { input, bytes: self.short.get(..length).unwrap_or_default() }
            }
            Ready::Exclusive { input, bytes } => {
                self.exclusive = bytes;
                Arrival::Message { input, bytes: &self.exclusive }
            }
            Ready::InputGone(input) => Arrival::InputGone(input),
            Ready::InputBack(input) => Arrival::InputBack(input),
            Ready::OutputGone(output) => Arrival::OutputGone(output),
            Ready::OutputBack(output) => Arrival::OutputBack(output),
            Ready::OutputJoined(output) => Arrival::OutputJoined(output),
            Ready::Overrun => Arrival::Overrun,
        })
    }

    /// The first of the next lane that has any.
    fn next_message(&mut self) -> Option<Ready> {
        if self.waiting == 0 {
            return None;
        }
        for _ in 0..self.lanes.len() {
            self.turn = (self.turn + 1) % self.lanes.len();
            let lane = &mut self.lanes[self.turn];
            let Some(message) = lane.messages.pop_front() else { continue };
            self.waiting -= 1;
            if let Ready::Short { bytes, length, .. } = &message
                && Priority::of(bytes.get(..*length).unwrap_or_default()) == Priority::Release
            {
                lane.mark(*bytes, false);
            }
            return Some(message);
        }
        None
    }

    /// Where the news from this place on say that an input is lost, what waits of it is void: its keys come up anyway.
    pub(super) fn discard_lost(&mut self, from: usize) {
        for change in self.changes.iter().skip(from) {
            let lost = match change {
                Ready::InputGone(input) => self.lanes.get_mut(*input..=*input).unwrap_or_default(),
                Ready::Overrun => &mut self.lanes[..],
                _ => continue,
            };
            for lane in lost {
                self.waiting -= lane.messages.len();
                lane.messages.clear();
                (lane.ended, lane.lifted) = Default::default();
            }
        }
    }

    /// How many messages were shed so far.
    pub(super) fn shed(&self) -> u64 {
        self.shed
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
            Priority::Other => LIGHT,
            Priority::NoteOn => NOTES,
            Priority::Release => usize::MAX,
        };
        if lane.messages.len() >= limit {
            self.shed += 1;
            return;
        }
        if message.first() == Some(&0xF0) {
            // The buffer of the last one that was given, so that no more memory is asked for.
            let mut bytes = std::mem::take(&mut self.exclusive);
            bytes.clear();
            bytes.extend_from_slice(message);
            self.waiting += 1;
            lane.messages.push_back(Ready::Exclusive { input, bytes });
            return;
        }
        let mut bytes = [0; 3];
        let Some(place) = bytes.get_mut(..message.len()) else { return };
        place.copy_from_slice(message);
        let is_end = priority == Priority::Release;
        if lane.mark(bytes, is_end) && is_end && lane.messages.len() >= NOTES {
            return;
        }
        self.waiting += 1;
        lane.messages.push_back(Ready::Short { input, bytes, length: message.len() });
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
        assert!(given.len() < NOTES + 128 + 100, "{} wait", given.len());
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
        assert!(queue.shed() > 0 && kept + queue.shed() <= 100 * (3 * 128 + 1));
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
        queue.changes.push_back(Ready::InputGone(0));
        queue.discard_lost(0);
        queue.push(0, &[0x80, 0, 1]);
        assert_eq!(queue.pop(), Some(Arrival::InputGone(0)));
        assert_eq!(given(&mut queue), [(0, vec![0x80, 0, 1])]);
        assert!(queue.is_empty());
    }

    #[test]
    fn a_burst_as_long_as_the_systems_queue_is_kept_whole() {
        let mut queue = InputQueue::new(1);
        for event in 0..2000_u32 {
            let key = u8::try_from(event / 3 % 128).unwrap();
            queue.push(0, &[[0x90, key, 1], [0xB0, 1, key], [0x80, key, 64]][event as usize % 3]);
        }
        assert_eq!((given(&mut queue).len(), queue.shed()), (2000, 0));
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
        assert_eq!(queue.shed(), 0);
    }
}
