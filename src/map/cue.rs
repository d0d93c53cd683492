//! Reads cues: what fires each, what it does, and what belongs to that.

mod aims;
mod does;
#[cfg(test)]
mod tests;
mod when;

pub(super) use aims::{in_the_set, in_the_song};

use super::diagnostic::{Diagnostic, FaultKind};
use super::names::Names;
use super::reader::{Fields, Value};
use super::{Action, Cue, Does, Off, Press, SongChoice, Spot, Trigger, allowed, send};

/// A cue as far as it could be read, and where the parts stand that are held against each other.
struct CueParts<'a> {
    trigger: Option<Trigger>,
    /// Where the press is written.
    press: Option<Spot>,
    does: Option<Does>,
    /// Where the song is written.
    song: Option<Value<'a>>,
}

/// Reads the cues of a gear file or a song's map.
pub(super) fn list(top: &mut Fields<'_>, names: &Names) -> Vec<Cue> {
    top.list_of("cue", "a cue").into_iter().filter_map(|fields| read(fields, names)).collect()
}

fn read(mut fields: Fields<'_>, names: &Names) -> Option<Cue> {
    let (map_file, spot) = (fields.map_file, fields.spot);
    let (when, press) = fields.need("when").and_then(|value| when::read(&value, names)).unzip();
    let (name, off, hold) = (fields.take("name"), fields.take("off"), fields.take("while_down"));
    let rest = fields.take("rest");
    let song = fields.take("song");
    let does = does::read(&mut fields, song, off, names);
    fields.done();
    let when = when.flatten();
    let parts = CueParts { trigger: when.as_ref().map(|when| when.trigger), press: press.flatten(), does, song };
    received(&parts);
    let held = hold.and_then(|value| value.flag()).unwrap_or(false);
    if let Some(hold) = hold.filter(|_| held) {
        holdable(&hold, off.is_some(), &parts);
    }
    if let Some(name) = name.filter(|_| off.is_none() && !map_file.may_have("off")) {
        let title = "\"name\" is shown while a cue is on, but without off this one never is";
        name.finding(title, add_off(&parts, "name"));
    }
    if let Some(rest) = rest.filter(|_| off.is_none() && !map_file.may_have("off")) {
        let title = "\"rest\" says which of two messages is sent at the start and the end, but this cue has no off";
        rest.finding(title, add_off(&parts, "rest"));
    }
    let rest = rest.and_then(|value| value.choice(&allowed::RESTS));
    let name = name.and_then(|value| value.text()).map(|at| at.value);
    let message = off.map(|off| off.table("a message").and_then(send::message));
    let off = match message {
        Some(message) => Some(Off { message: message? }),
        None => None,
    };
    Some(Cue { spot, when: when?, does: parts.does?, name, off, rest, while_down: held })
}

/// Only a trigger that takes any number leaves one open to be received.
fn received(parts: &CueParts<'_>) {
    let (
        Some(trigger),
        Some(Does::Act(Action::Song(SongChoice::Received) | Action::LineUp(SongChoice::Received))),
        Some(song),
    ) = (parts.trigger, parts.does.as_ref(), parts.song.as_ref())
    else {
        return;
    };
    let help = match trigger {
        Trigger::Program { program: None, .. } | Trigger::SongSelect(None) => return,
        Trigger::Program { program: Some(number), .. } => {
            format!("write program = \"any\", or song = {}", u8::from(number) + 1)
        }
        Trigger::SongSelect(Some(number)) => format!("write song_select = \"any\", or song = {}", u8::from(number) + 1),
        _ => "let program = \"any\" or song_select = \"any\" fire it, or write the song's title".to_owned(),
    };
    song.finding("\"received\" is the number that came in, but nothing that fires this cue leaves a number open", help);
}

/// What to write where a field has no use without an `off`, which only a send has.
fn add_off(parts: &CueParts<'_>, field: &str) -> String {
    match parts.does {
        None | Some(Does::Send { .. }) => {
            format!("write off = {{ … }} too, the message that ends it, or take {field} out")
        }
        Some(_) => format!("take {field} out: only a send stays on, until its off is sent"),
    }
}

/// What is held comes up again: a key or a pedal, pressed once.
fn holdable(hold: &Value<'_>, has_off: bool, parts: &CueParts<'_>) {
    if !has_off {
        if !hold.map_file.may_have("off") {
            let title = "\"while_down\" sends off as the key or pedal comes up, but this cue has no off";
            hold.finding(title, add_off(parts, "while_down"));
        }
        return;
    }
    match parts.trigger.map(Trigger::press) {
        None | Some(Some(Press::Single)) => {}
        Some(None) => {
            let title = "only a key or pedal can be held: this message has no release";
            hold.finding(title, "take while_down out: then every second one sends off");
        }
        Some(Some(_)) => {
            let title = "what is held is pressed once: the press must be a single one";
            let fault = Diagnostic::error(FaultKind::Finding, hold.spot, title);
            let fault = fault.help("take press out, or while_down: then every second press sends off");
            hold.map_file
                .report(parts.press.into_iter().fold(fault, |fault, press| fault.also(press, "not a single one")));
        }
    }
}
