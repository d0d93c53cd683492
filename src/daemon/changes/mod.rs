//! Changes that are made to the set, while it is played or not: a song moved, added or removed, tonight's key and singer
//! of one, what a rehearsal adjusts in a song's map.
//!
//! A change is an edit of a text of the set. So it is read and checked like any map, survives when the files are saved and
//! read again, and is saved by writing that text.

mod adjust;
mod change;
mod edit;
mod save;

use std::collections::{HashMap, HashSet};
use std::ffi::OsStr;
use std::io;
use std::path::Path;

use super::Show;
use crate::evening::{entry_named, title};
use crate::map::{self, Book, FaultKind, Level, Loaded, Singer, Source, beside_the_set, nearest};
use crate::music::Key;
use crate::wording::changes as words;

pub use change::{Adjusted, Change, ChangeError, Field, MOST, Titled, WORDS};
pub(crate) use edit::lines_end_as;
pub(crate) use edit::set_field;
pub use save::{SaveError, Saved, replace, save};

/// Reads a file; given by whoever knows the files.
pub type Read = fn(&str) -> io::Result<Vec<u8>>;

impl Change {
    /// Reads a change of `show`: `move-song TITLE POSITION`, `remove-song TITLE`, `song-key TITLE KEY`,
    /// `song-singer TITLE NAME`, `add-song FILE` or `add-song FILE KEY`. A title may be several words, or a position
    /// counted from 1. Or what is adjusted, see [`Adjusted::parse`], in the song of the entry `playing`.
    ///
    /// # Errors
    /// Words that are missing, a song that this set does not have, no key.
    pub fn parse(words: &[String], show: &Show, playing: Option<usize>) -> Result<Change, ChangeError> {
        const MOVE: ChangeError = ChangeError::Missing("move-song", "a title and a new position", "\"Silent Hill\" 3");
        const KEY: ChangeError = ChangeError::Missing("song-key", "a title and a key", "\"Silent Hill\" Eb");
        const REMOVE: ChangeError = ChangeError::Missing("remove-song", "a title", "\"Silent Hill\"");
        const SINGER: ChangeError =
            ChangeError::Missing("song-singer", "a title and a singer, or nobody", "\"Silent Hill\" guest");
        const ADD: ChangeError = ChangeError::Missing("add-song", "a song's map", "songs/silent-hill.toml");
        let Some((word, rest)) = words.split_first() else { return Err(ADD) };
        match (word.as_str(), rest) {
            ("move-song", [title @ .., position]) if !title.is_empty() => {
                let entries = show.plan.entries();
                let to = position.parse::<usize>().ok().filter(|position| (1..=entries).contains(position));
                let song = titled(&title.join(" "), show)?;
                let no_position = || ChangeError::NoSuchPosition(position.clone(), entries);
                Ok(Change::MoveSong { song, to: to.ok_or_else(no_position)? })
            }
            ("move-song", _) => Err(MOVE),
            ("song-key", [title @ .., key]) if !title.is_empty() => {
                key.parse::<Key>()?;
                Ok(Change::SetKey { song: titled(&title.join(" "), show)?, key: key.clone() })
            }
            ("song-key", _) => Err(KEY),
            ("adjust-zone" | "adjust-song", _) => Adjusted::parse(words, show, playing).map(Change::Adjust),
            ("remove-song", []) => Err(REMOVE),
            ("remove-song", title) => Ok(Change::RemoveSong { song: titled(&title.join(" "), show)? }),
            ("song-singer", [title, name, ..]) if !(title.is_empty() || name.is_empty()) => sung_by(rest, show),
            ("song-singer", _) => Err(SINGER),
            (_, [file]) => Ok(Change::AddSong { map: beside(file, show), key: None }),
            (_, [file @ .., key]) => {
                key.parse::<Key>()?;
                Ok(Change::AddSong { map: beside(&file.join(" "), show), key: Some(key.clone()) })
            }
            _ => Err(ADD),
        }
    }

    /// The song whose key or singer it gives: what is told last of these counts.
    fn gives(&self) -> Option<(&Titled, u8)> {
        match self {
            Change::SetKey { song, .. } => Some((song, 0)),
            Change::SetSinger { song, .. } => Some((song, 1)),
            Change::MoveSong { .. } | Change::AddSong { .. } | Change::RemoveSong { .. } | Change::Adjust(_) => None,
        }
    }

    /// What it means for the set that `show` is after it, in a sentence. `room` is the room's key and the semitones that
    /// were added by hand, where it gives a key to the song that is played at this moment.
    #[must_use]
    pub fn done(&self, show: &Show, room: Option<(&str, i32)>) -> String {
        let entries = show.plan.entries();
        match self {
            Change::MoveSong { song, to } => words::moved(&song.title, *to, entries),
            Change::AddSong { key, .. } => {
                words::added(show.plan.title(entries.saturating_sub(1)), entries, key.as_deref())
            }
            Change::RemoveSong { song } => words::removed(&song.title, entries),
            Change::SetKey { song, key } => words::key_set(&song.title, key, room),
            Change::SetSinger { song, singer } => words::singer_set(&song.title, singer.as_deref()),
            Change::Adjust(Adjusted { zone, field, value, .. }) => {
                let whose = zone.as_ref().map_or("the song", |zone| zone.title.as_str());
                words::adjusted(whose, field.name(), value)
            }
        }
    }
}

/// The song of this title, any case, or at this position counted from 1.
fn titled(name: &str, show: &Show) -> Result<Titled, ChangeError> {
    let titles = titles(&show.book);
    let Some(index) = entry_named(&titles, name) else {
        let near = nearest(name, titles.iter().map(String::as_str)).map(str::to_owned);
        return Err(ChangeError::NoSuchSong(name.to_owned(), near));
    };
    let title = titles[index].clone();
    let number = titles[..index].iter().filter(|other| **other == title).count();
    Ok(Titled { title, number })
}

/// Who sings a song: a title, then a singer's name in the set or as it is shown. Each may be several words.
fn sung_by(words: &[String], show: &Show) -> Result<Change, ChangeError> {
    let apart = |at: usize| (words[..at].join(" "), words[at..].join(" "));
    // One word is the name, unless only more of them make a title and a name that are known.
    let last = words.len() - 1;
    let is_known = |(title, name): &(String, String)| titled(title, show).is_ok() && singer(name, show).is_ok();
    let (title, name) = (1..=last).rev().map(apart).find(is_known).unwrap_or_else(|| apart(last));
    let song = titled(&title, show)?;
    let entry = entry_named(&titles(&show.book), &title).and_then(|entry| show.book.set.entries.get(entry));
    if entry.is_some_and(|entry| entry.song.is_none()) {
        return Err(ChangeError::Pause(song.title, "singer"));
    }
    Ok(Change::SetSinger { song, singer: singer(&name, show)? })
}

/// The singer of this name, or of this name as it is shown where only one has it; none for nobody.
fn singer(name: &str, show: &Show) -> Result<Option<String>, ChangeError> {
    let singers = &show.book.set.singers;
    if name == change::NOBODY {
        return Ok(None);
    }
    let same = |known: &str| known.to_lowercase() == name.to_lowercase();
    let called: Vec<&Singer> = singers.iter().filter(|singer| same(&singer.called)).collect();
    match (singers.iter().find(|singer| singer.name.value == name), &called[..]) {
        (Some(singer), _) => Ok(Some(singer.name.value.clone())),
        (None, [singer]) => Ok(Some(singer.name.value.clone())),
        (None, []) => Err(ChangeError::NoSuchSinger(name.to_owned(), names(singers.iter()))),
        (None, several) => Err(ChangeError::SeveralSingers(name.to_owned(), names(several.iter().copied()))),
    }
}

/// Singers by their names, with what is shown where that is another.
fn names<'s>(singers: impl Iterator<Item = &'s Singer>) -> String {
    let named = singers.map(|singer| match &singer.name.value {
        name if *name == singer.called => format!("\"{name}\""),
        name => format!("\"{name}\" ({})", singer.called),
    });
    named.collect::<Vec<_>>().join(", ")
}

/// The titles of all entries.
fn titles(book: &Book) -> Vec<String> {
    book.set.entries.iter().map(|entry| title(book, entry).to_owned()).collect()
}

/// The path of a map as the set names it: below the set's own folder where it lies there. A song that the set has
/// already must not be taken for another because it is named in another way.
fn beside(file: &str, show: &Show) -> String {
    let set = show.book.sources.first().map_or("", |set| set.path.as_str());
    let folder = match Path::new(set).parent() {
        Some(folder) if !folder.as_os_str().is_empty() => folder,
        _ => Path::new("."),
    };
    let inside = || {
        let (folder, file) = (folder.canonicalize().ok()?, folder.join(file).canonicalize().ok()?);
        let parts: Option<Vec<&str>> = file.strip_prefix(folder).ok()?.iter().map(OsStr::to_str).collect();
        Some(parts?.join("/"))
    };
    inside().unwrap_or_else(|| file.to_owned())
}

/// The map of an adjustment, which names it from the set's folder: a set may be named in another way at each start.
fn source_of<'b>(map: &str, book: &'b Book) -> Option<&'b Source> {
    book.sources.iter().find(|source| beside_the_set(&source.path, &book.sources) == map)
}

/// A set that was read, with changes made to it.
#[derive(Debug)]
pub struct Changed {
    /// The set with the changes in it; where the files themselves have errors, their errors.
    pub loaded: Loaded,
    /// The changes that are in it.
    pub changes: Vec<Change>,
    /// Those that do not fit what was read, each in a sentence.
    pub dropped: Vec<String>,
}

/// Reads a set and makes `changes` to it, one after the other; those that do not fit it are left out.
#[must_use]
pub fn load(set: &str, read: Read, changes: &[Change]) -> Changed {
    // All changes are made to the same texts, whatever is saved meanwhile.
    let mut texts = HashMap::new();
    let mut read = |path: &str| match texts.get(path) {
        Some(text) => Ok(Vec::clone(text)),
        None => read(path).inspect(|text| drop(texts.insert(path.to_owned(), text.clone()))),
    };
    let mut changed = Changed { loaded: map::load(set, &mut read), changes: Vec::new(), dropped: Vec::new() };
    for change in changes {
        let Some(book) = &changed.loaded.book else { break };
        match amended(book, change, &mut read) {
            Ok(loaded) => {
                changed.loaded = loaded;
                changed.changes.push(change.clone());
            }
            Err(error) => changed.dropped.push(format!("{change}: {error}")),
        }
    }
    changed
}

/// Makes one more change to what is played. Only a song's map that is new is read.
///
/// # Errors
/// It does not fit, or would lead to a set with errors.
pub fn amend(show: &Show, change: Change, read: Read) -> Result<(Book, Vec<Change>), ChangeError> {
    let mut changes = show.changes.clone();
    // What is told last of a song's key or singer counts; the others need not be kept.
    if let Some(given) = change.gives() {
        let same = |other: &Change| other.gives() == Some(given);
        let since = changes.iter().rposition(|other| other.gives().is_none()).map_or(0, |last| last + 1);
        let last = changes.split_off(since);
        changes.extend(last.into_iter().filter(|other| !same(other)));
    }
    // Each touch can be undone. Only where there is no room for more, what a later one replaced is forgotten.
    if changes.len() >= MOST {
        forget_replaced(&mut changes);
    }
    if changes.len() >= MOST {
        return Err(ChangeError::TooMany);
    }
    let loaded = amended(&show.book, &change, &mut |path| read(path))?;
    changes.push(change);
    // There is a book: it was made sure of.
    loaded.book.map(|book| (book, changes)).ok_or_else(|| ChangeError::Faulty(String::new()))
}

/// Of what is adjusted again and again only the last value stays.
fn forget_replaced(changes: &mut Vec<Change>) {
    let mut adjusted = HashSet::new();
    let is_last = |change: &Change| match change {
        Change::Adjust(Adjusted { map, zone, field, .. }) => adjusted.insert((map.clone(), zone.clone(), *field)),
        _ => true,
    };
    let mut last: Vec<Change> = changes.drain(..).rev().filter(is_last).collect();
    last.reverse();
    *changes = last;
}

/// `book` with a change made to it; there is a book in what is returned.
fn amended(
    book: &Book,
    change: &Change,
    read: &mut dyn FnMut(&str) -> io::Result<Vec<u8>>,
) -> Result<Loaded, ChangeError> {
    let unknown = || ChangeError::Uneditable("it has no text".to_owned());
    let set = book.sources.first().ok_or_else(unknown)?;
    let of = |map: &str| book.sources.iter().find(|source| source.path == map).ok_or_else(unknown);
    let (path, text) = match change {
        Change::Adjust(adjusted) => {
            let map = source_of(&adjusted.map, book).ok_or_else(unknown)?;
            (&map.path, adjust::edit(&map.text, adjusted)?)
        }
        _ => (&set.path, edit::edit(&set.text, change, &titles(book))?),
    };
    // What other changes made of the other texts stays.
    let loaded = map::load(&set.path, &mut |wanted| match of(wanted) {
        _ if wanted == path => Ok(text.clone().into_bytes()),
        Ok(source) => Ok(source.text.clone().into_bytes()),
        Err(_) => read(wanted),
    });
    if loaded.book.is_some() {
        return Ok(loaded);
    }
    let errors = loaded.diagnostics.iter().filter(|fault| fault.level == Level::Error);
    let words = errors.map(|fault| match fault.spot {
        // The text that was edited is not the one that anybody has seen: its lines say nothing.
        Some(spot) if loaded.sources.get(spot.file).is_some_and(|source| source.path == *path) => {
            let added = matches!(change, Change::AddSong { .. }) && fault.kind == FaultKind::Unreadable;
            let help = fault.help.as_deref().map(|help| match help {
                map::FROM_THE_SET if added => words::LOOKED_FOR,
                help => help,
            });
            let help = help.map_or_else(String::new, |help| format!(": {help}"));
            format!("{}{help}", fault.title.trim_end_matches('.'))
        }
        _ => fault.render(&loaded.sources, false),
    });
    Err(ChangeError::Faulty(words.collect::<Vec<_>>().join("\n")))
}
