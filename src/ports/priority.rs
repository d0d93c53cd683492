//! What is lost with a message, where not all can be kept.

/// From what can best be done without to what must never be lost.
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
}
