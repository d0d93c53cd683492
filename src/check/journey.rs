//! Songs that no cue leads to, and numbers that lead to the first of several places.

use super::stage::may_be_one_port;
use super::words::{joined, quoted};
use crate::evening::{entry_numbered, entry_titled, number_of, title, title_of};
use crate::map::{Action, Book, Cue, Diagnostic, Does, Entry, Plain, SendMessage, Song, SongChoice, Spot};

/// Hint: a song that comes twice under one title. Hint: a number that leads to a pause. Hint: a song that pauses give
/// another number than the one by which it is known. Hint: cues, but none that leads from song to song. Hint: entries of
/// the set that no cue leads to. Hint: a song that comes twice, and is chosen by its number.
pub(super) fn find(book: &Book, found: &mut Vec<Diagnostic>) {
    twice(book, found);
    let Some(first) = book.cues().next() else { return };
    found.extend(book.cues().filter_map(|cue| to_a_pause(book, cue)));
    shifted(book, found);
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
        if !book.cues().any(|cue| by_number(cue, number)) {
            continue;
        }
        let title = format!("the number {number} is there twice in the set: it leads to the first of the two");
        let hint = Diagnostic::hint(book.set.entries[entry].spot, title);
        let hint = hint.also(book.set.entries[first].spot, "first here");
        found.push(hint.help("leave it so, or give this entry a copy of the song's map with a number of its own"));
    }
}

/// Entries that one cannot tell apart by their titles.
fn twice(book: &Book, found: &mut Vec<Diagnostic>) {
    let entries = &book.set.entries;
    for (number, entry) in entries.iter().enumerate().filter(|(_, entry)| entry.song.is_some()) {
        let same = |first: &&Entry| first.song == entry.song && title(book, first) == title(book, entry);
        let Some(first) = entries[..number].iter().find(same) else { continue };
        let name = title(book, entry);
        let hint = Diagnostic::hint(entry.spot, format!("{} comes twice under one title", quoted(name)));
        let help = format!(
            "write title = {} here, so that page and cues can tell the two apart",
            quoted(&format!("{name} again"))
        );
        found.push(hint.also(first.spot, "first here").help(help));
    }
}

/// A cue that chooses a pause by its number.
fn to_a_pause(book: &Book, cue: &Cue) -> Option<Diagnostic> {
    let Does::Act(Action::Song(SongChoice::Number(number)) | Action::LineUp(SongChoice::Number(number))) = &cue.does
    else {
        return None;
    };
    let entry = entry_numbered(book, number.value)?;
    let pause = book.set.entries.get(entry).filter(|entry| entry.song.is_none())?;
    let title = format!(
        "the number {} leads to the pause {}: pauses are counted too",
        number.value,
        quoted(title_of(book, entry))
    );
    let hint = Diagnostic::hint(number.spot, title).also(pause.spot, "this entry");
    Some(hint.help("write the song's title, or give each song a number of its own"))
}

/// The first song whose number pauses have shifted: the machine that may choose it is told the number without the pauses
/// on entering it, or its file is called by that.
fn shifted(book: &Book, found: &mut Vec<Diagnostic>) {
    let chooses = |cue: &&Cue| {
        matches!(&cue.does, Does::Act(Action::Song(SongChoice::Received) | Action::LineUp(SongChoice::Received)))
    };
    let Some(cue) = book.gear.cues.iter().find(chooses) else { return };
    let Some(input) = book.gear.inputs.iter().find(|input| input.name.value == cue.when.input.value) else { return };
    let mut pauses = 0;
    let mut first: Option<&Entry> = None;
    for (number, entry) in book.set.entries.iter().enumerate() {
        let Some(song) = entry.song.and_then(|song| book.songs.get(song)) else {
            pauses += 1;
            first = first.or(Some(entry));
            continue;
        };
        let own = number_of(book, number).map(usize::from);
        let told = song.on_entering.iter().filter_map(|deed| {
            let Does::Send { to, message } = &deed.does else { return None };
            let output = book.gear.outputs.iter().find(|output| output.name.value == to.value)?;
            may_be_one_port(output, input).then_some((deed.spot, chosen(message)?))
        });
        let filed = in_its_name(book, song).map(|number| (song.title.spot, number));
        let is_shifted = |(_, chosen): &(Spot, usize)| own == Some(chosen + pauses) && own == Some(number + 1);
        if let (Some((spot, chosen)), Some(pause)) = (told.chain(filed).find(is_shifted), first) {
            let name = quoted(&input.name.value);
            let title = format!(
                "{name} chooses this song by the number {}, not {chosen}: pauses are counted too",
                chosen + pauses
            );
            let hint = Diagnostic::hint(spot, title).also(pause.spot, "the first pause").also(cue.spot, "chosen here");
            found
                .push(hint.help("give each song a number of its own, here number = ".to_owned() + &chosen.to_string()));
            return;
        }
    }
}

/// The number with which the name of a song's file begins: `03-first-snow.toml`.
fn in_its_name(book: &Book, song: &Song) -> Option<usize> {
    let path = &book.sources.get(song.title.spot.file)?.path;
    let name = path.rsplit(std::path::is_separator).next()?;
    let digits = name.bytes().take_while(u8::is_ascii_digit).count();
    name[..digits].parse().ok()
}

/// The song that a message chooses, counted from 1.
fn chosen(message: &SendMessage) -> Option<usize> {
    match message {
        SendMessage::Program { program, .. } => Some(usize::from(u8::from(*program)) + 1),
        SendMessage::System { bytes, .. } => match bytes[..] {
            [0xF3, song] => Some(usize::from(song) + 1),
            _ => None,
        },
        _ => None,
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
