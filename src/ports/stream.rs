//! Bytes as they come in, cut into whole messages (MIDI 1.0 Detailed Specification 4.2.1, "Data Format" and
//! appendix "Receiver's algorithm": real-time bytes may stand anywhere, any other status ends what was unfinished).

use super::LONGEST_EXCLUSIVE;

/// A message that is complete.
#[derive(Debug, PartialEq, Eq)]
pub(super) enum Whole {
    /// One to three bytes.
    Short { bytes: [u8; 3], length: usize },
    /// A system exclusive message: [`Splitter::take_exclusive`] has it.
    Exclusive,
}

/// Cuts one input's bytes into messages.
#[derive(Debug, Default)]
pub(super) struct Splitter {
    short: [u8; 3],
    have: usize,
    exclusive: Vec<u8>,
    too_long: bool,
    dropped: u64,
}

/// How many bytes a message has, by its status byte; `None` for system exclusive and for what is no status.
pub(super) fn length(status: u8) -> Option<usize> {
    match status {
        0x80..=0xBF | 0xE0..=0xEF | 0xF2 => Some(3),
        0xC0..=0xDF | 0xF1 | 0xF3 => Some(2),
        0xF4..=0xF6 | 0xF8..=0xFF => Some(1),
        _ => None,
    }
}

/// Whether these bytes are exactly one whole message with its status byte.
pub(super) fn is_whole(bytes: &[u8]) -> bool {
    let is_data = |data: &[u8]| data.iter().all(|byte| *byte < 0x80);
    match bytes {
        [0xF0, data @ .., 0xF7] => is_data(data),
        [status, data @ ..] => length(*status) == Some(bytes.len()) && is_data(data),
        [] => false,
    }
}

impl Splitter {
    /// Takes the next byte, and says what it completes.
    pub(super) fn feed(&mut self, byte: u8) -> Option<Whole> {
        match byte {
            0xF8..=0xFF => return Some(Whole::Short { bytes: [byte, 0, 0], length: 1 }),
            0xF0 => {
                self.cut_short();
                self.exclusive.push(byte);
                return None;
            }
            0xF7 => return self.end_exclusive(),
            0x80.. => {
                self.cut_short();
                self.short[0] = byte;
                self.have = 1;
            }
            _ if !self.exclusive.is_empty() => {
                // The end mark needs a place too.
                self.too_long |= self.exclusive.len() + 1 >= LONGEST_EXCLUSIVE;
                if !self.too_long {
                    self.exclusive.push(byte);
                }
                return None;
            }
            // Data after nothing: the tail of something that began before we listened.
            _ if self.have == 0 => return None,
            _ => {
                if let Some(place) = self.short.get_mut(self.have) {
                    *place = byte;
                }
                self.have += 1;
            }
        }
        let whole = length(self.short[0])?;
        if self.have < whole {
            return None;
        }
        // Running status: the status of channel messages holds for the data bytes that follow.
        self.have = usize::from(self.short[0] < 0xF0);
        Some(Whole::Short { bytes: self.short, length: whole })
    }

    /// Hands the message over that [`Whole::Exclusive`] spoke of, and takes `spare` for the next one.
    pub(super) fn take_exclusive(&mut self, mut spare: Vec<u8>) -> Vec<u8> {
        spare.clear();
        std::mem::replace(&mut self.exclusive, spare)
    }

    /// How many messages were cut short or too long so far.
    pub(super) fn dropped(&self) -> u64 {
        self.dropped
    }

    /// Forgets what is unfinished: its source is gone.
    pub(super) fn forget(&mut self) {
        self.cut_short();
    }

    fn cut_short(&mut self) {
        let unfinished = self.have > 1 || !self.exclusive.is_empty();
        self.dropped += u64::from(unfinished);
        self.have = 0;
        self.exclusive.clear();
        self.too_long = false;
    }

    fn end_exclusive(&mut self) -> Option<Whole> {
        if self.exclusive.is_empty() || self.too_long {
            self.cut_short();
            return None;
        }
        self.have = 0;
        self.exclusive.push(0xF7);
        Some(Whole::Exclusive)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn split(bytes: &[u8]) -> (Vec<Vec<u8>>, u64) {
        let mut splitter = Splitter::default();
        let mut whole = Vec::new();
        for byte in bytes {
            match splitter.feed(*byte) {
                Some(Whole::Short { bytes, length }) => whole.push(bytes[..length].to_vec()),
                Some(Whole::Exclusive) => whole.push(splitter.take_exclusive(Vec::new())),
                None => {}
            }
        }
        (whole, splitter.dropped())
    }

    #[test]
    fn several_messages_in_one_piece_come_one_by_one() {
        let (whole, dropped) = split(&[0xB0, 99, 1, 0xB0, 98, 2, 0xC3, 4, 0xF6, 0x90, 60, 0]);
        let expected: [&[u8]; 5] = [&[0xB0, 99, 1], &[0xB0, 98, 2], &[0xC3, 4], &[0xF6], &[0x90, 60, 0]];
        assert_eq!((whole, dropped), (expected.map(<[u8]>::to_vec).to_vec(), 0));
    }

    // MIDI 1.0 Detailed Specification 4.2.1, "Running Status".
    #[test]
    fn running_status_holds_until_another_status() {
        let (whole, _) = split(&[0x90, 60, 1, 0xFE, 61, 2, 0xF3, 5, 62, 3]);
        let expected: [&[u8]; 4] = [&[0x90, 60, 1], &[0xFE], &[0x90, 61, 2], &[0xF3, 5]];
        assert_eq!(whole, expected);
    }

    // MIDI 1.0 Detailed Specification 4.2.1, "System Real Time Messages": they may stand inside other messages.
    #[test]
    fn real_time_inside_a_message_passes_at_once() {
        let (whole, dropped) = split(&[0xF0, 1, 0xF8, 2, 0xF7, 0x90, 60, 0xFE, 64]);
        let expected: [&[u8]; 4] = [&[0xF8], &[0xF0, 1, 2, 0xF7], &[0xFE], &[0x90, 60, 64]];
        assert_eq!((whole, dropped), (expected.map(<[u8]>::to_vec).to_vec(), 0));
    }

    #[test]
    fn an_unfinished_exclusive_swallows_no_notes_and_is_counted() {
        let (whole, dropped) = split(&[0xF0, 1, 2, 0x90, 60, 64, 0x80, 60, 64, 0xF7]);
        assert_eq!((whole, dropped), (vec![vec![0x90, 60, 64], vec![0x80, 60, 64]], 1));
    }

    #[test]
    fn an_exclusive_of_64_kib_passes_and_a_longer_one_does_not() {
        let exclusive = |length: usize| [&[0xF0][..], &vec![5; length - 2], &[0xF7]].concat();
        assert_eq!(split(&exclusive(LONGEST_EXCLUSIVE)), (vec![exclusive(LONGEST_EXCLUSIVE)], 0));
        let longer = [exclusive(LONGEST_EXCLUSIVE + 1), vec![0xC0, 1]].concat();
        assert_eq!(split(&longer), (vec![vec![0xC0, 1]], 1));
    }

    #[test]
    fn whole_messages_are_told_from_others() {
        for whole in [&[0x90, 60, 0][..], &[0xC0, 1], &[0xF8], &[0xF0, 0xF7], &[0xF2, 1, 2], &[0xF1, 3]] {
            assert!(is_whole(whole), "{whole:02X?}");
        }
        for other in [&[][..], &[0x90, 60], &[0x90, 60, 128], &[60, 64], &[0xF0, 1], &[0xF7], &[0x90, 60, 1, 61, 1]] {
            assert!(!is_whole(other), "{other:02X?}");
        }
    }
}
