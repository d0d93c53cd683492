//! The page's keyboard, under all hands that play on it. A key that two hold comes up with the last of them; the end of a
//! note is never lost.

use std::collections::VecDeque;
use std::sync::{Mutex, MutexGuard, PoisonError};

use crate::daemon::Remote;
use crate::map::{Gear, Input};

/// The sustain pedal's controller.
const SUSTAIN: u8 = 64;
/// What a hand that lifts a key says of how fast.
const LIFTED: u8 = 64;
/// Messages that may wait where the owner is behind; ends of notes may always.
const MOST_PENDING: usize = 256;

/// The keyboards of all pages: one for each input with notes.
#[derive(Debug)]
pub(super) struct PageKeyboard {
    remote: Remote,
    /// The one that is played where nobody chooses comes first; none where no input has notes.
    boards: Vec<Board>,
}

/// The keyboard that plays as one input.
#[derive(Debug)]
struct Board {
    input: usize,
    name: String,
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

/// What one viewer holds, and on which board.
#[derive(Debug, Default)]
pub(super) struct HeldKeys {
    board: usize,
    keys: u128,
    pedal: bool,
}

impl HeldKeys {
    /// Whether it holds nothing.
    pub fn is_empty(&self) -> bool {
        self.keys == 0 && !self.pedal
    }
}

/// The channel on which an input listens to a page.
fn channel(input: &Input) -> u8 {
    input.channel.map_or(0, |channel| channel.index())
}

impl PageKeyboard {
    /// For the inputs of a gear that have notes; `usual` is the one that is played where nobody chooses another.
    pub fn new(remote: Remote, gear: &Gear, usual: Option<usize>) -> PageKeyboard {
        let plays = gear.inputs.iter().enumerate().filter(|(number, input)| input.play || Some(*number) == usual);
        let board = |(number, input): (usize, &Input)| Board {
            input: number,
            name: input.name.value.clone(),
            held: Mutex::new(Held { channel: channel(input), keys: [0; 128], pedals: 0, pending: VecDeque::new() }),
        };
        let mut boards: Vec<Board> = plays.map(board).collect();
        // All stay as they are, but for the usual one.
        boards.sort_by_key(|board| Some(board.input) != usual);
        PageKeyboard { remote, boards: if usual.is_some() { boards } else { Vec::new() } }
    }

    /// A viewer plays as the input of this name from now on, if it has notes; what it holds comes up.
    pub fn play_as(&self, own: &mut HeldKeys, name: &str) {
        let Some(board) = self.boards.iter().position(|board| board.name == name) else { return };
        self.let_go(own);
        own.board = board;
    }

    /// A key goes down.
    pub fn press(&self, own: &mut HeldKeys, key: u8, velocity: u8) {
        let Some(board) = self.boards.get(own.board) else { return };
        let mut held = board.held();
        let Some(holders) = held.keys.get_mut(usize::from(key)) else { return };
        if own.keys & 1 << key == 0 {
            own.keys |= 1 << key;
            *holders += 1;
        }
        let message = [0x90 | held.channel, key, velocity];
        board.say(&self.remote, &mut held, message, false);
    }

    /// A key comes up.
    pub fn lift(&self, own: &mut HeldKeys, key: u8) {
        let Some(board) = self.boards.get(own.board) else { return };
        board.lift_from(&self.remote, &mut board.held(), own, key);
    }

    /// The pedal goes down or comes up.
    pub fn pedal(&self, own: &mut HeldKeys, down: bool) {
        let Some(board) = self.boards.get(own.board) else { return };
        board.pedal_from(&self.remote, &mut board.held(), own, down);
    }

    /// Everything that somebody holds comes up.
    pub fn let_go(&self, own: &mut HeldKeys) {
        let Some(board) = self.boards.get(own.board) else { return };
        let mut held = board.held();
        let keys = own.keys;
        for key in (0..128).filter(|key| keys & 1 << key != 0) {
            board.lift_from(&self.remote, &mut held, own, key);
        }
        board.pedal_from(&self.remote, &mut held, own, false);
    }

    /// The inputs hear other channels from now on; what is held ends on the ones before.
    pub fn retune(&self, gear: &Gear) {
        for board in &self.boards {
            gear.inputs.get(board.input).into_iter().for_each(|input| board.retune(&self.remote, channel(input)));
        }
    }

    /// Gives the owner what it had no room for; whether something is left.
    pub fn flush(&self) -> bool {
        let left = self.boards.iter().filter(|board| {
            let mut held = board.held();
            board.flush_from(&self.remote, &mut held);
            !held.pending.is_empty()
        });
        left.count() > 0
    }
}

impl Board {
    fn held(&self) -> MutexGuard<'_, Held> {
        self.held.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn lift_from(&self, remote: &Remote, held: &mut Held, own: &mut HeldKeys, key: u8) {
        if key > 127 || own.keys & 1 << key == 0 {
            return;
        }
        own.keys &= !(1 << key);
        let holders = &mut held.keys[usize::from(key)];
        *holders = holders.saturating_sub(1);
        if *holders == 0 {
            let message = [0x80 | held.channel, key, LIFTED];
            self.say(remote, held, message, true);
        }
    }

    fn pedal_from(&self, remote: &Remote, held: &mut Held, own: &mut HeldKeys, down: bool) {
        if own.pedal == down {
            return;
        }
        own.pedal = down;
        let before = held.pedals;
        held.pedals = if down { before.saturating_add(1) } else { before.saturating_sub(1) };
        if (before == 0) != (held.pedals == 0) {
            let message = [0xB0 | held.channel, SUSTAIN, if down { 127 } else { 0 }];
            self.say(remote, held, message, true);
        }
    }

    fn retune(&self, remote: &Remote, channel: u8) {
        let mut held = self.held();
        if held.channel == channel {
            return;
        }
        for key in (0..128).filter(|key| held.keys[usize::from(*key)] > 0).collect::<Vec<u8>>() {
            let message = [0x80 | held.channel, key, LIFTED];
            self.say(remote, &mut held, message, true);
        }
        if held.pedals > 0 {
            let message = [0xB0 | held.channel, SUSTAIN, 0];
            self.say(remote, &mut held, message, true);
        }
        held.channel = channel;
    }

    /// Gives it to the owner, or keeps it until there is room.
    fn say(&self, remote: &Remote, held: &mut Held, message: [u8; 3], must: bool) {
        self.flush_from(remote, held);
        if held.pending.is_empty() && remote.play(self.input, message) {
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

    fn flush_from(&self, remote: &Remote, held: &mut Held) {
        while let Some(message) = held.pending.front() {
            if !remote.play(self.input, *message) {
                return;
            }
            held.pending.pop_front();
        }
    }
}
