//! Messages to other machines: what one can say, and how the maps are read for it.

use super::SendMessage;
use super::allowed::{CLOCK, MACHINE_CONTROL};
use super::diagnostic::{Diagnostic, FaultKind, quoted};
use super::reader::{Fields, Value};
use super::values;
use crate::midi::machine_control;
use crate::midi::{Channel, U7};

/// The forms that a message can have, each with its word; a message has exactly one of them.
const FORMS: [(&str, Form); 8] = [
    ("program", Form::OnChannel(OnChannel::Program)),
    ("control", Form::OnChannel(OnChannel::Control)),
    ("note", Form::OnChannel(OnChannel::Note)),
    ("transport", Form::System(System::Transport)),
    ("locate", Form::System(System::Locate)),
    ("clock", Form::System(System::Clock)),
    ("song_select", Form::System(System::SongSelect)),
    ("bytes", Form::System(System::Bytes)),
];

#[derive(Clone, Copy, PartialEq, Eq)]
enum Form {
    OnChannel(OnChannel),
    System(System),
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum OnChannel {
    Program,
    Control,
    Note,
}

#[derive(Clone, Copy, PartialEq, Eq)]
enum System {
    Transport,
    Locate,
    Clock,
    SongSelect,
    Bytes,
}

/// Reads a message.
pub(super) fn message(mut fields: Fields<'_>) -> Option<SendMessage> {
    let present = FORMS.map(|(word, form)| fields.take(word).map(|value| (form, value)));
    let (channel, bank, length) = (fields.take("channel"), fields.take("bank"), fields.take("length_ms"));
    let mut forms = present.into_iter().flatten();
    let read = match (forms.next(), forms.next()) {
        (Some((form, value)), None) => {
            let on_channel = matches!(form, Form::OnChannel(_));
            let strays = [
                (channel, on_channel, "channel", "program, control and note"),
                (bank, form == Form::OnChannel(OnChannel::Program), "bank", "program"),
                (length, form == Form::OnChannel(OnChannel::Note), "length_ms", "note"),
            ];
            for (stray, fits, name, homes) in strays {
                if let Some(stray) = stray.filter(|_| !fits) {
                    stray.finding(format!("{} belongs to {homes} only", quoted(name)), "take it out");
                }
            }
            match form {
                Form::OnChannel(form) => {
                    if channel.is_none() {
                        fields.missing("channel");
                    }
                    let channel = channel.and_then(|channel| values::channel(&channel));
                    channel_message(form, &value, channel, bank, length)
                }
                Form::System(form) => system_message(form, &value),
            }
        }
        (first, _) => {
            let title = if first.is_some() {
                "this message has several things to send, but it sends one"
            } else {
                "this message has nothing to send"
            };
            let fault = Diagnostic::error(FaultKind::Finding, fields.spot, title);
            fields.map_file.report(fault.help(format!(
                "write one of {}, such as {{ program = 5, channel = 1 }}",
                FORMS.map(|(word, _)| word).join(", ")
            )));
            None
        }
    };
    fields.done();
    read
}

fn channel_message(
    form: OnChannel,
    value: &Value<'_>,
    channel: Option<Channel>,
    bank: Option<Value<'_>>,
    length: Option<Value<'_>>,
) -> Option<SendMessage> {
    match form {
        OnChannel::Program => {
            let program = values::program(value);
            let bank = bank.and_then(|bank| values::bank(&bank));
            Some(SendMessage::Program { channel: channel?, bank, program: program? })
        }
        OnChannel::Control => {
            let (number, set) = value.pair("two numbers from 0 to 127, the controller and its value")?;
            let (number, set) = (values::seven_bits(&number), values::seven_bits(&set));
            Some(SendMessage::Control { channel: channel?, number: number?, value: set? })
        }
        OnChannel::Note => {
            let (note, velocity) = value.pair("a note and its velocity")?;
            let (note, velocity) = (values::note(&note), velocity_of(&velocity));
            let length = length.map_or(Some(100_000), |length| values::milliseconds(&length, 1.0, 600_000.0));
            Some(SendMessage::Note { channel: channel?, note: note?, velocity: velocity?, length: length? })
        }
    }
}

fn velocity_of(value: &Value<'_>) -> Option<U7> {
    if value.as_whole() == Some(0) {
        let help = "write 1 to 127; the note ends by itself after length_ms";
        value.finding("a note with velocity 0 is the end of a note", help);
        return None;
    }
    value.whole::<u8>(1..=127).and_then(|number| U7::new(number).ok())
}

fn system_message(form: System, value: &Value<'_>) -> Option<SendMessage> {
    // Rule R8 holds back all that concerns a transport or clock when `play` starts, even a stop.
    let (bytes, starts) = match form {
        System::Transport => (value.choice(&MACHINE_CONTROL)?.bytes().to_vec(), true),
        System::Locate => (place(value)?, true),
        System::Clock => (vec![value.choice(&CLOCK)?], true),
        // Counted from 1 as on a front panel, like programs.
        System::SongSelect => (vec![0xF3, u8::from(values::program(value)?)], false),
        System::Bytes => {
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
    let text = value.text_of_parts()?.value;
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
