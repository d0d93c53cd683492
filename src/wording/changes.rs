//! Maps that are loaded or refused, and changes to the set.

use super::listed;

/// How long a change holds.
const UNSAVED: &str = "Until it is saved with save-set it holds for this run only.";

/// Saved maps were loaded.
pub(crate) const LOADED: &str = "The saved maps are loaded.";
/// The evening's changes are gone.
pub(crate) const AS_IN_ITS_FILE: &str = "The set is as its file has it.";
/// Saved maps have errors.
pub(crate) const REFUSED: &str = "The saved maps were not loaded: the set goes on as before.";
/// Saved maps that ask for other ports.
pub(crate) const OTHER_PORTS: &str =
    "The saved gear file asks for other inputs or outputs: they are opened at the next start.";
/// A saved gear file that serves the page elsewhere.
pub(crate) const STAND_WAITS: &str =
    "The saved gear file has another listen or input below [stand]: that holds from the next start, the page stays.";
/// Many change the set at a moment.
pub(crate) const OVERTAKEN: &str = "The maps are being changed by others at this moment: try again.";

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

/// A song was moved to a position of the set.
pub(crate) fn moved(title: &str, to: usize, of: usize) -> String {
    format!("\"{title}\" is {to} of {of} now. {UNSAVED}")
}

/// A song was added at the end.
pub(crate) fn added(title: &str, of: usize, key: Option<&str>) -> String {
    let key = key.map_or_else(String::new, |key| format!(", in {key}"));
    format!("\"{title}\" is the last of {of} now{key}. {UNSAVED}")
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
    format!("\"{title}\" is in {key} tonight.{room} {UNSAVED}")
}

/// Nothing was changed that could be taken back.
pub(crate) const NOTHING_TO_UNDO: &str = "Nothing was changed since the set was last saved: there is nothing to undo.";

/// A field of a zone or of the song was adjusted.
pub(crate) fn adjusted(whose: &str, field: &str, value: &str) -> String {
    format!("{whose}: {field} {value}. {UNSAVED}")
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
