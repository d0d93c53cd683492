//! Changes to the text of a set, with its comments and its layout kept.

use toml_edit::{Array, ArrayOfTables, DocumentMut, InlineTable, Item, Table, TableLike, Value};

use super::{Change, ChangeError, Titled};

/// The entries of a set, as they may be written.
enum Entries<'a> {
    /// Each under its own `[[song]]`.
    Tables(&'a mut ArrayOfTables),
    /// In one list: `song = [{ map = "a.toml" }]`.
    Inline(&'a mut Array),
}

/// The text with a change made to it. `titles` are those of its entries.
///
/// # Errors
/// No entry of that title, or a text that is no set.
pub(super) fn edit(text: &str, change: &Change, titles: &[String]) -> Result<String, ChangeError> {
    let mut document: DocumentMut = text.parse().map_err(|error: toml_edit::TomlError| uneditable(error.message()))?;
    let mut entries = match document.get_mut("song") {
        Some(Item::ArrayOfTables(tables)) => Entries::Tables(tables),
        Some(Item::Value(Value::Array(array))) => Entries::Inline(array),
        _ => return Err(uneditable("it has no list of songs")),
    };
    if entries.len() != titles.len() {
        return Err(uneditable("its list of songs cannot be understood"));
    }
    match change {
        Change::MoveSong { song, to } => {
            let from = position_of(song, titles)?;
            // Fewer songs may be there by now.
            entries.move_entry(from, to.saturating_sub(1).min(titles.len() - 1));
        }
        Change::AddSong { map, key } => entries.add(map, key.as_deref()),
        // It stands in a song's map, not in the set.
        Change::Adjust(_) => return Ok(text.to_owned()),
        Change::RemoveSong { song } => entries.remove(position_of(song, titles)?),
        Change::SetKey { song, key } => {
            let position = position_of(song, titles)?;
            if !entries.set_field(position, "key", Some(key)) {
                return Err(ChangeError::Pause(song.title.clone(), "key"));
            }
        }
        Change::SetSinger { song, singer } => {
            let position = position_of(song, titles)?;
            if !entries.set_field(position, "singer", singer.as_deref()) {
                return Err(ChangeError::Pause(song.title.clone(), "singer"));
            }
        }
    }
    Ok(lines_end_as(text, document.to_string()))
}

/// The edited text, with its lines ending as they did before.
pub(crate) fn lines_end_as(before: &str, edited: String) -> String {
    if before.contains("\r\n") { edited.replace("\r\n", "\n").replace('\n', "\r\n") } else { edited }
}

pub(super) fn uneditable(words: impl Into<String>) -> ChangeError {
    ChangeError::Uneditable(words.into())
}

/// Where the song of this title stands among `titles`.
fn position_of(song: &Titled, titles: &[String]) -> Result<usize, ChangeError> {
    let mut named = titles.iter().enumerate().filter(|(_, title)| **title == song.title).map(|(position, _)| position);
    let position = named.nth(song.number);
    position.ok_or_else(|| ChangeError::NoSuchSong(song.title.clone(), None))
}

impl Entries<'_> {
    fn len(&self) -> usize {
        match self {
            Entries::Tables(tables) => tables.len(),
            Entries::Inline(array) => array.len(),
        }
    }

    fn move_entry(&mut self, from: usize, to: usize) {
        match self {
            Entries::Tables(tables) => {
                // The text is written by each table's position in the file: those stay, the tables change seats.
                let positions: Vec<Option<isize>> = tables.iter().map(Table::position).collect();
                let table = tables.remove(from);
                tables.insert(to, table);
                for (table, position) in tables.iter_mut().zip(positions) {
                    table.set_position(position);
                }
            }
            Entries::Inline(array) => {
                let entry = array.remove(from);
                array.insert_formatted(to, entry);
                separate(array);
            }
        }
    }

    fn add(&mut self, map: &str, key: Option<&str>) {
        match self {
            Entries::Tables(tables) => {
                let mut table = Table::new();
                table.insert("map", map.into());
                key.into_iter().for_each(|key| drop(table.insert("key", key.into())));
                table.decor_mut().set_prefix("\n");
                tables.push(table);
            }
            Entries::Inline(array) => {
                let mut table = InlineTable::new();
                table.insert("map", map.into());
                key.into_iter().for_each(|key| drop(table.insert("key", key.into())));
                array.push(table);
                separate(array);
            }
        }
    }

    fn remove(&mut self, position: usize) {
        match self {
            Entries::Tables(tables) => {
                tables.remove(position);
            }
            Entries::Inline(array) => {
                array.remove(position);
                separate(array);
            }
        }
    }

    /// Gives an entry another value of a field, or takes the field away; whether the entry is a song.
    fn set_field(&mut self, position: usize, name: &str, value: Option<&str>) -> bool {
        let table: Option<ListedTable<'_>> = match self {
            Entries::Tables(tables) => tables.get_mut(position).map(ListedTable::Own),
            Entries::Inline(array) => {
                array.get_mut(position).and_then(Value::as_inline_table_mut).map(ListedTable::Inline)
            }
        };
        let Some(mut table) = table.filter(|table| table.fields().contains_key("map")) else { return false };
        match value {
            Some(value) => table.set(name, value.into()),
            None => table.remove(name),
        }
        true
    }
}

/// A table of a list.
pub(super) enum ListedTable<'a> {
    /// Below its own header.
    Own(&'a mut Table),
    /// In one line.
    Inline(&'a mut InlineTable),
}

impl ListedTable<'_> {
    pub fn fields(&self) -> &dyn TableLike {
        match self {
            ListedTable::Own(table) => *table,
            ListedTable::Inline(table) => *table,
        }
    }

    /// Gives a field another value.
    pub fn set(&mut self, name: &str, value: Value) {
        match self {
            ListedTable::Own(table) => set_field(table, name, value),
            ListedTable::Inline(table) => match table.get_mut(name) {
                Some(old) => replace(old, value),
                None => {
                    // The blank before the bracket belongs to the last value.
                    suffix_of_last(table, "");
                    table.insert(name, value.decorated(" ", " "));
                }
            },
        }
    }

    fn remove(&mut self, name: &str) {
        match self {
            ListedTable::Own(table) => drop(table.remove(name)),
            ListedTable::Inline(table) => {
                table.remove(name);
                suffix_of_last(table, " ");
            }
        }
    }
}

/// Gives a field of a table another value.
pub(crate) fn set_field(table: &mut Table, name: &str, value: Value) {
    match table.get_mut(name).and_then(Item::as_value_mut) {
        Some(old) => replace(old, value),
        None => drop(table.insert(name, Item::Value(value))),
    }
}

/// What stands after the last value of a table in one line.
fn suffix_of_last(table: &mut InlineTable, suffix: &str) {
    let last = table.iter_mut().last().map(|(_, value)| value);
    last.into_iter().for_each(|value| value.decor_mut().set_suffix(suffix));
}

/// Another value in the place of one, with the blanks before it and the comment after it.
fn replace(value: &mut Value, new: Value) {
    let decor = value.decor().clone();
    *value = new;
    *value.decor_mut() = decor;
}

/// In one line, one blank stands between entries; where each has a line of its own, it brought that along.
fn separate(array: &mut Array) {
    for (number, value) in array.iter_mut().enumerate() {
        let prefix = value.decor().prefix().and_then(|prefix| prefix.as_str()).unwrap_or_default().to_owned();
        if prefix.trim_matches(' ').is_empty() {
            value.decor_mut().set_prefix(if number == 0 { "" } else { " " });
        }
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    const SET: &str = "# Tonight\ntitle = \"Tonight\"\ngear = \"gear.toml\"\n\n[[song]]      # opens\nmap = \"a.toml\"\n\n\
                       # The quiet one.\n[[song]]\nmap = \"b.toml\" # alone\nkey   = \"D\"  # she asked\n\n[[song]]\ntitle = \"Talk\"\n\n\
                       [singers.guest]   # ours\nrange = [\"G3\", \"D5\"]\n# the end\n";

    fn titles(names: &[&str]) -> Vec<String> {
        names.iter().map(|name| (*name).to_owned()).collect()
    }

    fn edited(text: &str, change: &Change) -> String {
        edit(text, change, &titles(&["A", "B", "Talk"])).unwrap()
    }

    fn song(title: &str) -> Titled {
        Titled { title: title.into(), number: 0 }
    }

    #[test]
    fn a_key_is_replaced_where_it_stands_and_nothing_else_moves() {
        let text = edited(SET, &Change::SetKey { song: song("B"), key: "Eb".into() });
        assert_eq!(text, SET.replace("\"D\"  # she", "\"Eb\"  # she"));
        let text = edited(SET, &Change::SetKey { song: song("A"), key: "F#m".into() });
        assert_eq!(text, SET.replace("\"a.toml\"\n", "\"a.toml\"\nkey = \"F#m\"\n"));
        let pause = edit(SET, &Change::SetKey { song: song("Talk"), key: "C".into() }, &titles(&["A", "B", "Talk"]));
        assert_eq!(pause, Err(ChangeError::Pause("Talk".into(), "key")));
    }

    #[test]
    fn a_song_moves_with_its_comments() {
        let quiet = "\n# The quiet one.\n[[song]]\nmap = \"b.toml\" # alone\nkey   = \"D\"  # she asked\n";
        let text = edited(SET, &Change::MoveSong { song: song("B"), to: 1 });
        let expected =
            SET.replace(quiet, "").replace("\n[[song]]      # opens", &format!("{quiet}\n[[song]]      # opens"));
        assert_eq!(text, expected);
        let back = edit(&text, &Change::MoveSong { song: song("B"), to: 2 }, &titles(&["B", "A", "Talk"])).unwrap();
        assert_eq!(back, SET);
        let text = edited(SET, &Change::MoveSong { song: song("A"), to: 99 });
        assert_eq!(text.matches("[[song]]").count(), 3);
        assert!(text.find("Talk").unwrap() < text.find("a.toml").unwrap(), "{text}");
    }

    #[test]
    fn a_song_that_is_removed_takes_its_comments_along() {
        let quiet = "\n# The quiet one.\n[[song]]\nmap = \"b.toml\" # alone\nkey   = \"D\"  # she asked\n";
        assert_eq!(edited(SET, &Change::RemoveSong { song: song("B") }), SET.replace(quiet, ""));
        assert_eq!(
            edited(SET, &Change::RemoveSong { song: song("Talk") }),
            SET.replace("\n[[song]]\ntitle = \"Talk\"\n", "")
        );
        let set = "song = [{ map = \"a.toml\" }, { map = \"b.toml\", key = \"D\" }, { title = \"Talk\" }] # all\n";
        let text = edited(set, &Change::RemoveSong { song: song("A") });
        assert_eq!(text, "song = [{ map = \"b.toml\", key = \"D\" }, { title = \"Talk\" }] # all\n");
    }

    #[test]
    fn a_singer_is_named_and_taken_away_again() {
        let singer = |title: &str, singer: Option<&str>| Change::SetSinger {
            song: song(title),
            singer: singer.map(str::to_owned),
        };
        let text = edited(SET, &singer("B", Some("guest")));
        assert_eq!(text, SET.replace("# she asked\n", "# she asked\nsinger = \"guest\"\n"));
        assert_eq!(edited(&text, &singer("B", None)), SET);
        let pause = edit(SET, &singer("Talk", Some("guest")), &titles(&["A", "B", "Talk"]));
        assert_eq!(pause, Err(ChangeError::Pause("Talk".into(), "singer")));
        let set = "song = [{ map = \"a.toml\" }, { map = \"b.toml\" }, { title = \"Talk\" }]\n";
        let text = edited(set, &singer("A", Some("guest")));
        assert_eq!(text, set.replace("\"a.toml\" ", "\"a.toml\", singer = \"guest\" "));
        assert_eq!(edited(&text, &singer("A", None)), set);
    }

    #[test]
    fn a_song_is_added_after_the_last() {
        let text = edited(SET, &Change::AddSong { map: "it's \"new\".toml".into(), key: Some("Bb".into()) });
        assert!(text.contains("title = \"Talk\"\n\n[[song]]\nmap = "), "{text}");
        let read: DocumentMut = text.parse().unwrap();
        let added = read["song"].as_array_of_tables().unwrap().get(3).unwrap();
        assert_eq!(added["map"].as_str(), Some("it's \"new\".toml"));
        assert_eq!(added["key"].as_str(), Some("Bb"));
        assert!(text.ends_with("# the end\n"));
    }

    #[test]
    fn a_list_in_one_line_is_edited_too() {
        let set = "song = [{ map = \"a.toml\" }, { map = \"b.toml\", key = \"D\" }, { title = \"Talk\" }] # all\n";
        let text = edited(set, &Change::MoveSong { song: song("B"), to: 1 });
        assert_eq!(
            text,
            "song = [{ map = \"b.toml\", key = \"D\" }, { map = \"a.toml\" }, { title = \"Talk\" }] # all\n"
        );
        let text = edited(set, &Change::SetKey { song: song("A"), key: "E".into() });
        assert!(text.contains("{ map = \"a.toml\", key = \"E\" }"), "{text}");
        let text = edited(set, &Change::AddSong { map: "c.toml".into(), key: None });
        assert!(text.ends_with("{ title = \"Talk\" }, { map = \"c.toml\" }] # all\n"), "{text}");
    }

    #[test]
    fn lines_end_as_before_and_what_is_no_set_is_refused() {
        let text = edited(&SET.replace('\n', "\r\n"), &Change::AddSong { map: "c.toml".into(), key: None });
        assert_eq!(text.matches('\n').count(), text.matches("\r\n").count());
        let add = Change::AddSong { map: "c.toml".into(), key: None };
        for text in ["", "song = 3", "title = \"", "[song]\nmap = \"a\""] {
            assert!(matches!(edit(text, &add, &[]), Err(ChangeError::Uneditable(_))), "{text}");
        }
    }

    proptest! {
        #[test]
        fn whatever_moves_every_line_stays_and_the_order_is_right(
            above in proptest::collection::vec("(# [a-z\\[\\]\"= ]{0,12}\n|\n){0,3}", 1..7),
            between in proptest::bool::ANY,
            moves in proptest::collection::vec((0usize..7, 1usize..8), 1..8),
        ) {
            let mut order: Vec<String> = (0..above.len()).map(|number| format!("s{number}")).collect();
            let mut text = "title = \"x\"\n".to_owned();
            for (number, (comment, name)) in above.iter().zip(&order).enumerate() {
                text.push_str(&format!("{comment}[[song]] # {name}\nmap = \"{name}\"\n"));
                if between && number == 0 {
                    text.push_str("[singers.guest] # ours\nrange = [\"G3\", \"D5\"]\n");
                }
            }
            let lines = |text: &str| {
                let mut lines: Vec<String> = text.lines().map(str::to_owned).collect();
                lines.sort();
                lines
            };
            let before = lines(&text);
            for (from, to) in moves {
                let (from, to) = (from % order.len(), (to - 1) % order.len());
                let change = Change::MoveSong { song: song(&order[from]), to: to + 1 };
                text = edit(&text, &change, &order).unwrap();
                let moved = order.remove(from);
                order.insert(to, moved);
                let read: DocumentMut = text.parse().unwrap();
                let maps = read["song"].as_array_of_tables().unwrap().iter().map(|song| song["map"].as_str().unwrap());
                prop_assert_eq!(maps.collect::<Vec<_>>(), order.clone());
                prop_assert_eq!(&lines(&text), &before);
            }
        }
    }

    #[test]
    fn of_songs_with_one_title_the_one_that_is_meant() {
        let change = |number| Change::SetKey { song: Titled { title: "A".into(), number }, key: "E".into() };
        let titles = titles(&["A", "A", "Talk"]);
        assert!(edit(SET, &change(1), &titles).unwrap().contains("key   = \"E\""));
        assert_eq!(edit(SET, &change(2), &titles), Err(ChangeError::NoSuchSong("A".into(), None)));
    }
}
