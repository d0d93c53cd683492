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
    match status {
        0xF0 => return exclusive(bytes),
        0xF1 | 0xF4..=0xF7 | 0xF9 | 0xFD | 0xFF => return Ok(Message::Other(status)),
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
