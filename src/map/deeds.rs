//! Reads what is done on entering and leaving: actions in the words of the one table, and messages to other machines.

use super::action::zone_turned;
use super::diagnostic::{did_you_mean, quoted};
use super::names::Known;
use super::nearest::nearest;
use super::reader::{Fields, Value};
use super::{Action, ActionError, Deed, Does, WrittenAction, send, values};

/// What a list can have, as one writes it.
const FORMS: [&str; 6] = ["zone bed on", "zone bed off", "drone on", "drone off", "fade", "fade 3000"];

/// What a list may name.
#[derive(Clone, Copy)]
pub(super) struct Around<'a> {
    /// The gear's outputs.
    pub outputs: &'a Known<()>,
    /// The zones that may be turned.
    pub zones: &'a Known<()>,
    /// Whether there is a drone to be turned on, or may be one.
    pub drone: bool,
}

/// Reads a list; what is wrong in it is reported and left out.
pub(super) fn list(value: Option<Value<'_>>, around: Around<'_>) -> Vec<Deed> {
    let Some(value) = value else { return Vec::new() };
    if !value.is_list() {
        value.wrong("a list of actions and messages");
    }
    value.items().iter().filter_map(|item| deed(item, around)).collect()
}

fn deed(item: &Value<'_>, around: Around<'_>) -> Option<Deed> {
    if item.is_table() {
        return item.table("what is sent").and_then(|fields| sent(fields, around.outputs));
    }
    let Some(text) = item.as_text() else {
        item.finding("an item is an action in quotation marks, or a message", help(None));
        return None;
    };
    let action = action(item, text, around)?;
    Some(Deed { spot: item.spot, does: Does::Act(action), after: 0 })
}

/// A message, with its output.
fn sent(mut fields: Fields<'_>, outputs: &Known<()>) -> Option<Deed> {
    let to = fields.need("to").and_then(|value| value.text());
    let after = fields.take("after_ms").map_or(Some(0), |value| values::milliseconds(&value, 0.0, 600_000.0));
    let message = fields.need("message").and_then(|value| value.table("a message")).and_then(send::message);
    let (map_file, spot) = (fields.map_file, fields.spot);
    fields.done();
    if let Some(to) = &to {
        outputs.find(map_file, to);
    }
    Some(Deed { spot, does: Does::Send { to: to?, message: message? }, after: after? })
}

/// What is to be written instead: the nearest form, or all of them.
fn help(text: Option<&str>) -> String {
    match text.and_then(|text| nearest(text, FORMS.into_iter())) {
        Some(near) => did_you_mean(near),
        None => {
            let forms = FORMS.map(quoted).join(", ");
            format!(
                "write one of {forms}, or a message such as {{ to = \"desk\", message = {{ program = 5, channel = 1 }} }}"
            )
        }
    }
}

fn action(item: &Value<'_>, text: &str, around: Around<'_>) -> Option<WrittenAction> {
    let other_way = || {
        let title = "a list turns something on or off, not the other way";
        item.finding(title, format!("write \"{text} on\" or \"{text} off\""));
        None
    };
    match Action::read(text) {
        Ok(Action::Zone { name, .. }) => {
            let (name, on) = zone_turned(name, |name| around.zones.get(name).is_some());
            let name = item.at(name.to_owned());
            around.zones.find(item.map_file, &name)?;
            on.map_or_else(other_way, |on| Some(Action::Zone { name, on: Some(on) }))
        }
        Ok(Action::Drone(None)) => other_way(),
        Ok(Action::Drone(Some(true))) if !around.drone => {
            item.finding("this song has no drone to be turned on", "add a [drone], or take this out");
            None
        }
        Ok(Action::Drone(on)) => Some(Action::Drone(on)),
        Ok(Action::Fade(time)) => Some(Action::Fade(time)),
        Ok(other) => {
            let title = format!("{} is for the player and for cues, not for a list", quoted(other.word().row().word));
            item.finding(title, help(None));
            None
        }
        Err(ActionError::Unknown(_)) => {
            item.finding(format!("{} is no action that a list can have", quoted(text)), help(Some(text)));
            None
        }
        Err(error) => {
            item.finding(error.to_string(), help(None));
            None
        }
    }
}
