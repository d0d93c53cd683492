//! Maps that are loaded or refused, and changes to the set.

use super::listed;
use crate::map::{Gear, Input, Output, quoted};

/// How long a change holds.
const UNSAVED: &str = "Until it is saved with save-set it holds for this run only.";

/// Saved maps were loaded.
pub(crate) const LOADED: &str = "The saved maps are loaded.";
/// The evening's changes are gone.
pub(crate) const AS_IN_ITS_FILE: &str = "The set is as its file has it.";
/// Saved maps have errors.
pub(crate) const REFUSED: &str = "The saved maps were not loaded: the set goes on as before.";
/// What was refused of the saved maps is mended, or is as it was before.
pub(crate) const IN_ORDER: &str = "The saved maps are in order again.";
/// A saved gear file that serves the page elsewhere.
pub(crate) const STAND_WAITS: &str =
    "The saved gear file has another listen or input below [stand]: that holds from the next start, the page stays.";
/// Many change the set at a moment.
pub(crate) const OVERTAKEN: &str = "The maps are being changed by others at this moment: try again.";

/// Saved maps have errors, for who has room for a line: the first of them with its place, and how many more there are.
pub(crate) fn refused(first: Option<&str>, more: usize) -> String {
    let first = first.map_or_else(String::new, |first| format!(" {first}"));
    let more = if more > 0 { format!(" And {more} more.") } else { String::new() };
    format!("{REFUSED}{first}{more}")
}

/// A saved gear file that asks for other ports, and which those are.
pub(crate) fn other_ports(before: &Gear, saved: &Gear) -> String {
    let mut differences = differences("input", &inputs(before), &inputs(saved));
    differences.extend(self::differences("output", &outputs(before), &outputs(saved)));
    if before.reconnect != saved.reconnect {
        differences.push("another reconnect".to_owned());
    }
    if differences.is_empty() {
        differences.push("its inputs or outputs in another order".to_owned());
    }
    format!(
        "The saved gear file has {}. Ports are opened at the start only: end handspan and start it again. Until then \
         nothing that is saved is loaded.",
        listed(&differences.iter().map(String::as_str).collect::<Vec<_>>())
    )
}

/// A port with its name in the gear file: what it is connected with, the serial number of that, whether it may be missing.
type NamedPort = (String, (Option<String>, Option<String>, bool));

fn inputs(gear: &Gear) -> Vec<NamedPort> {
    let named = |input: &Input| {
        (input.name.value.clone(), (Some(input.port.value.clone()), input.serial.clone(), input.optional))
    };
    gear.inputs.iter().map(named).collect()
}

fn outputs(gear: &Gear) -> Vec<NamedPort> {
    let port = |output: &Output| output.port.as_ref().map(|port| port.value.clone());
    let named = |output: &Output| (output.name.value.clone(), (port(output), None, output.optional));
    gear.outputs.iter().map(named).collect()
}

/// In what the ports of one kind differ.
fn differences(kind: &str, before: &[NamedPort], saved: &[NamedPort]) -> Vec<String> {
    let find =
        |among: &[NamedPort], name: &str| among.iter().find(|(known, _)| known == name).map(|(_, port)| port.clone());
    let mut words = Vec::new();
    for (name, port) in saved {
        match find(before, name) {
            None => words.push(format!("a new {kind} {}", quoted(name))),
            Some((known, _, _)) if known != port.0 => {
                words.push(format!("another port for the {kind} {}", quoted(name)))
            }
            Some((_, known, _)) if known != port.1 => {
                words.push(format!("another serial for the {kind} {}", quoted(name)))
            }
            Some((_, _, known)) if known != port.2 => {
                words.push(format!("another optional for the {kind} {}", quoted(name)))
            }
            Some(_) => {}
        }
    }
    let gone = before.iter().filter(|(name, _)| find(saved, name).is_none());
    words.extend(gone.map(|(name, _)| format!("no {kind} {} any longer", quoted(name))));
    words
}

/// The set was changed, in the words that ask for it.
pub(crate) fn changed(change: &str) -> String {
    format!("The set was changed: {change}.")
}

/// Changes of the evening do not fit the saved maps.
pub(crate) fn dropped(count: usize) -> String {
    match count {
        1 => "One of this evening's changes does not fit the saved maps and is gone.".to_owned(),
        count => format!("{count} of this evening's changes do not fit the saved maps and are gone."),
    }
}

/// A change that the last run made does not fit the maps any longer; `why` is a sentence.
pub(crate) fn no_longer(why: &str) -> String {
    format!("no longer changed: {why}")
}

/// A change that holds for this run, by what it did.
pub(crate) fn for_this_run(done: &str) -> String {
    format!("{done} {UNSAVED}")
}

/// A song was moved to a position of the set.
pub(crate) fn moved(title: &str, to: usize, of: usize) -> String {
    format!("\"{title}\" is {to} of {of} now.")
}

/// Where the map of a song that is added is looked for.
pub(crate) const LOOKED_FOR: &str = "it is looked for from here, then from the set's folder";

/// A song was added at the end.
pub(crate) fn added(title: &str, of: usize, key: Option<&str>) -> String {
    let key = key.map_or_else(String::new, |key| format!(", in {key}"));
    format!("\"{title}\" is the last of {of} now{key}.")
}

/// A song or pause has left the set.
pub(crate) fn removed(title: &str, left: usize) -> String {
    format!("\"{title}\" is in the set no longer, which has {left} now.")
}

/// Who sings a song tonight.
pub(crate) fn singer_set(title: &str, singer: Option<&str>) -> String {
    match singer {
        Some(singer) => format!("\"{title}\" is sung by {singer} tonight."),
        None => format!("\"{title}\" has no singer tonight."),
    }
}

/// A song has another key tonight. `room` is the room's key and the semitones that were added by hand, where the song
/// is played at this moment.
pub(crate) fn key_set(title: &str, key: &str, room: Option<(&str, i32)>) -> String {
    let room = match room {
        Some((room, 0)) => format!(" New notes sound in {room} already."),
        Some((room, _)) => {
            format!(" The room stays in {room}, because the key was changed by hand: tonights-key goes to the new key.")
        }
        None => String::new(),
    };
    format!("\"{title}\" is in {key} tonight.{room}")
}

/// Nothing was changed that could be taken back.
pub(crate) const NOTHING_TO_UNDO: &str = "Nothing was changed since the set was last saved: there is nothing to undo.";

/// The maps as they are saved by now cannot be loaded.
pub(crate) const NOT_UNDONE: &str = "Nothing was taken back: the maps that were saved meanwhile have errors, or ask for other ports than those that are open.";

/// A field of a zone or of the song was adjusted.
pub(crate) fn adjusted(whose: &str, field: &str, value: &str) -> String {
    format!("{whose}: {field} {value}.")
}

/// The last change was taken back.
pub(crate) fn undone(change: &str) -> String {
    format!("Taken back: {change}.")
}

/// Files were written; one backup for each.
pub(crate) fn saved(files: &[&str], backups: &[String]) -> String {
    let backups: Vec<&str> = backups.iter().map(String::as_str).collect();
    format!("Saved to {}; what was there before is in {}.", listed(files), listed(&backups))
}
