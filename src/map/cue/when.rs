//! Reads what fires a cue.

use super::super::diagnostic::{Diagnostic, FaultKind, quoted};
use super::super::names::Names;
use super::super::reader::{Fields, Value};
use super::super::{Press, Spot, Trigger, When};
use super::super::{allowed, values};
use crate::midi::{Channel, U7};

/// What can fire a cue; each names exactly one of them.
const FORMS: [&str; 6] = ["note", "control", "program", "song_select", "clock", "transport"];

/// Reads what fires a cue, and where its press is written.
pub(super) fn read(value: &Value<'_>, names: &Names) -> Option<(Option<When>, Option<Spot>)> {
    let mut fields = value.table("\"when\"")?;
    let input = fields.need("input").and_then(|value| value.text());
    if let Some(input) = &input {
        names.inputs.find(fields.map_file, input);
    }
    let present = FORMS.map(|form| fields.take(form).map(|value| (form, value)));
    let forms: Vec<_> = present.into_iter().flatten().collect();
    let (channel, press, reversed) = (fields.take("channel"), fields.take("press"), fields.take("reversed"));
    let trigger = match forms[..] {
        [(form, value)] => {
            let pressed = matches!(form, "note" | "control");
            let strays = [
                (channel, pressed || form == "program", "channel", "note, control and program"),
                (press, pressed, "press", "note and control"),
                (reversed, form == "control", "reversed", "control"),
            ];
            for (stray, fits, name, homes) in strays {
                if let Some(stray) = stray.filter(|_| !fits) {
                    stray.finding(format!("{} belongs to {homes} only", quoted(name)), "take it out");
                }
            }
            trigger(form, &value, channel, press, reversed)
        }
        _ => {
            not_one(&fields, &forms);
            None
        }
    };
    fields.done();
    let when = input.zip(trigger).map(|(input, trigger)| When { input, trigger });
    Some((when, press.map(|press| press.spot)))
}

fn not_one(fields: &Fields<'_>, forms: &[(&str, Value<'_>)]) {
    // What is missing may only be unreadable, or misspelt.
    if forms.is_empty() && (fields.map_file.may_have("when") || fields.has_others()) {
        return;
    }
    let title =
        if forms.is_empty() { "nothing fires this cue" } else { "several things fire this cue, but a cue has one" };
    let fault = Diagnostic::error(FaultKind::Finding, fields.spot, title);
    let help = format!("write one of {}, such as {{ input = \"keyboard\", control = 67 }}", FORMS.join(", "));
    let help = if forms.is_empty() { help } else { format!("{help}; write a second cue for the other") };
    fields.map_file.report(fault.help(help));
}

fn trigger(
    form: &str,
    value: &Value<'_>,
    channel: Option<Value<'_>>,
    press: Option<Value<'_>>,
    reversed: Option<Value<'_>>,
) -> Option<Trigger> {
    let channel: Option<Option<Channel>> = match channel {
        Some(channel) => values::channel(&channel).map(Some),
        None => Some(None),
    };
    let press = press.map_or(Some(Press::Single), |press| press.choice(&allowed::PRESSES));
    let reversed = reversed.map_or(Some(false), |reversed| reversed.flag());
    match form {
        "note" => {
            let key = values::note(value)?;
            Some(Trigger::Key { key: u8::from(key), channel: channel?, press: press? })
        }
        "control" => {
            let number = values::seven_bits(value)?;
            if u8::from(number) >= 120 {
                let title = "120 to 127 are commands such as all notes off, not controllers";
                value.finding(title, "write a controller from 0 to 119, such as control = 67");
                return None;
            }
            Some(Trigger::Control { number, channel: channel?, press: press?, reversed: reversed? })
        }
        "program" => Some(Trigger::Program { program: any_or_one(value)?, channel: channel? }),
        "song_select" => Some(Trigger::SongSelect(any_or_one(value)?)),
        "clock" => value.choice(&allowed::CLOCKS).map(Trigger::Clock),
        _ => value.choice(&allowed::TRANSPORTS).map(Trigger::Transport),
    }
}

/// A number from 1 as on a front panel, or any.
fn any_or_one(value: &Value<'_>) -> Option<Option<U7>> {
    if value.as_text() == Some("any") {
        return Some(None);
    }
    if value.as_whole().is_none() {
        value.wrong("a whole number from 1 to 128, or \"any\"");
        return None;
    }
    values::program(value).map(Some)
}
