//! MIDI messages in words, as scripts and screens show them: `on C4 100`, `control 64 127`, `bytes F8`.

use super::{Channel, Message, Note, U7, U14, decode};
use crate::music::{Speller, note};

/// Middle C is C4 wherever we write ourselves.
const MIDDLE_C: i32 = 4;

/// A message in words, without its channel; programs count from 1 as on a front panel.
#[must_use]
pub fn describe(bytes: &[u8]) -> String {
    describe_with(bytes, |key| note::name(key, MIDDLE_C))
}

/// A message in words, its note spelled as at its moment: for people; [`read`] knows sharps and flats alike.
#[must_use]
pub fn describe_in(bytes: &[u8], speller: &Speller) -> String {
    describe_with(bytes, |note| speller.note(note, MIDDLE_C))
}

fn describe_with(bytes: &[u8], name: impl Fn(Note) -> String) -> String {
    match decode(bytes) {
        Ok(Message::NoteOn { note, velocity, .. }) => format!("on {} {}", name(note), u8::from(velocity)),
        Ok(Message::NoteOff { note, velocity, .. }) => format!("off {} {}", name(note), u8::from(velocity)),
        Ok(Message::PolyPressure { note, value, .. }) => format!("press {} {}", name(note), u8::from(value)),
        Ok(Message::Control { number, value, .. }) => format!("control {} {}", u8::from(number), u8::from(value)),
        Ok(Message::Program { program, .. }) => format!("program {}", u8::from(program) + 1),
        Ok(Message::Pressure { value, .. }) => format!("pressure {}", u8::from(value)),
        Ok(Message::Bend { value, .. }) => format!("bend {}", u16::from(value)),
        _ => {
            let digits: Vec<String> = bytes.iter().map(|byte| format!("{byte:02X}")).collect();
            format!("bytes {}", digits.join(" "))
        }
    }
}

/// The channel of a message, from 1; `None` for a system message.
#[must_use]
pub fn channel(bytes: &[u8]) -> Option<u8> {
    bytes.first().filter(|status| (0x80..0xF0).contains(*status)).map(|status| (status & 15) + 1)
}

/// Reads a message in words; `channel` counts from 1. An `off` without a velocity has 64.
///
/// # Errors
/// A sentence that says what is wrong.
pub fn read(words: &str, channel: u8) -> Result<Vec<u8>, String> {
    let mut words_left = words.split_whitespace();
    let kind = words_left.next().ok_or("a message is missing")?;
    let channel = channel.checked_sub(1).and_then(|index| Channel::from_index(index).ok());
    let channel = channel.ok_or("a channel is 1 to 16")?;
    let mut rest: Vec<&str> = words_left.collect();
    if kind == "bytes" {
        return rest
            .iter()
            .map(|byte| u8::from_str_radix(byte, 16).map_err(|_| format!("\"{byte}\" is no byte")))
            .collect();
    }
    if kind == "off" && rest.len() == 1 {
        rest.push("64");
    }
    let key = |index: usize| note::parse(word(&rest, index)?, MIDDLE_C).map_err(|error| error.to_string());
    let number = |index: usize| -> Result<U7, String> {
        let text = word(&rest, index)?;
        let value = text.parse::<u8>().ok().and_then(|value| U7::try_from(value).ok());
        value.ok_or_else(|| format!("\"{text}\" is no number from 0 to 127"))
    };
    let (message, length) = match kind {
        "on" => (Message::NoteOn { channel, note: key(0)?, velocity: number(1)? }, 2),
        "off" => (Message::NoteOff { channel, note: key(0)?, velocity: number(1)? }, 2),
        "press" => (Message::PolyPressure { channel, note: key(0)?, value: number(1)? }, 2),
        "control" => (Message::Control { channel, number: number(0)?, value: number(1)? }, 2),
        "program" => {
            let program = word(&rest, 0)?.parse::<u8>().ok().and_then(|program| program.checked_sub(1));
            let program = program.and_then(|program| U7::try_from(program).ok()).ok_or("a program is 1 to 128")?;
            (Message::Program { channel, program }, 1)
        }
        "pressure" => (Message::Pressure { channel, value: number(0)? }, 1),
        "bend" => {
            let value = word(&rest, 0)?.parse::<u16>().ok().and_then(|value| U14::try_from(value).ok());
            (Message::Bend { channel, value: value.ok_or("a bend is 0 to 16383, 8192 at rest")? }, 1)
        }
        _ => return Err(format!("\"{kind}\" is no message")),
    };
    if rest.len() != length {
        return Err(format!("\"{words}\" has too many words"));
    }
    let mut bytes = [0; 3];
    let length = message.encode(&mut bytes);
    Ok(bytes[..length].to_vec())
}

fn word<'a>(words: &[&'a str], index: usize) -> Result<&'a str, String> {
    words.get(index).copied().ok_or_else(|| "a word is missing at the end".to_owned())
}
