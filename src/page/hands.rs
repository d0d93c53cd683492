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
const MOST_OWED: usize = 256;

/// The keyboard of all pages.
#[derive(Debug)]
pub(super) struct Hands {
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
    owed: VecDeque<[u8; 3]>,
}

/// What one viewer holds.
#[derive(Debug, Default)]
pub(super) struct Grip {
    keys: u128,
    pedal: bool,
}

impl Grip {
    /// Whether it holds nothing.
    pub fn is_empty(&self) -> bool {
        self.keys == 0 && !self.pedal
    }
}

impl Hands {
    pub fn new(remote: Remote, input: Option<usize>, channel: u8) -> Hands {
        let held = Held { channel, keys: [0; 128], pedals: 0, owed: VecDeque::new() };
        Hands { remote, input, held: Mutex::new(held) }
    }

    fn held(&self) -> MutexGuard<'_, Held> {
        self.held.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// A key goes down.
    pub fn press(&self, grip: &mut Grip, key: u8, velocity: u8) {
        let mut held = self.held();
        let Some(holders) = held.keys.get_mut(usize::from(key)) else { return };
        if grip.keys & 1 << key == 0 {
            grip.keys |= 1 << key;
            *holders += 1;
        }
        let message = [0x90 | held.channel, key, velocity];
        self.say(&mut held, message, false);
    }

    /// A key comes up.
    pub fn lift(&self, grip: &mut Grip, key: u8) {
        self.lift_from(&mut self.held(), grip, key);
    }

    /// The pedal goes down or comes up.
    pub fn pedal(&self, grip: &mut Grip, down: bool) {
        self.pedal_from(&mut self.held(), grip, down);
    }

    /// Everything that somebody holds comes up.
    pub fn let_go(&self, grip: &mut Grip) {
        let mut held = self.held();
        let keys = grip.keys;
        for key in (0..128).filter(|key| keys & 1 << key != 0) {
            self.lift_from(&mut held, grip, key);
        }
        self.pedal_from(&mut held, grip, false);
    }

    fn lift_from(&self, held: &mut Held, grip: &mut Grip, key: u8) {
        if key > 127 || grip.keys & 1 << key == 0 {
            return;
        }
        grip.keys &= !(1 << key);
        let holders = &mut held.keys[usize::from(key)];
        *holders = holders.saturating_sub(1);
        if *holders == 0 {
            let message = [0x80 | held.channel, key, LIFTED];
            self.say(held, message, true);
        }
    }

    fn pedal_from(&self, held: &mut Held, grip: &mut Grip, down: bool) {
        if grip.pedal == down {
            return;
        }
        grip.pedal = down;
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
        self.pay_from(held);
        if held.owed.is_empty() && self.remote.play(input, message) {
            return;
        }
        if held.owed.len() >= MOST_OWED {
            if !must {
                return;
            }
            // One end of a note is as good as two.
            held.owed.retain(|owed| *owed != message);
        }
        held.owed.push_back(message);
    }

    fn pay_from(&self, held: &mut Held) {
        let Some(input) = self.input else { return };
        while let Some(message) = held.owed.front() {
            if !self.remote.play(input, *message) {
                return;
            }
            held.owed.pop_front();
        }
    }

    /// Gives the owner what it had no room for; whether something is left.
    pub fn pay(&self) -> bool {
        let mut held = self.held();
        self.pay_from(&mut held);
        !held.owed.is_empty()
    }
}
