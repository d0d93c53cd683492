//! One MIDI message, decoded and encoded.
//!
//! Numbers are `wmidi`'s checked types. The decoding of a status byte is ours in one place only:
//! `wmidi` turns a note-on of velocity 0 into a note-off of velocity 0, and rule R2 wants 64 there
//! (MIDI 1.0 Detailed Specification 4.2.1, p. 10), while a real note-off of velocity 0 stays as it is.

use wmidi::{Channel, ControlFunction, MidiMessage, Note, U7, U14};

/// A whole MIDI message, as the engine takes it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Message<'a> {
    /// A key comes up. Velocity 0–127; 64 where the sender does not sense it.
    NoteOff {
        /// Channel of the key.
        channel: Channel,
        /// Which key.
        note: Note,
        /// How fast it came up.
        velocity: U7,
    },
    /// A key goes down. The velocity is never 0.
    NoteOn {
        /// Channel of the key.
        channel: Channel,
        /// Which key.
        note: Note,
        /// How hard it was struck, 1–127.
        velocity: U7,
    },
    /// Pressure of one held key.
    PolyPressure {
        /// Channel of the key.
        channel: Channel,
        /// Which key.
        note: Note,
        /// How hard it is pressed.
        value: U7,
    },
    /// A controller or a channel mode message (120–127).
    Control {
        /// Channel of the controller.
        channel: Channel,
        /// Its number.
        number: U7,
        /// Its new value.
        value: U7,
    },
    /// A program change; the program counts from 0 as on the wire.
    Program {
        /// Channel that changes.
        channel: Channel,
        /// Program, from 0.
        program: U7,
    },
    /// Pressure of a whole channel.
    Pressure {
        /// Channel that is pressed.
        channel: Channel,
        /// How hard.
        value: U7,
    },
    /// Pitch bend; 8192 is the centre.
    Bend {
        /// Channel that bends.
        channel: Channel,
        /// 14-bit value.
        value: U14,
    },
    /// A system exclusive message, whole, from F0 to F7.
    Exclusive(&'a [u8]),
    /// Clock, start, continue or stop: the status byte, F8, FA, FB or FC.
    Clock(u8),
    /// Song position, in sixteenth notes.
    SongPosition(U14),
    /// Song select, counted from 0.
    SongSelect(U7),
    /// Active sensing.
    Sensing,
    /// Any other system message (quarter frame, tune request, reset, undefined): its status byte.
    Other(u8),
}

/// Why bytes are not one message.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("these bytes are not one whole MIDI message")]
pub struct NotAMessage;

/// Decodes exactly one whole message with its status byte; running status is the stream's business.
///
/// # Errors
/// Fewer or more bytes than the message has, or data bytes above 127.
pub fn decode(bytes: &[u8]) -> Result<Message<'_>, NotAMessage> {
    let (&status, data) = bytes.split_first().ok_or(NotAMessage)?;
    match (status, data) {
        (0xF0, _) => return exclusive(bytes),
        (0xF1, [0..=0x7F]) | (0xF4..=0xF7 | 0xF9 | 0xFD | 0xFF, []) => return Ok(Message::Other(status)),
        (0xF1 | 0xF4..=0xF7 | 0xF9 | 0xFD | 0xFF, _) => return Err(NotAMessage),
        _ => {}
    }
    let message = MidiMessage::from_bytes(bytes).map_err(|_| NotAMessage)?;
    if message.bytes_size() != bytes.len() {
        return Err(NotAMessage);
    }
    Ok(match message {
        MidiMessage::NoteOff(channel, note, _) if status & 0xF0 == 0x90 => {
            Message::NoteOff { channel, note, velocity: U7::from_u8_lossy(64) }
        }
        MidiMessage::NoteOff(channel, note, velocity) => Message::NoteOff { channel, note, velocity },
        MidiMessage::NoteOn(channel, note, velocity) => Message::NoteOn { channel, note, velocity },
        MidiMessage::PolyphonicKeyPressure(channel, note, value) => Message::PolyPressure { channel, note, value },
        MidiMessage::ControlChange(channel, number, value) => {
            Message::Control { channel, number: number.into(), value }
        }
        MidiMessage::ProgramChange(channel, program) => Message::Program { channel, program },
        MidiMessage::ChannelPressure(channel, value) => Message::Pressure { channel, value },
        MidiMessage::PitchBendChange(channel, value) => Message::Bend { channel, value },
        MidiMessage::SongPositionPointer(position) => Message::SongPosition(position),
        MidiMessage::SongSelect(song) => Message::SongSelect(song),
        MidiMessage::ActiveSensing => Message::Sensing,
        _ if data.is_empty() => Message::Clock(status),
        _ => return Err(NotAMessage),
    })
}

fn exclusive(bytes: &[u8]) -> Result<Message<'_>, NotAMessage> {
    match bytes {
        [0xF0, data @ .., 0xF7] if data.iter().all(|byte| *byte < 0x80) => Ok(Message::Exclusive(bytes)),
        _ => Err(NotAMessage),
    }
}

impl Message<'_> {
    /// The channel of a channel message; `None` for a system message.
    #[must_use]
    pub fn channel(&self) -> Option<Channel> {
        match *self {
            Message::NoteOff { channel, .. }
            | Message::NoteOn { channel, .. }
            | Message::PolyPressure { channel, .. }
            | Message::Control { channel, .. }
            | Message::Program { channel, .. }
            | Message::Pressure { channel, .. }
            | Message::Bend { channel, .. } => Some(channel),
            _ => None,
        }
    }

    /// Writes the message's bytes to the front of `buffer` and returns how many there are; a system
    /// exclusive message or one of [`Message::Other`] has no short form and writes none.
    #[must_use]
    pub fn encode(&self, buffer: &mut [u8; 3]) -> usize {
        let message = match *self {
            Message::NoteOff { channel, note, velocity } => MidiMessage::NoteOff(channel, note, velocity),
            Message::NoteOn { channel, note, velocity } => MidiMessage::NoteOn(channel, note, velocity),
            Message::PolyPressure { channel, note, value } => MidiMessage::PolyphonicKeyPressure(channel, note, value),
            Message::Control { channel, number, value } => {
                MidiMessage::ControlChange(channel, ControlFunction(number), value)
            }
            Message::Program { channel, program } => MidiMessage::ProgramChange(channel, program),
            Message::Pressure { channel, value } => MidiMessage::ChannelPressure(channel, value),
            Message::Bend { channel, value } => MidiMessage::PitchBendChange(channel, value),
            Message::SongPosition(position) => MidiMessage::SongPositionPointer(position),
            Message::SongSelect(song) => MidiMessage::SongSelect(song),
            Message::Sensing => MidiMessage::ActiveSensing,
            Message::Clock(status) => {
                buffer[0] = status;
                return 1;
            }
            Message::Exclusive(_) | Message::Other(_) => return 0,
        };
        message.copy_to_slice(buffer).unwrap_or(0)
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    /// Encodes a short message again.
    fn again(message: Message<'_>) -> Vec<u8> {
        let mut buffer = [0; 3];
        let length = message.encode(&mut buffer);
        buffer[..length].to_vec()
    }

    #[test]
    fn status_bytes_mean_what_the_table_says() {
        // MIDI 1.0 Detailed Specification 4.2.1, table of status bytes; channel 1 is 0 on the wire (p. 4).
        let channel = Channel::Ch3;
        let note = Note::C4;
        let [low, high] = [1, 100].map(U7::from_u8_lossy);
        let table: [(&[u8], Message); 14] = [
            (&[0x82, 60, 100], Message::NoteOff { channel, note, velocity: high }),
            (&[0x92, 60, 100], Message::NoteOn { channel, note, velocity: high }),
            (&[0xA2, 60, 100], Message::PolyPressure { channel, note, value: high }),
            (&[0xB2, 1, 100], Message::Control { channel, number: low, value: high }),
            (&[0xC2, 100], Message::Program { channel, program: high }),
            (&[0xD2, 100], Message::Pressure { channel, value: high }),
            // Pitch bend: least significant byte first; the centre is 00 40 (p. 19).
            (&[0xE2, 0x00, 0x40], Message::Bend { channel, value: U14::try_from(8192).unwrap() }),
            // Song position 260 is F2 04 02 (p. 27).
            (&[0xF2, 0x04, 0x02], Message::SongPosition(U14::try_from(260).unwrap())),
            (&[0xF3, 100], Message::SongSelect(high)),
            (&[0xF8], Message::Clock(0xF8)),
            (&[0xFA], Message::Clock(0xFA)),
            (&[0xFB], Message::Clock(0xFB)),
            (&[0xFC], Message::Clock(0xFC)),
            (&[0xFE], Message::Sensing),
        ];
        for (bytes, message) in table {
            assert_eq!(decode(bytes), Ok(message));
            assert_eq!(again(message), bytes);
        }
    }

    #[test]
    fn note_on_of_velocity_0_is_a_note_off_of_64() {
        // P. 10. A note-off that says 0 itself keeps it.
        let velocity = |bytes: &[u8]| match decode(bytes) {
            Ok(Message::NoteOff { velocity, .. }) => u8::from(velocity),
            other => panic!("{other:?}"),
        };
        assert_eq!(velocity(&[0x90, 60, 0]), 64);
        assert_eq!(velocity(&[0x80, 60, 0]), 0);
    }

    #[test]
    fn exclusive_is_whole_or_nothing() {
        // Identity request (p. 40).
        let identity = [0xF0, 0x7E, 0x7F, 0x06, 0x01, 0xF7];
        assert_eq!(decode(&identity), Ok(Message::Exclusive(&identity)));
        for bad in [&[0xF0][..], &[0xF0, 1], &[0xF0, 0x90, 0xF7], &[0xF0, 1, 0xF7, 0xF7], &[0xF7, 1], &[1, 0xF7]] {
            assert_eq!(decode(bad), Err(NotAMessage), "{bad:02X?}");
        }
    }

    #[test]
    fn too_short_too_long_and_impossible_data_are_refused() {
        let bad: [&[u8]; 14] = [
            &[],
            &[60],
            &[0x90],
            &[0x90, 60],
            &[0x90, 60, 100, 0],
            &[0x90, 128, 100],
            &[0x90, 60, 0x80],
            &[0xC0, 5, 5],
            &[0xC0, 0x80],
            &[0xF2, 4],
            &[0xF3],
            &[0xF1],
            &[0xF6, 0],
            &[0xF8, 0xF8],
        ];
        for bytes in bad {
            assert_eq!(decode(bytes), Err(NotAMessage), "{bytes:02X?}");
        }
    }

    proptest! {
        #[test]
        fn whatever_decodes_encodes_again(bytes in proptest::collection::vec(any::<u8>(), 0..5)) {
            if let Ok(message) = decode(&bytes) {
                let encoded = again(message);
                match message {
                    Message::Exclusive(_) | Message::Other(_) => prop_assert!(encoded.is_empty()),
                    Message::NoteOff { .. } if bytes[0] & 0xF0 == 0x90 => {
                        prop_assert_eq!(encoded, vec![bytes[0] - 0x10, bytes[1], 64]);
                    }
                    _ => prop_assert_eq!(encoded, bytes),
                }
            }
        }
    }
}
