//! What can be seen of a performance at any moment: the keys that are down, the notes that sound, how long a message
//! takes. The owner keeps it up to date with plain stores; whoever looks never asks it.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU8, AtomicU64, Ordering};

use crossbeam_channel::{Receiver, Sender, bounded};

/// Messages of outputs that may wait to be heard; what all outputs can say in several looks.
const SAID: usize = 4096;

/// A note on or off, controller or other short message that an output was given.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Heard {
    /// Number of the output.
    pub output: usize,
    /// The message; what follows `length` means nothing.
    pub bytes: [u8; 3],
    /// How many bytes it has: 2 or 3.
    pub length: u8,
}

/// Controllers whose last value is remembered: volume, pan, expression, the sustain pedal.
const REMEMBERED: [u8; 4] = [7, 10, 11, 64];

/// What a channel of an output was told last; each is one more than its value, 0 before it was told.
#[derive(Debug, Default)]
struct LastTold {
    program: AtomicU8,
    controls: [AtomicU8; REMEMBERED.len()],
}

/// The owner's and everybody's view of what sounds and is held. Clones see the same.
///
/// A set of keys or notes is a number with one bit for each of the 128. Its halves are not read at one instant.
#[derive(Debug, Clone)]
pub struct Sight(Arc<Seen>);

#[derive(Debug)]
struct Seen {
    /// Keys that are down, for each input.
    down: Vec<Bits>,
    /// Notes that sound, for each channel of each output.
    notes: Vec<Bits>,
    /// What sets up each channel of each output.
    told: Vec<LastTold>,
    /// What 99 of 100 messages took at most, in microseconds; 0 before there was one.
    latency: AtomicU64,
    /// Whether somebody looks, and wants to be told of changes.
    watched: AtomicBool,
    changes: (Sender<()>, Receiver<()>),
    /// Whether somebody hears what the outputs are given.
    heard: AtomicBool,
    said: (Sender<Heard>, Receiver<Heard>),
    missed: AtomicU64,
}

#[derive(Debug, Default)]
struct Bits([AtomicU64; 2]);

impl Bits {
    fn get(&self) -> u128 {
        let [low, high] = &self.0;
        u128::from(low.load(Ordering::Relaxed)) | u128::from(high.load(Ordering::Relaxed)) << 64
    }

    /// Whether that is something new.
    fn set(&self, bits: u128) -> bool {
        let new = self.get() != bits;
        if new {
            let [low, high] = &self.0;
            low.store(bits as u64, Ordering::Relaxed);
            high.store((bits >> 64) as u64, Ordering::Relaxed);
        }
        new
    }
}

impl Sight {
    pub(super) fn new(inputs: usize, outputs: usize) -> Sight {
        let bits = |count: usize| std::iter::repeat_with(Bits::default).take(count).collect();
        Sight(Arc::new(Seen {
            down: bits(inputs),
            notes: bits(outputs * 16),
            told: std::iter::repeat_with(LastTold::default).take(outputs * 16).collect(),
            latency: AtomicU64::new(0),
            watched: AtomicBool::new(false),
            changes: bounded(1),
            heard: AtomicBool::new(false),
            said: bounded(SAID),
            missed: AtomicU64::new(0),
        }))
    }

    /// The keys of an input that are down, whatever their channel.
    #[must_use]
    pub fn keys_down(&self, input: usize) -> u128 {
        self.0.down.get(input).map_or(0, Bits::get)
    }

    /// The notes that sound at a channel, from 0, of an output.
    #[must_use]
    pub fn notes(&self, output: usize, channel: u8) -> u128 {
        self.0.notes.get(output * 16 + usize::from(channel)).map_or(0, Bits::get)
    }

    /// From the arrival of a message to the last byte that it caused: what 99 of 100 took at most, in microseconds,
    /// since the performance began. None before the first.
    #[must_use]
    pub fn latency(&self) -> Option<u64> {
        Some(self.0.latency.load(Ordering::Relaxed)).filter(|latency| *latency > 0)
    }

    /// Whether [`Sight::changes`] gets something when keys or notes change.
    pub fn watch(&self, on: bool) {
        self.0.watched.store(on, Ordering::Relaxed);
    }

    /// Gets one when something has changed since the last was taken, while [`Sight::watch`] is on.
    #[must_use]
    pub fn changes(&self) -> &Receiver<()> {
        &self.0.changes.1
    }

    /// Whether [`Sight::said`] gets what the outputs are given.
    pub fn hear(&self, on: bool) {
        self.0.heard.store(on, Ordering::Relaxed);
    }

    /// What the outputs are given, whether or not anybody listens at their ports, while [`Sight::hear`] is on. Only
    /// messages of a channel.
    #[must_use]
    pub fn said(&self) -> &Receiver<Heard> {
        &self.0.said.1
    }

    /// The messages that tell a channel, from 0, of an output once more which program, volume, pan, expression and pedal it
    /// was told last: for who begins to hear in the middle.
    pub fn set_up(&self, output: usize, channel: u8) -> impl Iterator<Item = Heard> {
        let told = self.0.told.get(output * 16 + usize::from(channel));
        let last = |value: &AtomicU8| value.load(Ordering::Relaxed).checked_sub(1);
        let program = told.and_then(|told| last(&told.program));
        let program = program.map(|program| Heard { output, bytes: [0xC0 | channel, program, 0], length: 2 });
        let controls = told.into_iter().flat_map(|told| REMEMBERED.into_iter().zip(&told.controls));
        let controls = controls.filter_map(move |(number, value)| Some((number, last(value)?)));
        let control = move |(number, value)| Heard { output, bytes: [0xB0 | channel, number, value], length: 3 };
        program.into_iter().chain(controls.map(control))
    }

    /// How many of these were left out so far because they were not fetched in time.
    #[must_use]
    pub fn missed(&self) -> u64 {
        self.0.missed.load(Ordering::Relaxed)
    }

    /// The owner: an output is given a message. Neither waits nor allocates.
    ///
    /// Returns whether there is something new to see or hear.
    pub(super) fn give(&self, output: usize, message: &[u8]) -> bool {
        let (Some(&status), Some(&first)) = (message.first(), message.get(1)) else { return false };
        if status >= 0xF0 {
            return false;
        }
        let heard = self.0.heard.load(Ordering::Relaxed);
        if heard {
            let mut bytes = [0; 3];
            bytes.iter_mut().zip(message).for_each(|(to, from)| *to = *from);
            let said = Heard { output, bytes, length: message.len().min(3) as u8 };
            if self.0.said.0.try_send(said).is_err() {
                self.0.missed.fetch_add(1, Ordering::Relaxed);
            }
        }
        let place = output * 16 + usize::from(status & 0x0F);
        let (Some(notes), Some(told)) = (self.0.notes.get(place), self.0.told.get(place)) else { return heard };
        let new = match status & 0xF0 {
            0x90 => notes.set(notes.get() | 1 << (first & 0x7F)),
            0x80 => notes.set(notes.get() & !(1 << (first & 0x7F))),
            0xB0 => {
                let known = REMEMBERED.iter().zip(&told.controls).find(|(number, _)| **number == first);
                if let (Some((_, value)), Some(now)) = (known, message.get(2)) {
                    value.store((now & 0x7F) + 1, Ordering::Relaxed);
                }
                false
            }
            0xC0 => {
                told.program.store((first & 0x7F) + 1, Ordering::Relaxed);
                false
            }
            _ => false,
        };
        new || heard
    }

    /// The owner: these keys of an input are down now. Returns whether that is something new.
    pub(super) fn set_down(&self, input: usize, keys: u128) -> bool {
        self.0.down.get(input).is_some_and(|down| down.set(keys))
    }

    /// The owner: what 99 of 100 messages took at most, in microseconds.
    pub(super) fn set_latency(&self, latency: u64) {
        self.0.latency.store(latency, Ordering::Relaxed);
    }

    /// The owner: something has changed. Costs a call into the system only where somebody waits for it.
    pub(super) fn stir(&self) {
        if self.0.watched.load(Ordering::Relaxed) {
            let _ = self.0.changes.0.try_send(());
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn notes_are_seen_from_on_to_off_and_heard_only_on_request() {
        let sight = Sight::new(1, 2);
        assert!(sight.give(1, &[0x93, 60, 80]));
        assert!(!sight.give(1, &[0x93, 60, 90]), "it sounds already");
        assert_eq!((sight.notes(1, 3), sight.notes(0, 3), sight.notes(1, 4)), (1 << 60, 0, 0));
        assert!(sight.said().is_empty());
        sight.hear(true);
        assert!(sight.give(1, &[0x83, 60, 64]));
        assert!(sight.give(0, &[0xC0, 5]), "there is something to hear");
        assert!(!sight.give(0, &[0xF8]));
        assert_eq!(sight.notes(1, 3), 0);
        let heard: Vec<Heard> = sight.said().try_iter().collect();
        assert_eq!(
            heard,
            [
                Heard { output: 1, bytes: [0x83, 60, 64], length: 3 },
                Heard { output: 0, bytes: [0xC0, 5, 0], length: 2 },
            ]
        );
    }

    #[test]
    fn who_begins_to_hear_is_told_what_was_set_up_before() {
        let sight = Sight::new(0, 2);
        for message in [&[0xB2, 7, 90][..], &[0xC2, 0], &[0xC2, 89], &[0xB2, 1, 5], &[0xB2, 64, 0], &[0xB2, 7, 0]] {
            sight.give(1, message);
        }
        let told: Vec<Vec<u8>> =
            sight.set_up(1, 2).map(|heard| heard.bytes[..usize::from(heard.length)].to_vec()).collect();
        assert_eq!(told, [vec![0xC2, 89], vec![0xB2, 7, 0], vec![0xB2, 64, 0]]);
        assert_eq!(sight.set_up(1, 3).count() + sight.set_up(0, 2).count() + sight.set_up(9, 2).count(), 0);
    }

    #[test]
    fn a_change_is_told_once_however_many_there_were_and_only_to_who_watches() {
        let sight = Sight::new(1, 1);
        assert!(sight.set_down(0, 1 << 100) && !sight.set_down(0, 1 << 100));
        assert_eq!(sight.keys_down(0), 1 << 100);
        sight.stir();
        assert!(sight.changes().is_empty());
        sight.watch(true);
        (0..5).for_each(|_| sight.stir());
        assert_eq!(sight.changes().len(), 1);
    }

    #[test]
    fn what_nobody_fetches_is_counted_and_holds_nobody_up() {
        let sight = Sight::new(0, 1);
        sight.hear(true);
        (0..SAID + 7).for_each(|_| {
            sight.give(0, &[0xB0, 1, 2]);
        });
        assert_eq!(sight.missed(), 7);
    }
}
