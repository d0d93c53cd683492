//! Adjusting a song at a rehearsal: a field of its map or of a zone in it, with comments and layout kept.

use toml_edit::{Array, DocumentMut, Item, Value};

use super::change::{Adjusted, Field};
use super::edit::{ListedTable, lines_end_as, set_field, uneditable};
use super::{ChangeError, Show, Titled};
use crate::map::{Song, beside_the_set, nearest, octave_of_middle_c};
use crate::midi::Note;
use crate::music::note;

impl Adjusted {
    /// Reads `adjust-zone NAME FIELD VALUE` or `adjust-song tempo VALUE`, of the song that the entry of this index has. A
    /// zone is meant by its position in the song, counted from 1, or by its name.
    ///
    /// # Errors
    /// Words that are missing, no such zone, no such field.
    pub fn parse(words: &[String], show: &Show, entry: Option<usize>) -> Result<Adjusted, ChangeError> {
        const ZONE: ChangeError = ChangeError::Missing(
            "adjust-zone",
            "a zone, a field (level, octave, keys, linger, on) and a value",
            "bed level -3",
        );
        const SONG: ChangeError = ChangeError::Missing("adjust-song", "tempo and a value", "tempo 92");
        let of_entry = |entry: usize| show.book.songs.get(show.book.set.entries.get(entry)?.song?);
        let song = entry.and_then(of_entry).ok_or(ChangeError::NoSong)?;
        let sources = &show.book.sources;
        let path = sources.get(song.title.spot.file).map_or("", |source| source.path.as_str());
        let map = beside_the_set(path, sources).to_owned();
        match words {
            [word, field, value] if word == "adjust-song" && field == Field::Tempo.name() => {
                Ok(Adjusted { map, zone: None, field: Field::Tempo, value: value.clone() })
            }
            [word, ..] if word == "adjust-song" => Err(SONG),
            [_, rest @ ..] => {
                let field = |at: usize| Field::OF_ZONES.into_iter().find(|field| field.name() == rest[at]);
                // A zone may be called like a field, and something always follows one.
                let mut named = (1..rest.len().saturating_sub(1)).rev().filter_map(|at| Some((at, field(at)?)));
                let (at, field) = named.next().ok_or(ZONE)?;
                let zone = zone_named(song, &rest[..at].join(" "))?;
                Ok(Adjusted { map, zone: Some(zone), field, value: rest[at + 1..].join(" ") })
            }
            [] => Err(ZONE),
        }
    }
}

/// The zone at this position counted from 1, or of this name.
fn zone_named(song: &Song, name: &str) -> Result<Titled, ChangeError> {
    let names: Vec<&str> = song.zones.iter().map(|zone| zone.name.as_str()).collect();
    let position = || name.parse::<usize>().ok()?.checked_sub(1).filter(|index| *index < names.len());
    let Some(index) = position().or_else(|| names.iter().position(|known| *known == name)) else {
        let near = nearest(name, names.iter().copied()).map(str::to_owned);
        return Err(ChangeError::NoSuchZone(name.to_owned(), near));
    };
    let number = names[..index].iter().filter(|other| **other == names[index]).count();
    Ok(Titled { title: names[index].to_owned(), number })
}

/// The text of a song's map with this in it.
///
/// # Errors
/// No such zone, no value of the field, or a text that is no song's map.
pub(super) fn edit(text: &str, adjusted: &Adjusted) -> Result<String, ChangeError> {
    let mut document: DocumentMut = text.parse().map_err(|error: toml_edit::TomlError| uneditable(error.message()))?;
    let middle_c = document.get("middle_c").and_then(Item::as_str).and_then(octave_of_middle_c);
    let value = value_of(adjusted, middle_c.unwrap_or(4))?;
    let name = adjusted.field.name();
    match &adjusted.zone {
        None => set_field(&mut document, name, value),
        Some(zone) => zone_of(&mut document, zone)?.set(name, value),
    }
    Ok(lines_end_as(text, document.to_string()))
}

/// A zone of a song's map.
fn zone_of<'d>(document: &'d mut DocumentMut, zone: &Titled) -> Result<ListedTable<'d>, ChangeError> {
    let tables: Vec<ListedTable<'d>> = match document.get_mut("zone") {
        Some(Item::ArrayOfTables(tables)) => tables.iter_mut().map(ListedTable::Own).collect(),
        Some(Item::Value(Value::Array(array))) => {
            array.iter_mut().filter_map(Value::as_inline_table_mut).map(ListedTable::Inline).collect()
        }
        _ => return Err(uneditable("it has no list of zones")),
    };
    let is_named = |table: &ListedTable<'_>| {
        let text = |field| table.fields().get(field).and_then(Item::as_str);
        text("name").or_else(|| text("sound")) == Some(zone.title.as_str())
    };
    let named = tables.into_iter().filter(is_named).nth(zone.number);
    named.ok_or_else(|| ChangeError::NoSuchZone(zone.title.clone(), None))
}

/// What is written for a value; `middle_c` is how the file counts octaves.
fn value_of(adjusted: &Adjusted, middle_c: i32) -> Result<Value, ChangeError> {
    let Adjusted { field, value, .. } = adjusted;
    let no = |wanted| ChangeError::NoValue(field.name(), value.clone(), wanted);
    match field {
        Field::Level | Field::Tempo => {
            let number = value.parse::<f64>().ok().filter(|number| number.is_finite());
            let number = number.ok_or_else(|| no("write a number, such as -3 or 92.5"))?;
            Ok(if number.fract() == 0.0 { Value::from(number as i64) } else { Value::from(number) })
        }
        Field::Octave => value.parse::<i64>().map(Value::from).map_err(|_| no("write a whole number, such as -1")),
        Field::Keys => {
            let wanted = "write the lowest and the highest note, such as C3 B5";
            let key = |word: &str| match word.parse::<u8>() {
                Ok(number) => Note::try_from(number).ok(),
                Err(_) => note::parse(word, 4).ok(),
            };
            let [low, high] = value.split_whitespace().map(key).collect::<Vec<_>>()[..] else { return Err(no(wanted)) };
            let names = low.zip(high).ok_or_else(|| no(wanted))?;
            Ok(Value::Array(Array::from_iter([note::name(names.0, middle_c), note::name(names.1, middle_c)])))
        }
        Field::Linger => Ok(Value::from(value.as_str())),
        Field::On => match value.as_str() {
            "on" => Ok(Value::from(true)),
            "off" => Ok(Value::from(false)),
            _ => Err(no("write on or off")),
        },
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const SONG: &str = "# Snow\ntitle = \"Snow\"  # ours\nkey = \"D\"\ntempo = 84       # slow\n\n[[zone]]\nsound = \"warm\"\n\
                        level = -6.0   # soft\n\n# the right hand\n[[zone]]\nname = \"bed\"\nsound = \"warm\"\n[[zone]]\nsound = \"warm\"\n";

    fn adjusted(zone: Option<(&str, usize)>, field: Field, value: &str) -> Adjusted {
        let zone = zone.map(|(title, number)| Titled { title: title.to_owned(), number });
        Adjusted { map: "snow.toml".to_owned(), zone, field, value: value.to_owned() }
    }

    #[test]
    fn a_value_is_replaced_where_it_stands_and_nothing_else_moves() {
        let edited = |zone, field, value: &str| edit(SONG, &adjusted(zone, field, value)).expect("a song");
        assert_eq!(edited(Some(("warm", 0)), Field::Level, "-3.5"), SONG.replace("-6.0   #", "-3.5   #"));
        assert_eq!(edited(None, Field::Tempo, "92"), SONG.replace("84       #", "92       #"));
        let reach = edited(Some(("bed", 0)), Field::Keys, "48 B5");
        assert_eq!(
            reach,
            SONG.replace(
                "name = \"bed\"\nsound = \"warm\"\n",
                "name = \"bed\"\nsound = \"warm\"\nkeys = [\"C3\", \"B5\"]\n"
            )
        );
        assert_eq!(edited(Some(("warm", 1)), Field::On, "off"), format!("{SONG}on = false\n"));
    }

    #[test]
    fn what_is_no_value_and_no_zone_is_refused() {
        for (zone, field, value) in [
            (Some(("bed", 0)), Field::Level, "loud"),
            (Some(("bed", 0)), Field::Level, "inf"),
            (Some(("bed", 0)), Field::Octave, "1.5"),
            (Some(("bed", 0)), Field::Keys, "C3"),
            (Some(("bed", 0)), Field::On, "yes"),
            (Some(("bed", 1)), Field::Octave, "1"),
        ] {
            assert!(edit(SONG, &adjusted(zone, field, value)).is_err(), "{zone:?} {field:?} {value}");
        }
        assert!(edit("zone = 3", &adjusted(Some(("bed", 0)), Field::Octave, "1")).is_err());
        let inline = "zone = [{ sound = \"bed\", level = 1 }] # all\n";
        let text = edit(inline, &adjusted(Some(("bed", 0)), Field::Level, "2")).expect("a song");
        assert_eq!(text, "zone = [{ sound = \"bed\", level = 2 }] # all\n");
    }
}
