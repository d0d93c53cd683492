//! A stream of MIDI bytes, taken apart into whole messages.
//!
//! The rules are those of the MIDI 1.0 Detailed Specification 4.2.1, pp.: a channel message's
//! status is remembered and may be left out of the next (running status); real-time messages come between
//! any two bytes, even inside system exclusive, and disturb nothing; every system common or exclusive
//! status forgets the running status, even an undefined one; a status byte other than real-time ends an
//! unfinished system exclusive message; data bytes without a status mean nothing.

use super::length::message_length;

/// The longest system exclusive message that comes through, from F0 to F7, in bytes (rule R18).
pub const LONGEST_EXCLUSIVE: usize = 64 * 1024;

/// Takes bytes one at a time and gives whole messages, each with its status byte.
///
/// Allocates when it is made and never again; every byte costs the same small time.
#[derive(Debug)]
pub struct Stream {
    /// The running status; 0 where there is none.
    running: u8,
    /// The short message that is being gathered, its status byte first.
    short: [u8; 3],
    /// How many bytes of `short` are there; 0: none is begun.
    gathered: usize,
    /// How many bytes `short` needs.
    wanted: usize,
    /// The system exclusive message that is being gathered.
    exclusive: Box<[u8]>,
    /// How many bytes came since F0, with it, also those that found no room; 0: none is begun.
    arrived: usize,
    real_time: [u8; 1],
    dropped: u64,
}

impl Default for Stream {
    fn default() -> Self {
        Stream::new()
    }
}

impl Stream {
    /// A stream at its beginning: no running status, nothing begun.
    #[must_use]
    pub fn new() -> Stream {
        Stream {
            running: 0,
            short: [0; 3],
            gathered: 0,
            wanted: 0,
            exclusive: vec![0; LONGEST_EXCLUSIVE].into_boxed_slice(),
            arrived: 0,
            real_time: [0],
            dropped: 0,
        }
    }

    /// Takes the next byte; gives the message that it completes, if it completes one.
    ///
    /// Undefined status bytes (F4, F5, F9, FD) and an F7 that ends nothing give no message.
    pub fn push(&mut self, byte: u8) -> Option<&[u8]> {
        match byte {
            0x00..=0x7F => self.data(byte),
            0xF8..=0xFF => self.real_time(byte),
            0xF7 if self.arrived > 0 => self.end_exclusive(),
            _ => self.status(byte),
        }
    }

    /// Forgets the running status and whatever is begun, as at the beginning; an unfinished system
    /// exclusive message counts as dropped.
    pub fn reset(&mut self) {
        self.drop_exclusive();
        self.running = 0;
        self.gathered = 0;
    }

    /// How many system exclusive messages did not come through, because they were longer than
    /// [`LONGEST_EXCLUSIVE`] or never finished.
    #[must_use]
    pub fn dropped(&self) -> u64 {
        self.dropped
    }

    fn real_time(&mut self, byte: u8) -> Option<&[u8]> {
        if matches!(byte, 0xF9 | 0xFD) {
            return None;
        }
        self.real_time = [byte];
        Some(&self.real_time)
    }

    fn data(&mut self, byte: u8) -> Option<&[u8]> {
        if self.arrived > 0 {
            if let Some(room) = self.exclusive.get_mut(self.arrived) {
                *room = byte;
            }
            self.arrived = self.arrived.saturating_add(1);
            return None;
        }
        if self.gathered == 0 {
            // Running status: the message begins without its status byte.
            self.wanted = message_length(self.running)?;
            self.short[0] = self.running;
            self.gathered = 1;
        }
        *self.short.get_mut(self.gathered)? = byte;
        self.gathered += 1;
        self.complete()
    }

    /// A status byte that is neither real-time nor the end of an exclusive message.
    fn status(&mut self, byte: u8) -> Option<&[u8]> {
        self.drop_exclusive();
        self.gathered = 0;
        self.running = if byte < 0xF0 { byte } else { 0 };
        if byte == 0xF0 {
            self.exclusive[0] = byte;
            self.arrived = 1;
            return None;
        }
        self.wanted = message_length(byte)?;
        self.short[0] = byte;
        self.gathered = 1;
        self.complete()
    }

    fn complete(&mut self) -> Option<&[u8]> {
        if self.gathered < self.wanted {
            return None;
        }
        self.gathered = 0;
        self.short.get(..self.wanted)
    }

    fn end_exclusive(&mut self) -> Option<&[u8]> {
        self.running = 0;
        let last = std::mem::take(&mut self.arrived);
        match self.exclusive.get_mut(last) {
            Some(room) => *room = 0xF7,
            None => {
                self.dropped += 1;
                return None;
            }
        }
        self.exclusive.get(..=last)
    }

    fn drop_exclusive(&mut self) {
        if std::mem::take(&mut self.arrived) > 0 {
            self.dropped += 1;
        }
    }
}

#[cfg(test)]
mod tests;
