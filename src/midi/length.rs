//! How long a message is, and whether bytes are exactly one.

/// Bytes of a message with this status, with it; `None` for system exclusive and for what is no defined status
/// (MIDI 1.0 Detailed Specification 4.2.1, table of status bytes; all real-time statuses count as defined).
#[must_use]
pub fn message_length(status: u8) -> Option<usize> {
    match status {
        0x80..=0xBF | 0xE0..=0xEF | 0xF2 => Some(3),
        0xC0..=0xDF | 0xF1 | 0xF3 => Some(2),
        0xF6 | 0xF8..=0xFF => Some(1),
        _ => None,
    }
}

/// Whether these bytes are exactly one whole message with its status byte.
#[must_use]
pub fn is_whole(bytes: &[u8]) -> bool {
    let is_data = |data: &[u8]| data.iter().all(|byte| *byte < 0x80);
    match bytes {
        [0xF0, data @ .., 0xF7] => is_data(data),
        [status, data @ ..] => message_length(*status) == Some(bytes.len()) && is_data(data),
        [] => false,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

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
