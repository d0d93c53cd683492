//! The page's keyboard, under all hands that play on it. A key that two hold comes up with the last of them; the end of a
//! note is never lost.

use std::collections::VecDeque;
use std::sync::{Mutex, MutexGuard, PoisonError};

use crate::daemon::Remote;

/// The sustain pedal's controller.
const SUSTAIN: u8 = 64;
/// What a hand that lifts a key says of how fast.
const LIFTED: u8 = 64;
/// Messages that may wait where the owner is behind; ends of notes may always.
const MOST_PENDING: usize = 256;

/// The keyboard of all pages.
#[derive(Debug)]
pub(super) struct PageKeyboard {
    remote: Remote,
    /// The input that it plays as.
    input: Option<usize>,
    held: Mutex<Held>,
}

#[derive(Debug)]
struct Held {
    channel: u8,
    /// How many hold each key.
    keys: [u8; 128],
    pedals: u8,
    /// What the owner had no room for, in order.
    pending: VecDeque<[u8; 3]>,
}

/// What one viewer holds.
#[derive(Debug, Default)]
pub(super) struct HeldKeys {
    keys: u128,
    pedal: bool,
}

impl HeldKeys {
    /// Whether it holds nothing.
    pub fn is_empty(&self) -> bool {
        self.keys == 0 && !self.pedal
    }
}

impl PageKeyboard {
    pub fn new(remote: Remote, input: Option<usize>, channel: u8) -> PageKeyboard {
        let held = Held { channel, keys: [0; 128], pedals: 0, pending: VecDeque::new() };
        PageKeyboard { remote, input, held: Mutex::new(held) }
    }

    fn held(&self) -> MutexGuard<'_, Held> {
        self.held.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// A key goes down.
    pub fn press(&self, own: &mut HeldKeys, key: u8, velocity: u8) {
        let mut held = self.held();
        let Some(holders) = held.keys.get_mut(usize::from(key)) else { return };
        if own.keys & 1 << key == 0 {
            own.keys |= 1 << key;
            *holders += 1;
        }
        let message = [0x90 | held.channel, key, velocity];
        self.say(&mut held, message, false);
    }

    /// A key comes up.
    pub fn lift(&self, own: &mut HeldKeys, key: u8) {
        self.lift_from(&mut self.held(), own, key);
    }

    /// The pedal goes down or comes up.
    pub fn pedal(&self, own: &mut HeldKeys, down: bool) {
        self.pedal_from(&mut self.held(), own, down);
    }

    /// Everything that somebody holds comes up.
    pub fn let_go(&self, own: &mut HeldKeys) {
        let mut held = self.held();
        let keys = own.keys;
        for key in (0..128).filter(|key| keys & 1 << key != 0) {
            self.lift_from(&mut held, own, key);
        }
        self.pedal_from(&mut held, own, false);
    }

    fn lift_from(&self, held: &mut Held, own: &mut HeldKeys, key: u8) {
        if key > 127 || own.keys & 1 << key == 0 {
            return;
        }
        own.keys &= !(1 << key);
        let holders = &mut held.keys[usize::from(key)];
        *holders = holders.saturating_sub(1);
        if *holders == 0 {
            let message = [0x80 | held.channel, key, LIFTED];
            self.say(held, message, true);
        }
    }

    fn pedal_from(&self, held: &mut Held, own: &mut HeldKeys, down: bool) {
        if own.pedal == down {
            return;
        }
        own.pedal = down;
        let before = held.pedals;
        held.pedals = if down { before.saturating_add(1) } else { before.saturating_sub(1) };
        if (before == 0) != (held.pedals == 0) {
            let message = [0xB0 | held.channel, SUSTAIN, if down { 127 } else { 0 }];
            self.say(held, message, true);
        }
    }

    /// The input hears another channel from now on; what is held ends on the one before.
    pub fn retune(&self, channel: u8) {
        let mut held = self.held();
        if held.channel == channel {
            return;
        }
        for key in (0..128).filter(|key| held.keys[usize::from(*key)] > 0).collect::<Vec<u8>>() {
            let message = [0x80 | held.channel, key, LIFTED];
            self.say(&mut held, message, true);
        }
        if held.pedals > 0 {
            let message = [0xB0 | held.channel, SUSTAIN, 0];
            self.say(&mut held, message, true);
        }
        held.channel = channel;
    }

    /// Gives it to the owner, or keeps it until there is room.
    fn say(&self, held: &mut Held, message: [u8; 3], must: bool) {
        let Some(input) = self.input else { return };
        self.flush_from(held);
        if held.pending.is_empty() && self.remote.play(input, message) {
            return;
        }
        if held.pending.len() >= MOST_PENDING {
            if !must {
                return;
            }
            // One end of a note is as good as two.
            held.pending.retain(|pending| *pending != message);
        }
        held.pending.push_back(message);
    }

    fn flush_from(&self, held: &mut Held) {
        let Some(input) = self.input else { return };
        while let Some(message) = held.pending.front() {
            if !self.remote.play(input, *message) {
                return;
            }
            held.pending.pop_front();
        }
    }

    /// Gives the owner what it had no room for; whether something is left.
    pub fn flush(&self) -> bool {
        let mut held = self.held();
        self.flush_from(&mut held);
        !held.pending.is_empty()
    }
}
