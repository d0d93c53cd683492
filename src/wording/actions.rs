//! What an action did or why it did nothing, in a sentence; and who asked for it.

use super::keys;
use super::notices::Context;
use crate::engine::{Action, ActionError, Notice, Plain, Plan};
use crate::map::{Book, Word, nearest, quoted};

/// What somebody asks for, for the log: `terminal: next-song`, `page 3 at 192.0.2.7: panic`.
pub(crate) fn asked(who: &str, what: &str) -> String {
    format!("{who}: {what}")
}

/// What somebody asked for and why it was not done, which is a sentence: `control socket: "next-song" was refused: the
/// set ends here.`
pub(crate) fn refused(who: &str, what: &str, why: &str) -> String {
    format!("{who}: {} was refused: {why}", quoted(what))
}

/// Who asks at the terminal that handspan runs in.
pub(crate) const TERMINAL: &str = "terminal";
/// Who asks with `handspan do`, or with a script.
pub(crate) const CONTROL_SOCKET: &str = "control socket";
/// What one is told who is to make room for others at the control socket.
pub(crate) const TOO_MANY_ASK: &str = "Too many ask at this moment: try again.";
/// Who asks with a signal of the system.
pub(crate) const SIGNAL: &str = "signal";
/// What is asked for where it is to end.
pub(crate) const STOP: &str = "stop";

/// Turning the zone of this number, from 0, of the song.
pub(crate) fn turn_zone(number: usize) -> String {
    format!("zone {} of the song", number + 1)
}

/// Whether an action did something, and the sentence on it.
pub(crate) fn outcome(action: Action, noticed: &[Notice], context: &Context<'_>) -> (bool, String) {
    let refused = |notice: &&Notice| matches!(notice, Notice::NothingThere | Notice::NoSuchKey);
    if let Some(notice) = noticed.iter().find(refused) {
        return (false, why_not(action, *notice, context));
    }
    let told: Vec<String> = noticed.iter().filter_map(|notice| context.notice(*notice)).collect();
    if !told.is_empty() {
        return (true, told.join(" "));
    }
    let Context { book, plan, snapshot } = *context;
    let section = snapshot.standing.playing(book).and_then(|(_, song)| song.sections.get(snapshot.standing.section));
    let sentence = match (action, section) {
        (Action::Song(_), _) => is_current(&format!("\"{}\"", plan.title(snapshot.standing.entry))),
        (Action::Section(_), Some(section)) => is_current(&section.name.value),
        (Action::Plain(Plain::Tap), _) => "Tapped: four taps in time are the tempo.".to_owned(),
        _ => "Done.".to_owned(),
    };
    (true, sentence)
}

fn is_current(name: &str) -> String {
    format!("{name} is current already: nothing has changed.")
}

fn why_not(action: Action, notice: Notice, context: &Context<'_>) -> String {
    let Context { plan, snapshot, .. } = *context;
    let (here, current) = (snapshot.standing.song, snapshot.standing.entry);
    match (action, here) {
        (Action::Plain(Plain::RaiseKey), _) if notice == Notice::NoSuchKey => keys::at_the_limit(true),
        (Action::Plain(Plain::LowerKey), _) if notice == Notice::NoSuchKey => keys::at_the_limit(false),
        _ if notice == Notice::NoSuchKey => context.notice(notice).unwrap_or_default(),
        (Action::Section(_), Some(song)) if song == current => {
            format!("\"{}\" has no such section.", plan.title(song))
        }
        (Action::Zone { name, .. }, Some(song)) => {
            format!("\"{}\" has no zone \"{}\".", plan.title(song), plan.zone_name(name))
        }
        (Action::Drone(_), Some(song)) => format!("\"{}\" has no drone.", plan.title(song)),
        (Action::Plain(Plain::NextSong), _) => "The set ends here: there is no next song.".to_owned(),
        (Action::Plain(Plain::PreviousSong), _) => "The set begins here: there is no previous song.".to_owned(),
        (Action::Plain(section @ (Plain::NextSection | Plain::PreviousSection)), _) => no_section(section, context),
        _ if here != Some(current) => format!("\"{}\" is no song that could do that.", plan.title(current)),
        _ => "There is nothing further that way.".to_owned(),
    }
}

/// Why there is no section before or after this one.
fn no_section(way: Plain, context: &Context<'_>) -> String {
    let Context { plan, snapshot, .. } = *context;
    let current = snapshot.standing.entry;
    match snapshot.standing.song {
        Some(song) if song == current => {
            let edge = if way == Plain::NextSection { "last" } else { "first" };
            match plan.section_name(song, snapshot.standing.section) {
                Some(section) => format!("{section} is the {edge} section."),
                None => format!("\"{}\" has no sections.", plan.title(song)),
            }
        }
        _ => format!("\"{}\" is a pause: it has no sections.", plan.title(current)),
    }
}

/// Why words are no action of this set, with what may have been meant; `more` are the words for changes to the set.
pub(crate) fn no_action(error: &ActionError, more: &[&'static str], plan: &Plan, book: &Book) -> String {
    let near = match error {
        ActionError::Unknown(text) => return unknown(text, more),
        ActionError::NoSuch("song", name) => nearest(name, (0..plan.entries()).map(|entry| plan.title(entry))),
        ActionError::NoSuch("section", name) => {
            let sections = book.songs.iter().flat_map(|song| &song.sections);
            nearest(name, sections.map(|section| section.name.value.as_str()))
        }
        ActionError::NoSuch("zone", name) => {
            let zones = book.songs.iter().flat_map(|song| &song.zones);
            nearest(name, zones.map(|zone| zone.name.as_str()))
        }
        _ => None,
    };
    near.map_or_else(|| format!("{error}."), |near| format!("{error}: did you mean \"{near}\"?"))
}

fn unknown(text: &str, more: &[&'static str]) -> String {
    let words = Word::known().chain(more.iter().copied());
    let word = text.split_whitespace().next().unwrap_or_default();
    if let Some(known) = words.clone().find(|known| *known == word) {
        return format!("\"{known}\" takes nothing more after it, or not this: \"{text}\".");
    }
    match Word::renamed(word).or_else(|| nearest(word, words.clone())) {
        Some(near) => format!("\"{word}\" is no action: did you mean \"{near}\"?"),
        None => format!("\"{word}\" is no action. There are: {}.", words.collect::<Vec<_>>().join(", ")),
    }
}
