//! Songs that no cue leads to, and numbers that lead to the first of several places.

use super::words::{joined, quoted};
use crate::evening::{entry_numbered, entry_titled, number_of, title_of};
use crate::map::{Action, Book, Cue, Diagnostic, Does, Plain, SongChoice};

/// Hint: cues, but none that leads from song to song. Hint: entries of the set that no cue leads to. Hint: a song that
/// comes twice, and is chosen by its number.
pub(super) fn find(book: &Book, found: &mut Vec<Diagnostic>) {
    let cues = || book.gear.cues.iter().chain(book.songs.iter().flat_map(|song| &song.cues));
    let Some(first) = cues().next() else { return };
    found.extend(unreached(book, first));
    let by_number = |cue: &Cue, number: u8| match &cue.does {
        Does::Act(Action::Song(choice) | Action::LineUp(choice)) => match choice {
            SongChoice::Received => true,
            SongChoice::Number(wanted) => wanted.value == number,
            SongChoice::Titled(_) => false,
        },
        _ => false,
    };
    for entry in 0..book.set.entries.len() {
        let Some(number) = number_of(book, entry) else { continue };
        let Some(first) = entry_numbered(book, number).filter(|first| *first != entry) else { continue };
        if !cues().any(|cue| by_number(cue, number)) {
            continue;
        }
        let title = format!("the number {number} is there twice in the set: it leads to the first of the two");
        let hint = Diagnostic::hint(book.set.entries[entry].spot, title);
        let hint = hint.also(book.set.entries[first].spot, "first here");
        found.push(hint.help("leave it so, or give this entry a copy of the song's map with a number of its own"));
    }
}

/// What no chain of cues leads to from the set's beginning.
fn unreached(book: &Book, first: &Cue) -> Option<Diagnostic> {
    let entries = &book.set.entries;
    let reached = reached(book);
    let missing: Vec<usize> = (0..entries.len()).filter(|entry| !reached[*entry]).collect();
    let spot = entries.get(*missing.first()?)?.spot;
    if missing.len() + 1 == entries.len() {
        let hint = Diagnostic::hint(first.spot, "the set has cues, but none that leads from song to song");
        return Some(
            hint.label("this is one of them").help("add one with do = \"next-song\", or change songs by other means"),
        );
    }
    let titles: Vec<String> = missing.iter().map(|entry| quoted(title_of(book, *entry))).collect();
    let title = format!("no cue leads to {}", joined(&titles));
    let hint = Diagnostic::hint(spot, title);
    Some(hint.help("add a cue with do = \"next-song\" where it comes before, or go there by other means"))
}

/// For each entry whether cues lead to it from the first. In a pause the gear's alone are in use (rule R19).
fn reached(book: &Book) -> Vec<bool> {
    let entries = &book.set.entries;
    let numbered: Vec<usize> = (1..=128).filter_map(|number| entry_numbered(book, number)).collect();
    let mut reached = vec![false; entries.len()];
    let mut open = vec![0];
    while let Some(entry) = open.pop() {
        if entry >= entries.len() || std::mem::replace(&mut reached[entry], true) {
            continue;
        }
        let song = entries[entry].song.and_then(|song| book.songs.get(song));
        for cue in book.cues_in(song) {
            match &cue.does {
                Does::Act(Action::Plain(Plain::NextSong)) => open.push(entry + 1),
                Does::Act(Action::Plain(Plain::PreviousSong)) => open.extend(entry.checked_sub(1)),
                Does::Act(Action::Song(choice) | Action::LineUp(choice)) => match choice {
                    SongChoice::Titled(title) => open.extend(entry_titled(book, &title.value)),
                    SongChoice::Number(number) => open.extend(entry_numbered(book, number.value)),
                    SongChoice::Received => open.extend(&numbered),
                },
                _ => {}
            }
        }
    }
    reached
}
