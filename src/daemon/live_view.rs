//! The live view: the keys that are down, the notes that sound, how long a message takes. The owner keeps it up to date
//! with plain stores, and whoever looks never asks it.

use std::sync::atomic::{AtomicBool, AtomicU8, AtomicU16, AtomicU64, Ordering};
use std::sync::{Arc, Mutex, PoisonError};

use rtrb::{Consumer, Producer, RingBuffer};

/// Messages of outputs that may wait to be fetched; what all outputs can send in several looks.
const SENT: usize = 4096;

/// A note on or off, controller or other short message that an output was sent.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Sent {
    /// Number of the output.
    pub output: usize,
    /// The message; what follows `length` means nothing.
    pub bytes: [u8; 3],
    /// How many bytes it has: 2 or 3.
    pub length: u8,
}

/// Controllers whose last value is remembered: volume, pan, expression, the sustain pedal.
const REMEMBERED: [u8; 4] = [7, 10, 11, 64];

/// What a channel of an output was sent last; each is one more than its value, 0 before that.
#[derive(Debug, Default)]
struct LastSent {
    program: AtomicU8,
    controls: [AtomicU8; REMEMBERED.len()],
    /// The pitch bend, from 0 to 16,383.
    bend: AtomicU16,
    /// How hard each note was struck that sounds or sounded.
    velocities: Velocities,
}

#[derive(Debug)]
struct Velocities([AtomicU8; 128]);

impl Default for Velocities {
    fn default() -> Velocities {
        Velocities(std::array::from_fn(|_| AtomicU8::new(0)))
    }
}

/// Everybody's view of what sounds and is held. Clones see the same.
///
/// A set of keys or notes is a number with one bit for each of the 128. Its halves are not read at one instant.
#[derive(Debug, Clone)]
pub struct LiveView(Arc<Shared>);

/// The longest message of an input that can be watched, in bytes: a command to a recorder.
const LONGEST_WATCHED: usize = 6;
/// Messages of inputs that may wait to be looked at; more say nothing new.
const WATCHED: usize = 256;

/// A message that an input received.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Received {
    /// Number of the input.
    pub input: usize,
    bytes: [u8; LONGEST_WATCHED],
    length: u8,
}

impl Received {
    /// The message.
    #[must_use]
    pub fn bytes(&self) -> &[u8] {
        &self.bytes[..usize::from(self.length)]
    }
}

/// The owner's end of the live view. Nothing here takes a lock, waits, allocates or wakes anybody.
#[derive(Debug)]
pub(super) struct LiveViewWriter {
    shared: Arc<Shared>,
    sent: Producer<Sent>,
    received: Producer<Received>,
}

#[derive(Debug)]
struct Shared {
    /// Keys that are down, for each input.
    down: Vec<AtomicBits>,
    /// Notes that sound, for each channel of each output.
    notes: Vec<AtomicBits>,
    /// What sets up each channel of each output.
    last: Vec<LastSent>,
    /// What 99 of 100 messages took at most, in microseconds; 0 before there was one.
    latency: AtomicU64,
    /// Grows when keys or notes have changed.
    changes: AtomicU64,
    /// Whether somebody wants to hear what the outputs are sent.
    heard: AtomicBool,
    /// What they were sent; only those who look take this lock.
    sent: Mutex<Consumer<Sent>>,
    missed: AtomicU64,
    /// Whether somebody wants to see what the inputs receive.
    watched: AtomicBool,
    /// What they received; only those who look take this lock.
    received: Mutex<Consumer<Received>>,
}

#[derive(Debug, Default)]
struct AtomicBits([AtomicU64; 2]);

impl AtomicBits {
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

impl LiveView {
    pub(super) fn new(inputs: usize, outputs: usize) -> (LiveView, LiveViewWriter) {
        let bits = |count: usize| std::iter::repeat_with(AtomicBits::default).take(count).collect();
        let (mut producer, mut consumer) = RingBuffer::new(SENT);
        // Every slot is written once: the playing thread never waits for the system to give it the memory.
        while producer.push(Sent { output: 0, bytes: [0; 3], length: 0 }).is_ok() {}
        while consumer.pop().is_ok() {}
        let (mut watched, mut watcher) = RingBuffer::new(WATCHED);
        while watched.push(Received { input: 0, bytes: [0; LONGEST_WATCHED], length: 0 }).is_ok() {}
        while watcher.pop().is_ok() {}
        let shared = Arc::new(Shared {
            down: bits(inputs),
            notes: bits(outputs * 16),
            last: std::iter::repeat_with(LastSent::default).take(outputs * 16).collect(),
            latency: AtomicU64::new(0),
            changes: AtomicU64::new(0),
            heard: AtomicBool::new(false),
            sent: Mutex::new(consumer),
            missed: AtomicU64::new(0),
            watched: AtomicBool::new(false),
            received: Mutex::new(watcher),
        });
        (LiveView(Arc::clone(&shared)), LiveViewWriter { shared, sent: producer, received: watched })
    }

    /// The keys of an input that are down, whatever their channel.
    #[must_use]
    pub fn keys_down(&self, input: usize) -> u128 {
        self.0.down.get(input).map_or(0, AtomicBits::get)
    }

    /// The notes that sound at a channel, from 0, of an output.
    #[must_use]
    pub fn notes(&self, output: usize, channel: u8) -> u128 {
        self.0.notes.get(output * 16 + usize::from(channel)).map_or(0, AtomicBits::get)
    }

    /// From the arrival of a message to the last byte that it caused: what 99 of 100 took at most, in microseconds,
    /// since the performance began. None before the first.
    #[must_use]
    pub fn latency(&self) -> Option<u64> {
        Some(self.0.latency.load(Ordering::Relaxed)).filter(|latency| *latency > 0)
    }

    /// A number that is another one after keys or notes have changed.
    #[must_use]
    pub fn changes(&self) -> u64 {
        self.0.changes.load(Ordering::Acquire)
    }

    /// Whether [`LiveView::sent`] gets what the outputs are sent. What waits from before is forgotten.
    pub fn capture(&self, on: bool) {
        self.0.heard.store(on, Ordering::Relaxed);
        if on {
            let _ = self.sent(SENT);
        }
    }

    /// What the outputs were sent since the last call, at most `most` messages, whether or not anything is connected to
    /// them, while [`LiveView::capture`] is on. Only messages of a channel.
    #[must_use]
    pub fn sent(&self, most: usize) -> Vec<Sent> {
        let mut sent = self.0.sent.lock().unwrap_or_else(PoisonError::into_inner);
        std::iter::from_fn(|| sent.pop().ok()).take(most).collect()
    }

    /// Whether [`LiveView::received`] gets what the inputs receive. What waits from before is forgotten.
    pub fn watch(&self, on: bool) {
        self.0.watched.store(on, Ordering::Relaxed);
        let _ = self.received();
    }

    /// What the inputs received since the last call, while [`LiveView::watch`] is on, as far as it was fetched in time.
    /// Ticks of a clock, signs of life and long messages are left out.
    #[must_use]
    pub fn received(&self) -> Vec<Received> {
        let mut received = self.0.received.lock().unwrap_or_else(PoisonError::into_inner);
        std::iter::from_fn(|| received.pop().ok()).take(WATCHED).collect()
    }

    /// The messages that tell a channel, from 0, of an output once more which program, volume, pan, expression, pedal and
    /// bend it was sent last, and then which notes sound: for who begins to hear in the middle.
    pub fn so_far(&self, output: usize, channel: u8) -> impl Iterator<Item = Sent> {
        let known = self.0.last.get(output * 16 + usize::from(channel));
        let last = |value: &AtomicU8| value.load(Ordering::Relaxed).checked_sub(1);
        let program = known.and_then(|known| last(&known.program));
        let program = program.map(|program| Sent { output, bytes: [0xC0 | channel, program, 0], length: 2 });
        let controls = known.into_iter().flat_map(|known| REMEMBERED.into_iter().zip(&known.controls));
        let controls = controls.filter_map(move |(number, value)| Some((number, last(value)?)));
        let control = move |(number, value)| Sent { output, bytes: [0xB0 | channel, number, value], length: 3 };
        let bend = known.and_then(|known| known.bend.load(Ordering::Relaxed).checked_sub(1)).map(move |bend| {
            let bytes = [0xE0 | channel, (bend & 0x7F) as u8, (bend >> 7) as u8];
            Sent { output, bytes, length: 3 }
        });
        let sounding = self.notes(output, channel);
        let notes = known.into_iter().flat_map(|known| (0..128).zip(&known.velocities.0));
        let notes = notes.filter(move |(note, _)| sounding & 1 << note != 0).map(move |(note, velocity)| {
            let bytes = [0x90 | channel, note, velocity.load(Ordering::Relaxed).max(1)];
            Sent { output, bytes, length: 3 }
        });
        program.into_iter().chain(controls.map(control)).chain(bend).chain(notes)
    }

    /// How many of the outputs' messages were left out so far because they were not fetched in time.
    #[must_use]
    pub fn missed(&self) -> u64 {
        self.0.missed.load(Ordering::Relaxed)
    }
}

impl LiveViewWriter {
    /// An output is sent a message.
    pub fn sent(&mut self, output: usize, message: &[u8]) {
        let Some(&status) = message.first().filter(|status| **status < 0xF0) else { return };
        let mut bytes = [0; 3];
        bytes.iter_mut().zip(message).for_each(|(to, from)| *to = *from);
        // First what is known, then the ring: who begins to hear between both misses no end.
        self.remember(output * 16 + usize::from(status & 0x0F), bytes);
        if self.shared.heard.load(Ordering::Relaxed)
            && self.sent.push(Sent { output, bytes, length: message.len().min(3) as u8 }).is_err()
        {
            self.shared.missed.fetch_add(1, Ordering::Relaxed);
        }
    }

    /// An input receives a message.
    pub fn received(&mut self, input: usize, message: &[u8]) {
        let says_nothing = matches!(message, [0xF8 | 0xFE, ..]) || message.len() > LONGEST_WATCHED;
        if says_nothing || !self.shared.watched.load(Ordering::Relaxed) {
            return;
        }
        let mut bytes = [0; LONGEST_WATCHED];
        bytes.iter_mut().zip(message).for_each(|(to, from)| *to = *from);
        let _ = self.received.push(Received { input, bytes, length: message.len() as u8 });
    }

    fn remember(&self, channel: usize, [status, first, second]: [u8; 3]) {
        let (Some(notes), Some(last)) = (self.shared.notes.get(channel), self.shared.last.get(channel)) else { return };
        let (first, second) = (first & 0x7F, second & 0x7F);
        match status & 0xF0 {
            0x90 => {
                if let Some(velocity) = last.velocities.0.get(usize::from(first)) {
                    velocity.store(second, Ordering::Relaxed);
                }
                self.changed(notes.set(notes.get() | 1 << first));
            }
            0x80 => self.changed(notes.set(notes.get() & !(1 << first))),
            0xB0 => {
                let known = REMEMBERED.iter().zip(&last.controls).find(|(number, _)| **number == first);
                if let Some((_, value)) = known {
                    value.store(second + 1, Ordering::Relaxed);
                }
            }
            0xC0 => last.program.store(first + 1, Ordering::Relaxed),
            0xE0 => last.bend.store((u16::from(first) | u16::from(second) << 7) + 1, Ordering::Relaxed),
            _ => {}
        }
    }

    /// These keys of an input are down now.
    pub fn set_down(&self, input: usize, keys: u128) {
        self.changed(self.shared.down.get(input).is_some_and(|down| down.set(keys)));
    }

    /// What 99 of 100 messages took at most, in microseconds.
    pub fn set_latency(&self, latency: u64) {
        self.shared.latency.store(latency, Ordering::Relaxed);
    }

    fn changed(&self, is_new: bool) {
        if is_new {
            self.shared.changes.fetch_add(1, Ordering::Release);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn notes_are_seen_from_on_to_off_and_heard_only_on_request() {
        let (view, mut owner) = LiveView::new(1, 2);
        owner.sent(1, &[0x93, 60, 80]);
        let changes = view.changes();
        owner.sent(1, &[0x93, 60, 90]);
        assert_eq!(view.changes(), changes, "it sounds already");
        assert_eq!((view.notes(1, 3), view.notes(0, 3), view.notes(1, 4)), (1 << 60, 0, 0));
        assert_eq!(view.sent(9), []);
        view.capture(true);
        owner.sent(1, &[0x83, 60, 64]);
        assert_ne!(view.changes(), changes);
        owner.sent(0, &[0xC0, 5]);
        owner.sent(0, &[0xF8]);
        assert_eq!(view.notes(1, 3), 0);
        let off = Sent { output: 1, bytes: [0x83, 60, 64], length: 3 };
        assert_eq!(view.sent(1), [off]);
        assert_eq!(view.sent(9), [Sent { output: 0, bytes: [0xC0, 5, 0], length: 2 }]);
        owner.sent(1, &[0x83, 60, 64]);
        view.capture(true);
        assert_eq!(view.sent(9), [], "who begins to hear gets nothing from before");
    }

    fn told_so_far(view: &LiveView, output: usize, channel: u8) -> Vec<Vec<u8>> {
        view.so_far(output, channel).map(|sent| sent.bytes[..usize::from(sent.length)].to_vec()).collect()
    }

    #[test]
    fn who_begins_to_hear_is_told_what_was_set_up_before() {
        let (view, mut owner) = LiveView::new(0, 2);
        for message in [&[0xB2, 7, 90][..], &[0xC2, 0], &[0xC2, 89], &[0xB2, 1, 5], &[0xB2, 64, 0], &[0xB2, 7, 0]] {
            owner.sent(1, message);
        }
        assert_eq!(told_so_far(&view, 1, 2), [vec![0xC2, 89], vec![0xB2, 7, 0], vec![0xB2, 64, 0]]);
        assert_eq!(view.so_far(1, 3).count() + view.so_far(0, 2).count() + view.so_far(9, 2).count(), 0);
    }

    #[test]
    fn who_begins_to_hear_gets_what_sounds_as_loud_as_it_was_struck() {
        let (view, mut owner) = LiveView::new(0, 1);
        for message in [[0x94, 60, 80], [0x94, 67, 33], [0x94, 0, 1], [0x84, 67, 64], [0xE4, 0, 32], [0x94, 127, 99]] {
            owner.sent(0, &message);
        }
        let bend_and_notes = [vec![0xE4, 0, 32], vec![0x94, 0, 1], vec![0x94, 60, 80], vec![0x94, 127, 99]];
        assert_eq!(told_so_far(&view, 0, 4), bend_and_notes);
        owner.sent(0, &[0x84, 60, 64]);
        owner.sent(0, &[0x94, 127, 12]);
        assert_eq!(told_so_far(&view, 0, 4)[1..], [vec![0x94, 0, 1], vec![0x94, 127, 12]]);
    }

    #[test]
    fn what_inputs_receive_is_seen_only_on_request() {
        let (view, mut owner) = LiveView::new(2, 0);
        let bytes =
            |view: &LiveView| view.received().iter().map(|one| (one.input, one.bytes().to_vec())).collect::<Vec<_>>();
        owner.received(1, &[0xB0, 64, 127]);
        assert_eq!(bytes(&view), []);
        view.watch(true);
        for message in [&[0xF8][..], &[0xFE], &[0xF0, 1, 2, 3, 4, 5, 0xF7], &[0xC0, 5], &[0xF0, 0x7F, 0x7F, 6, 2, 0xF7]]
        {
            owner.received(1, message);
        }
        assert_eq!(bytes(&view), [(1, vec![0xC0, 5]), (1, vec![0xF0, 0x7F, 0x7F, 6, 2, 0xF7])]);
        (0..WATCHED + 7).for_each(|_| owner.received(0, &[0xB0, 1, 2]));
        assert_eq!(view.received().len(), WATCHED, "nobody is held up");
        owner.received(0, &[0xB0, 1, 2]);
        view.watch(true);
        assert_eq!(bytes(&view), [], "who begins to look gets nothing from before");
    }

    #[test]
    fn keys_that_go_down_and_stay_down_are_one_change() {
        let (view, owner) = LiveView::new(1, 1);
        let before = view.changes();
        owner.set_down(0, 1 << 100);
        let after = view.changes();
        owner.set_down(0, 1 << 100);
        assert_ne!(before, after);
        assert_eq!((view.keys_down(0), view.changes()), (1 << 100, after));
    }

    #[test]
    fn what_nobody_fetches_is_counted_and_holds_nobody_up() {
        let (view, mut owner) = LiveView::new(0, 1);
        view.capture(true);
        (0..SENT + 7).for_each(|_| owner.sent(0, &[0xB0, 1, 2]));
        assert_eq!(view.missed(), 7);
    }
}
