//! What the entries of the set are called, and how one is found.

use crate::map::{Book, Entry};

/// Tonight's title of an entry: its own, else its song's; empty where it has neither.
#[must_use]
pub fn title<'b>(book: &'b Book, entry: &'b Entry) -> &'b str {
    let song = || entry.song.and_then(|song| book.songs.get(song)).map(|song| song.title.value.as_str());
    entry.title.as_deref().or_else(song).unwrap_or_default()
}

/// Tonight's title of the entry of this index; empty where there is none.
#[must_use]
pub fn title_of(book: &Book, entry: usize) -> &str {
    book.set.entries.get(entry).map_or("", |entry| title(book, entry))
}

/// The first entry of the set that has this title tonight, whether in upper or lower case.
#[must_use]
pub fn entry_titled(book: &Book, wanted: &str) -> Option<usize> {
    titled(book.set.entries.iter().map(|entry| title(book, entry)), wanted)
}

/// The entry that a player means by a name, among the titles of the set: the first of this title, in upper or lower
/// case; where there is none, the one at this place, counted from 1.
#[must_use]
pub fn entry_named(titles: &[String], name: &str) -> Option<usize> {
    let by_place = || name.parse::<usize>().ok().filter(|place| (1..=titles.len()).contains(place));
    titled(titles.iter().map(String::as_str), name).or_else(|| by_place().map(|place| place - 1))
}

fn titled<'t>(mut titles: impl Iterator<Item = &'t str>, wanted: &str) -> Option<usize> {
    let wanted = wanted.to_lowercase();
    titles.position(|title| title.to_lowercase() == wanted)
}

/// The number by which Program Change, Song Select and cues choose an entry, 1–128 (rule R19): its song's own, or where
/// no song of the set has one its place in the set, pauses counted too. `None` where it cannot be chosen so: a pause
/// among songs with numbers, or a place beyond 128.
#[must_use]
pub fn number_of(book: &Book, entry: usize) -> Option<u8> {
    if book.songs.iter().any(|song| song.number.is_some()) {
        let song = book.songs.get(book.set.entries.get(entry)?.song?)?;
        return song.number.as_ref().map(|number| number.value);
    }
    let place = u8::try_from(entry + 1).ok().filter(|place| *place <= 128);
    place.filter(|_| entry < book.set.entries.len())
}

/// The first entry of the set that has this number.
#[must_use]
pub fn entry_numbered(book: &Book, number: u8) -> Option<usize> {
    (0..book.set.entries.len()).find(|entry| number_of(book, *entry) == Some(number))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::evening::tests::book;

    const SNOW: &str = "title = \"Snow\"\nkey = \"D\"\n";

    #[test]
    fn an_entry_has_its_own_title_or_its_songs() {
        let entries =
            "[[song]]\nmap = \"0\"\n[[song]]\ntitle = \"Welcome\"\n[[song]]\nmap = \"0\"\ntitle = \"Again\"\n";
        let book = book("", entries, &[SNOW]);
        assert_eq!([0, 1, 2, 3].map(|entry| title_of(&book, entry)), ["Snow", "Welcome", "Again", ""]);
        assert_eq!(["SNOW", "again", "Ice"].map(|title| entry_titled(&book, title)), [Some(0), Some(2), None]);
    }

    #[test]
    fn a_name_is_a_title_before_it_is_a_place() {
        let titles = ["Snow", "1", "Ice", "Snow"].map(str::to_owned);
        let named = |name: &str| entry_named(&titles, name);
        assert_eq!(
            ["snow", "1", "3", "4", "5", "0", ""].map(named),
            [Some(0), Some(1), Some(2), Some(3), None, None, None]
        );
    }

    #[test]
    fn without_numbers_the_place_in_the_set_counts_pauses_too() {
        // R19: where no song has a number, its place in the set counts.
        let entries = "[[song]]\nmap = \"0\"\n[[song]]\ntitle = \"Welcome\"\n[[song]]\nmap = \"0\"\n";
        let book = book("", entries, &[SNOW]);
        assert_eq!([0, 1, 2, 3].map(|entry| number_of(&book, entry)), [Some(1), Some(2), Some(3), None]);
        assert_eq!([0, 1, 3, 4].map(|number| entry_numbered(&book, number)), [None, Some(0), Some(2), None]);
    }

    #[test]
    fn beyond_the_numbers_that_a_machine_can_send_an_entry_has_none() {
        let book = book("", &"[[song]]\nmap = \"0\"\n".repeat(300), &[SNOW]);
        let numbers = [0, 127, 128, 255, 256].map(|entry| number_of(&book, entry));
        assert_eq!(numbers, [Some(1), Some(128), None, None, None]);
        assert_eq!(entry_numbered(&book, 129), None);
    }

    #[test]
    fn numbers_of_their_own_are_the_songs_alone() {
        let entries =
            "[[song]]\nmap = \"0\"\n[[song]]\ntitle = \"Welcome\"\n[[song]]\nmap = \"1\"\n[[song]]\nmap = \"0\"\n";
        let ice = "title = \"Ice\"\nkey = \"D\"\nnumber = 1\n";
        let book = book("", entries, &[&format!("{SNOW}number = 128\n"), ice]);
        let numbers = [0, 1, 2, 3, 4].map(|entry| number_of(&book, entry));
        assert_eq!(numbers, [Some(128), None, Some(1), Some(128), None]);
        assert_eq!([1, 2, 128].map(|number| entry_numbered(&book, number)), [Some(2), None, Some(0)]);
    }
}
