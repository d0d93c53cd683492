//! Reads the messages that a song sends to other machines.

use super::diagnostic::{Diagnostic, Kind, quoted};
use super::names::Known;
use super::reader::{Fields, Value};
use super::values;
use super::{At, Moment, Send, SendMessage};
use crate::midi::machine_control::{self, Transport};
use crate::midi::{Channel, Note, U7};

/// The forms that a message can have; each has exactly one of them.
const FORMS: [&str; 8] = ["program", "control", "note", "transport", "locate", "clock", "song_select", "bytes"];

const TRANSPORT: [(&str, Transport); 6] = [
    ("stop", Transport::Stop),
    ("play", Transport::Play),
    ("pause", Transport::Pause),
    ("record", Transport::Record),
    ("rewind", Transport::Rewind),
    ("forward", Transport::Forward),
];

/// Reads a send. `sections` are the song's, `outputs` the gear's.
pub(super) fn read(mut fields: Fields<'_>, sections: &Known<()>, outputs: &Known<()>) -> Option<Send> {
    let at = fields.need("at").and_then(|value| value.text());
    let to = fields.need("to").and_then(|value| value.text());
    let after = fields.take("after_ms").map_or(Some(0), |value| values::milliseconds(&value, 0.0, 600_000.0));
    let message = fields.need("message").and_then(|value| value.table("a message")).and_then(message);
    let (page, spot) = (fields.page, fields.spot);
    fields.done();
    if let Some(to) = &to {
        outputs.find(page, to);
    }
    let at = at.map(|at| {
        let moment = match at.value.as_str() {
            "enter" => Moment::Enter,
            "leave" => Moment::Leave,
            name => {
                if sections.whole && sections.get(name).is_none() {
                    page.report(unknown_moment(&at, sections));
                }
                Moment::Section(at.value)
            }
        };
        At { value: moment, spot: at.spot }
    });
    Some(Send { spot, at: at?, to: to?, after: after?, message: message? })
}

fn unknown_moment(at: &At<String>, sections: &Known<()>) -> Diagnostic {
    let title = format!("there is no section called {} in the song", quoted(&at.value));
    let known = || ["enter", "leave"].into_iter().chain(sections.list.iter().map(|(name, ())| name.as_str()));
    let help = match super::nearest::nearest(&at.value, known()) {
        Some(near) => super::diagnostic::did_you_mean(near),
        None => format!("write one of {}", super::diagnostic::several(known())),
    };
    Diagnostic::error(Kind::Finding, at.spot, title).help(help)
}

/// Reads a message.
pub(super) fn message(mut fields: Fields<'_>) -> Option<SendMessage> {
    let present = FORMS.map(|form| fields.take(form).map(|value| (form, value)));
    let (channel, bank, length) = (fields.take("channel"), fields.take("bank"), fields.take("length_ms"));
    let mut forms = present.into_iter().flatten();
    let read = match (forms.next(), forms.next()) {
        (Some((form, value)), None) => {
            let on_channel = matches!(form, "program" | "control" | "note");
            let strays = [
                (channel, on_channel, "channel", "program, control and note"),
                (bank, form == "program", "bank", "program"),
                (length, form == "note", "length_ms", "note"),
            ];
            for (stray, fits, name, homes) in strays {
                if let Some(stray) = stray.filter(|_| !fits) {
                    stray.finding(format!("{} belongs to {homes} only", quoted(name)), "take it out");
                }
            }
            if on_channel {
                if channel.is_none() {
                    fields.missing("channel");
                }
                let channel = channel.and_then(|channel| values::channel(&channel));
                channel_message(form, &value, channel, bank, length)
            } else {
                system_message(form, &value)
            }
        }
        (first, _) => {
            let title = if first.is_some() {
                "this message has several things to send, but it sends one"
            } else {
                "this message has nothing to send"
            };
            let fault = Diagnostic::error(Kind::Finding, fields.spot, title);
            fields.page.report(
                fault.help(format!("write one of {}, such as {{ program = 5, channel = 1 }}", FORMS.join(", "))),
            );
            None
        }
    };
    fields.done();
    read
}

fn channel_message(
    form: &str,
    value: &Value<'_>,
    channel: Option<Channel>,
    bank: Option<Value<'_>>,
    length: Option<Value<'_>>,
) -> Option<SendMessage> {
    match form {
        "program" => {
            let program = values::program(value);
            let bank = bank.and_then(|bank| values::bank(&bank));
            Some(SendMessage::Program { channel: channel?, bank, program: program? })
        }
        "control" => {
            let (number, set) = value.pair("two numbers from 0 to 127, the controller and its value")?;
            let (number, set) = (values::seven_bits(&number), values::seven_bits(&set));
            Some(SendMessage::Control { channel: channel?, number: number?, value: set? })
        }
        _ => {
            let (note, velocity) = value.pair("a note and its velocity")?;
            let (note, velocity) = (values::note(&note), velocity_of(&velocity));
            let length = length.map_or(Some(100_000), |length| values::milliseconds(&length, 1.0, 600_000.0));
            note_message(channel?, note?, velocity?, length?)
        }
    }
}

fn note_message(channel: Channel, note: Note, velocity: U7, length: u64) -> Option<SendMessage> {
    Some(SendMessage::Note { channel, note, velocity, length })
}

fn velocity_of(value: &Value<'_>) -> Option<U7> {
    if value.as_whole() == Some(0) {
        let help = "write 1 to 127; the note ends by itself after length_ms";
        value.finding("a note with velocity 0 is the end of a note", help);
        return None;
    }
    value.whole::<u8>(1..=127).and_then(|number| U7::new(number).ok())
}

fn system_message(form: &str, value: &Value<'_>) -> Option<SendMessage> {
    // Rule R8 holds back all that concerns a transport or clock when `play` starts, even a stop.
    let (bytes, starts) = match form {
        "transport" => (value.choice(&TRANSPORT)?.bytes().to_vec(), true),
        "locate" => (place(value)?, true),
        // MIDI 1.0 Detailed Specification 4.2.1 p. 30.
        "clock" => (vec![value.choice(&[("start", 0xFA), ("continue", 0xFB), ("stop", 0xFC)])?], true),
        // Counted from 1 as on a front panel, like programs.
        "song_select" => (vec![0xF3, u8::from(values::program(value)?)], false),
        _ => {
            let bytes = whole_message(value)?;
            let machine_control = matches!(bytes[..], [0xF0, 0x7F, _, 0x06, ..]);
            (bytes, machine_control)
        }
    };
    Some(SendMessage::System { bytes, starts })
}

/// The machine control command that goes to a place on the tape.
fn place(value: &Value<'_>) -> Option<Vec<u8>> {
    let bytes = value.as_text().and_then(|text| machine_control::locate(text).ok());
    if bytes.is_none() {
        value.wrong("hours, minutes, seconds and frames, at 24 frames a second");
    }
    bytes.map(Vec::from)
}

/// Exactly one system message, F0–F7, from hexadecimal text.
fn whole_message(value: &Value<'_>) -> Option<Vec<u8>> {
    let text = value.text()?.value;
    let byte = |part: &str| (part.len() == 2).then(|| u8::from_str_radix(part, 16).ok()).flatten();
    let Some(bytes) = text.split_whitespace().map(byte).collect::<Option<Vec<u8>>>() else {
        value.wrong("pairs of hexadecimal digits with spaces between");
        return None;
    };
    let whole = match bytes[..] {
        [0xF0, ref data @ .., 0xF7] => data.iter().all(|byte| *byte < 0x80),
        [0xF1 | 0xF3, data] => data < 0x80,
        [0xF2, low, high] => low < 0x80 && high < 0x80,
        [0xF6] => true,
        _ => false,
    };
    if whole {
        return Some(bytes);
    }
    let broken = "these bytes are not one whole system message";
    let (title, help) = match bytes.first() {
        Some(0x80..=0xEF) => (
            "these bytes are a message on a channel",
            "write it as { program = … }, { control = … } or { note = … }, each with a channel",
        ),
        Some(0xF8 | 0xFA..=0xFC) => {
            ("these bytes are a clock message", "write { clock = \"start\" }, \"stop\" or \"continue\"")
        }
        Some(0xF0) => (broken, "such a message begins with F0, ends with F7, and has only 00 to 7F between"),
        _ => (broken, "write one whole system message, such as \"F0 7E 7F 06 01 F7\" or \"F3 05\""),
    };
    value.finding(title, help);
    None
}
