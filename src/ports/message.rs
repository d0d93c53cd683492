//! Messages as the ports see them: short ones by value, what a message begins or ends, and what is lost with it.

/// A message of one to three bytes.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(super) struct ShortMessage {
    bytes: [u8; 3],
    length: u8,
}

impl ShortMessage {
    /// `None` where the bytes are none, or more than three.
    pub(super) fn new(message: &[u8]) -> Option<Self> {
        let mut bytes = [0; 3];
        bytes.get_mut(..message.len())?.copy_from_slice(message);
        let length = u8::try_from(message.len()).ok().filter(|length| *length > 0)?;
        Some(ShortMessage { bytes, length })
    }

    pub(super) fn as_bytes(&self) -> &[u8] {
        self.bytes.get(..usize::from(self.length)).unwrap_or_default()
    }
}

/// Notes of a channel.
const NOTES: u8 = 128;
/// Notes and pedals of a channel: 0 to 127 are notes, then come the pedals (controllers 64 to 69).
pub(super) const NOTES_AND_PEDALS: usize = NOTES as usize + 6;

/// The channel and the number of the note or pedal that a message begins or ends.
pub(super) fn note_or_pedal(message: &[u8]) -> Option<(usize, usize)> {
    let (status, number) = match *message {
        [status @ 0x80..=0x9F, key @ 0..NOTES, _] => (status, key),
        [status @ 0xB0..=0xBF, pedal @ 64..=69, _] => (status, NOTES + pedal - 64),
        _ => return None,
    };
    Some((usize::from(status & 0x0F), usize::from(number)))
}

/// The message that ends a note or lifts a pedal, by the numbers of [`note_or_pedal`].
#[cfg(any(target_os = "linux", test))]
pub(super) fn end_of(channel: usize, number: usize) -> Option<[u8; 3]> {
    let channel = u8::try_from(channel).ok().filter(|channel| *channel < 16)?;
    let number = u8::try_from(number).ok()?;
    Some(match number.checked_sub(NOTES) {
        None => [0x80 | channel, number, 64],
        Some(pedal) => [0xB0 | channel, 64 + pedal, 0],
    })
}

/// What is lost with a message, from what can best be done without to what must never be lost.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Priority {
    /// Controllers, bends, pressures, clock.
    Other,
    /// A note that begins.
    NoteOn,
    /// What ends a note, or a pedal that comes up.
    Release,
}

impl Priority {
    /// The priority of a whole message.
    pub(super) fn of(message: &[u8]) -> Self {
        match *message {
            // Pedals are up below 64, and 120 to 127 end notes (MIDI 1.0 Detailed Specification 4.2.1, table III).
            [0x80..=0x8F, ..] | [0x90..=0x9F, _, 0] | [0xB0..=0xBF, 64..=69, 0..=63] | [0xB0..=0xBF, 120..=127, _] => {
                Priority::Release
            }
            [0x90..=0x9F, ..] => Priority::NoteOn,
            _ => Priority::Other,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_ends_something_is_told_from_what_does_not() {
        for message in [&[0x8F, 60, 1][..], &[0x90, 60, 0], &[0xB3, 64, 63], &[0xB0, 123, 0]] {
            assert_eq!(Priority::of(message), Priority::Release, "{message:02X?}");
        }
        for message in [&[0xB3, 64, 64][..], &[0xB0, 7, 0], &[0xE0, 0, 64], &[0xF8]] {
            assert_eq!(Priority::of(message), Priority::Other, "{message:02X?}");
        }
        assert_eq!(Priority::of(&[0x95, 60, 1]), Priority::NoteOn);
    }

    #[test]
    fn the_end_of_every_note_and_pedal_names_it() {
        for channel in 0..16 {
            for number in 0..NOTES_AND_PEDALS {
                let end = end_of(channel, number).unwrap();
                assert_eq!((note_or_pedal(&end), Priority::of(&end)), (Some((channel, number)), Priority::Release));
            }
        }
    }
}
