//! Whether what cues aim at is there: songs and numbers in the set, sections, zones and keys in its songs.

use super::super::diagnostic::{Diagnostic, FaultKind, did_you_mean, one_of, quoted};
use super::super::draft::Draft;
use super::super::names::Known;
use super::super::nearest::nearest;
use super::super::reader::MapFile;
use super::super::{Action, At, Cue, Does, Entry, Set, SongChoice, Spot, agree};
use crate::music::Key;

/// Holds a song's own cues against the song: its sections, its zones, its mode.
pub(in super::super) fn in_the_song(
    map_file: &MapFile<'_>,
    cues: &[Cue],
    sections: &Known<()>,
    zones: &Known<()>,
    key: Option<(Key, Spot)>,
) {
    for cue in cues {
        match &cue.does {
            Does::Act(Action::Section(name)) => {
                sections.find(map_file, name);
            }
            Does::Act(Action::Zone { name, .. }) => {
                zones.find(map_file, name);
            }
            Does::Act(Action::Key(aim)) => {
                if let Some((key, chart)) = key {
                    agree::same_mode(map_file, "the cue's key", aim, key, chart);
                }
            }
            _ => {}
        }
    }
}

/// Holds all cues against the set: the gear's against every song of it, and every cue's song against its titles and
/// numbers. `whole` is whether all files of the set could be read; only then can anything be called missing.
pub(in super::super) fn in_the_set(gear: &[Cue], songs: &[Draft], set: &Set, whole: bool) -> Vec<Diagnostic> {
    if !whole {
        return Vec::new();
    }
    let mut faults = Vec::new();
    for cue in gear {
        faults.extend(match &cue.does {
            Does::Act(Action::Section(name)) => in_no_song(name, "section", songs, |draft| &draft.sections),
            Does::Act(Action::Zone { name, .. }) => in_no_song(name, "zone", songs, |draft| &draft.zones),
            Does::Act(Action::Key(key)) => of_no_mode(key, songs),
            _ => None,
        });
    }
    for cue in gear.iter().chain(songs.iter().flat_map(|draft| &draft.song.cues)) {
        if let Does::Act(Action::Song(choice) | Action::LineUp(choice)) = &cue.does {
            faults.extend(match choice {
                SongChoice::Titled(title) => no_such_title(title, songs, set),
                SongChoice::Number(number) => no_such_number(number, songs, set),
                SongChoice::Received => None,
            });
        }
    }
    faults
}

/// A name that a cue of the gear aims at, but no song of the set has.
fn in_no_song<'s>(
    name: &At<String>,
    noun: &str,
    songs: &'s [Draft],
    known: impl Fn(&'s Draft) -> &'s Known<()>,
) -> Option<Diagnostic> {
    let known: Vec<&Known<()>> = songs.iter().map(known).collect();
    if known.iter().any(|known| !known.whole || known.get(&name.value).is_some()) {
        return None;
    }
    let mut names: Vec<&str> = Vec::new();
    for (name, ()) in known.iter().flat_map(|known| &known.list) {
        if !names.contains(&name.as_str()) {
            names.push(name);
        }
    }
    let title = format!("there is no {noun} called {} in any song of the set", quoted(&name.value));
    let help = match nearest(&name.value, names.iter().copied()) {
        Some(near) => did_you_mean(near),
        None if names.is_empty() => format!("give a song a {noun} of this name, or take the cue out"),
        None => format!("write {}, or take the cue out", one_of(names.iter().copied())),
    };
    Some(Diagnostic::error(FaultKind::Finding, name.spot, title).help(help))
}

/// A key that a cue of the gear leads to, but whose mode no song of the set has.
fn of_no_mode(key: &At<Key>, songs: &[Draft]) -> Option<Diagnostic> {
    let minor = key.value.is_minor();
    let other = |draft: &Draft| draft.key.is_some_and(|song| song.is_minor() != minor);
    if songs.is_empty() || !songs.iter().all(other) {
        return None;
    }
    let written = key.value.to_string();
    let (mode, others, instead) = match minor {
        true => ("minor", "major", written.trim_end_matches('m').to_owned()),
        false => ("major", "minor", format!("{written}m")),
    };
    let title = format!("the cue's key is {mode}, but every song of the set is {others}");
    Some(Diagnostic::error(FaultKind::Finding, key.spot, title).help(format!("write \"{instead}\"")))
}

fn title_of<'s>(entry: &'s Entry, songs: &'s [Draft]) -> Option<&'s str> {
    let song = || entry.song.and_then(|song| songs.get(song)).map(|draft| draft.song.title.value.as_str());
    entry.title.as_deref().or_else(song)
}

fn no_such_title(title: &At<String>, songs: &[Draft], set: &Set) -> Option<Diagnostic> {
    let titles = || set.entries.iter().filter_map(|entry| title_of(entry, songs));
    let wanted = title.value.to_lowercase();
    // A song whose title could not be read could be any.
    if titles().any(|known| known.is_empty() || known.to_lowercase() == wanted) {
        return None;
    }
    let help = match nearest(&title.value, titles()) {
        Some(near) => did_you_mean(near),
        None => format!("write {}", one_of(titles())),
    };
    let fault = format!("there is no song called {} in the set", quoted(&title.value));
    Some(Diagnostic::error(FaultKind::Finding, title.spot, fault).help(help))
}

fn no_such_number(number: &At<u8>, songs: &[Draft], set: &Set) -> Option<Diagnostic> {
    let fault =
        |title: String, help: String| Some(Diagnostic::error(FaultKind::Finding, number.spot, title).help(help));
    if songs.iter().any(|draft| draft.numbered) {
        let numbers: Vec<u8> =
            songs.iter().filter_map(|draft| draft.song.number.as_ref()).map(|own| own.value).collect();
        // A number that could not be read could be this one.
        if numbers.len() < songs.len() || numbers.contains(&number.value) {
            return None;
        }
        let own = match (numbers.iter().min()?, numbers.iter().max()?) {
            (only, highest) if only == highest => only.to_string(),
            (lowest, highest) => format!("a song's own number, from {lowest} to {highest}"),
        };
        let help = format!("write {own}, or the song's title");
        return fault(format!("no song of the set has the number {}", number.value), help);
    }
    let places = set.entries.len();
    if usize::from(number.value) <= places {
        return None;
    }
    let help = format!("write a position in the set from 1 to {places}, or the song's title");
    fault(format!("the set has no position {}", number.value), help)
}
