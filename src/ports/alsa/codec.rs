//! Sequencer events ↔ bytes.
//!
//! By hand, because alsa-lib's own coder keeps running status and half messages between calls, and masks values that
//! are out of range.

use ::alsa::seq::{EvCtrl, EvNote, EvQueueControl, Event, EventType};

use super::super::message::ShortMessage;
use crate::midi::{is_whole, message_length};

/// One to four short messages that one event stands for.
#[derive(Debug, Default, PartialEq, Eq)]
pub(super) struct Messages {
    messages: [ShortMessage; 4],
    count: usize,
}

impl Messages {
    pub(super) fn iter(&self) -> impl Iterator<Item = &ShortMessage> {
        self.messages.iter().take(self.count)
    }

    fn of(messages: &[[u8; 3]]) -> Self {
        let mut few = Messages::default();
        let short = |bytes: &[u8; 3]| ShortMessage::new(bytes.get(..message_length(bytes[0])?)?);
        for (place, message) in few.messages.iter_mut().zip(messages.iter().filter_map(short)) {
            *place = message;
            few.count += 1;
        }
        few
    }
}

/// What an event that carries no exclusive data says; `None` for what is no MIDI, or has values that MIDI has not.
pub(super) fn decode(event: &Event<'_>) -> Option<Messages> {
    if let Some(note) = event.get_data::<EvNote>() {
        return decode_note(event.get_type(), note);
    }
    if let Some(control) = event.get_data::<EvCtrl>() {
        return decode_control(event.get_type(), control);
    }
    let status = match event.get_type() {
        EventType::TuneRequest => 0xF6,
        EventType::Clock => 0xF8,
        EventType::Tick => 0xF9,
        EventType::Start => 0xFA,
        EventType::Continue => 0xFB,
        EventType::Stop => 0xFC,
        EventType::Sensing => 0xFE,
        EventType::Reset => 0xFF,
        _ => return None,
    };
    Some(Messages::of(&[[status, 0, 0]]))
}

fn decode_note(event: EventType, note: EvNote) -> Option<Messages> {
    let status = match event {
        EventType::Noteoff => 0x80,
        EventType::Noteon => 0x90,
        EventType::Keypress => 0xA0,
        _ => return None,
    };
    let fits = note.channel < 16 && note.note < 128 && note.velocity < 128;
    fits.then(|| Messages::of(&[[status | note.channel, note.note, note.velocity]]))
}

fn decode_control(event: EventType, control: EvCtrl) -> Option<Messages> {
    let channel = Some(control.channel).filter(|channel| *channel < 16)?;
    let seven = |value: i64| u8::try_from(value).ok().filter(|value| *value < 128);
    // Upper and lower seven bits.
    let fourteen = |value: i64| Some((seven(value >> 7)?, u8::try_from(value & 127).ok()?));
    let (param, value) = (i64::from(control.param), i64::from(control.value));
    let cc = 0xB0 | channel;
    Some(match event {
        EventType::Controller => Messages::of(&[[cc, seven(param)?, seven(value)?]]),
        EventType::Pgmchange => Messages::of(&[[0xC0 | channel, seven(value)?, 0]]),
        EventType::Chanpress => Messages::of(&[[0xD0 | channel, seven(value)?, 0]]),
        EventType::Pitchbend => {
            let (upper, lower) = fourteen(value + 8192)?;
            Messages::of(&[[0xE0 | channel, lower, upper]])
        }
        // MIDI 1.0 Detailed Specification 4.2.1, table III: 32–63 carry the lower part of 0–31.
        EventType::Control14 if param < 32 => {
            let (upper, lower) = fourteen(value)?;
            Messages::of(&[[cc, seven(param)?, upper], [cc, seven(param + 32)?, lower]])
        }
        EventType::Control14 => Messages::of(&[[cc, seven(param)?, seven(value)?]]),
        // Same table: 99 and 98, or 101 and 100, name a parameter, 6 and 38 carry its value.
        EventType::Nonregparam | EventType::Regparam => {
            let number = if event == EventType::Regparam { 101 } else { 99 };
            let ((name_upper, name_lower), (upper, lower)) = (fourteen(param)?, fourteen(value)?);
            Messages::of(&[[cc, number, name_upper], [cc, number - 1, name_lower], [cc, 6, upper], [cc, 38, lower]])
        }
        EventType::Songpos => {
            let (upper, lower) = fourteen(value)?;
            Messages::of(&[[0xF2, lower, upper]])
        }
        EventType::Songsel => Messages::of(&[[0xF3, seven(value)?, 0]]),
        EventType::Qframe => Messages::of(&[[0xF1, seven(value)?, 0]]),
        _ => return None,
    })
}

/// The event that says these bytes; `None` where they are not exactly one message that the sequencer can carry.
pub(super) fn encode(bytes: &[u8]) -> Option<Event<'_>> {
    if !is_whole(bytes) {
        return None;
    }
    let (status, channel) = (bytes[0], bytes[0] & 0x0F);
    let first = bytes.get(1).copied().unwrap_or(0);
    let second = bytes.get(2).copied().unwrap_or(0);
    let fourteen = i32::from(first) | i32::from(second) << 7;
    let note =
        |event| Event::new(event, &EvNote { channel, note: first, velocity: second, off_velocity: 0, duration: 0 });
    let control = |event, param: u8, value| Event::new(event, &EvCtrl { channel, param: param.into(), value });
    let time = |event| Event::new(event, &EvQueueControl { queue: 0, value: () });
    Some(match status {
        0x80..=0x8F => note(EventType::Noteoff),
        0x90..=0x9F => note(EventType::Noteon),
        0xA0..=0xAF => note(EventType::Keypress),
        0xB0..=0xBF => control(EventType::Controller, first, second.into()),
        0xC0..=0xCF => control(EventType::Pgmchange, 0, first.into()),
        0xD0..=0xDF => control(EventType::Chanpress, 0, first.into()),
        0xE0..=0xEF => control(EventType::Pitchbend, 0, fourteen - 8192),
        0xF0 => Event::new_ext(EventType::Sysex, bytes),
        0xF1 => control(EventType::Qframe, 0, first.into()),
        0xF2 => control(EventType::Songpos, 0, fourteen),
        0xF3 => control(EventType::Songsel, 0, first.into()),
        0xF6 => Event::new(EventType::TuneRequest, &()),
        0xF8 => time(EventType::Clock),
        0xF9 => Event::new(EventType::Tick, &EvQueueControl { queue: 0, value: 0_u32 }),
        0xFA => time(EventType::Start),
        0xFB => time(EventType::Continue),
        0xFC => time(EventType::Stop),
        0xFE => Event::new(EventType::Sensing, &()),
        0xFF => Event::new(EventType::Reset, &()),
        _ => return None,
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn decoded(event: &Event<'_>) -> Vec<Vec<u8>> {
        decode(event)
            .map(|messages| messages.iter().map(|message| message.as_bytes().to_vec()).collect())
            .unwrap_or_default()
    }

    #[test]
    fn every_short_message_comes_back_byte_for_byte() {
        for status in (0x80..=0xEF).chain([0xF1, 0xF2, 0xF3, 0xF6, 0xF8, 0xF9, 0xFA, 0xFB, 0xFC, 0xFE, 0xFF]) {
            for data in [[0, 0], [1, 127], [127, 1], [64, 64], [127, 127]] {
                let length = message_length(status).unwrap();
                let bytes = [status, data[0], data[1]];
                let event = encode(&bytes[..length]).unwrap();
                assert_eq!(decoded(&event), [bytes[..length].to_vec()], "{bytes:02X?}");
            }
        }
    }

    #[test]
    fn exclusive_goes_in_whole_and_what_is_no_message_does_not_go() {
        assert_eq!(encode(&[0xF0, 1, 0xF7]).unwrap().get_ext(), Some(&[0xF0, 1, 0xF7][..]));
        for bytes in [&[0xF4][..], &[0xF0, 1], &[0x90, 1], &[0x90, 1, 128], &[]] {
            assert!(encode(bytes).is_none(), "{bytes:02X?}");
        }
    }

    // MIDI 1.0 Detailed Specification 4.2.1, table III and "Registered and non-registered parameter numbers".
    #[test]
    fn wide_events_become_several_messages() {
        let event = |event, param, value| Event::new(event, &EvCtrl { channel: 2, param, value });
        let expected: [&[u8]; 2] = [&[0xB2, 7, 100], &[0xB2, 39, 5]];
        assert_eq!(decoded(&event(EventType::Control14, 7, (100 << 7) | 5)), expected);
        let expected: [&[u8]; 4] = [&[0xB2, 99, 1], &[0xB2, 98, 2], &[0xB2, 6, 3], &[0xB2, 38, 4]];
        assert_eq!(decoded(&event(EventType::Nonregparam, (1 << 7) | 2, (3 << 7) | 4)), expected);
        let expected: [&[u8]; 4] = [&[0xB2, 101, 0], &[0xB2, 100, 1], &[0xB2, 6, 64], &[0xB2, 38, 0]];
        assert_eq!(decoded(&event(EventType::Regparam, 1, 8192)), expected);
    }

    #[test]
    fn values_that_midi_has_not_are_refused() {
        let control = |channel, param, value| Event::new(EventType::Controller, &EvCtrl { channel, param, value });
        for event in [control(16, 7, 1), control(0, 200, 1), control(0, 7, -1), control(0, 7, 128)] {
            assert!(decode(&event).is_none());
        }
    }
}
