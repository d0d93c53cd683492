//! What a word of the maps means: a kind of table, a field, or a word that a field may hold.

use std::cell::RefCell;

use super::form::{Example, Field, Form, Table};

/// One meaning of a word.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Meaning {
    /// What it is, such as "a field of a zone".
    pub subject: String,
    /// The field that the word may stand in; empty for all else.
    pub stands_in: &'static str,
    /// What it says, in a sentence or two.
    pub about: &'static str,
    /// What a field may hold, in words; empty for all else.
    pub holds: String,
    /// How it is written, for instance.
    pub example: String,
    /// The fields of a table, each with its sentence; empty for all else.
    pub fields: Vec<(&'static str, &'static str)>,
}

/// All that a word means in the maps; nothing where it is none of their words.
#[must_use]
pub fn meanings(word: &str) -> Vec<Meaning> {
    let tables = tables();
    let of_tables = tables.iter().filter(|table| bare(table.what) == word).map(|table| of_table(table));
    let fields = || tables.iter().flat_map(|table| table.fields.iter().map(move |field| (*table, field)));
    let of_fields = fields().filter(|(_, field)| field.name == word).map(|(table, field)| of_field(table, field));
    let is_held = |(_, field): &(_, &Field)| word_in(&field.form, word);
    let of_values = fields().filter(is_held).map(|(table, field)| of_value(table, field, word));
    of_tables.chain(of_fields).chain(of_values).collect()
}

/// Every kind of table, and the fields of each.
pub fn known_words() -> impl Iterator<Item = (&'static str, impl Iterator<Item = &'static str>)> {
    tables().into_iter().map(|table| (table.what, table.fields.iter().map(|field| field.name)))
}

/// Every kind of table once, in the order in which the files have them.
fn tables() -> Vec<&'static Table> {
    let found: RefCell<Vec<&'static Table>> = RefCell::default();
    let collect = |table: &'static Table| {
        let mut found = found.borrow_mut();
        if found.iter().all(|known| known.what != table.what) {
            found.push(table);
        }
        None::<()>
    };
    super::search(&collect);
    found.into_inner()
}

/// The word in "a zone", "the song" or "\"when\"".
fn bare(what: &str) -> &str {
    let rest = ["a ", "an ", "the "].iter().find_map(|article| what.strip_prefix(article));
    rest.unwrap_or(what).trim_matches('"')
}

fn of_table(table: &'static Table) -> Meaning {
    Meaning {
        subject: format!("{}, a part of the maps", table.what),
        stands_in: "",
        about: table.about,
        holds: String::new(),
        example: String::new(),
        fields: table.fields.iter().map(|field| (field.name, field.about)).collect(),
    }
}

fn of_field(table: &Table, field: &Field) -> Meaning {
    let must = if field.needed { ", which must be there" } else { "" };
    Meaning {
        subject: format!("a field of {}{must}", table.what),
        stands_in: "",
        about: field.about,
        holds: in_words(&field.form),
        example: example(field),
        fields: Vec::new(),
    }
}

fn of_value(table: &Table, field: &Field, word: &str) -> Meaning {
    Meaning {
        subject: format!("a word for `{}`, a field of {}", field.name, table.what),
        stands_in: field.name,
        about: field.about,
        holds: in_words(&field.form),
        example: format!("{} = \"{word}\"", field.name),
        fields: Vec::new(),
    }
}

fn example(field: &Field) -> String {
    match field.example {
        Example::Line(line) => line.to_owned(),
        Example::Value(value) => format!("{} = {value}", field.name),
    }
}

/// Whether a field may hold this word by itself.
fn word_in(form: &Form, word: &str) -> bool {
    match form {
        Form::Words(words) => words.contains(&word),
        Form::Either(forms) => forms.iter().any(|form| word_in(form, word)),
        Form::List(form, _) => word_in(form, word),
        _ => false,
    }
}

/// What a field may hold.
fn in_words(form: &Form) -> String {
    match form {
        Form::Text(most) => format!("a text of at most {most} letters"),
        Form::Pattern(_) => "a text like that of the example".to_owned(),
        Form::Flag => "true or false".to_owned(),
        Form::Whole(low, high) => format!("a whole number from {low} to {high}"),
        Form::Number(low, high) => format!("a number from {low} to {high}"),
        Form::Words([only]) => format!("\"{only}\""),
        Form::Words(words) => {
            let quoted: Vec<String> = words.iter().map(|word| format!("\"{word}\"")).collect();
            format!("one of {}", quoted.join(", "))
        }
        Form::Pair(first, second) => {
            let (first, second) = (in_words(first), in_words(second));
            if first == second { format!("a pair, each {first}") } else { format!("a pair: {first}; {second}") }
        }
        Form::List(item, _) => format!("a list, each {}", in_words(item)),
        Form::Either(forms) => forms.iter().map(in_words).collect::<Vec<_>>().join(", or "),
        Form::Table(table) => format!("{}: see `handspan explain {}`", table.what, bare(table.what)),
        Form::Tables(table) => format!("tables, each {}: see `handspan explain {}`", table.what, bare(table.what)),
        Form::Named(form) | Form::NamedLike(_, form) => format!("names of your own, each with {}", in_words(form)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn subjects(word: &str) -> Vec<String> {
        meanings(word).into_iter().map(|meaning| meaning.subject).collect()
    }

    #[test]
    fn tables_fields_and_their_words_are_known() {
        assert!(subjects("zone").contains(&"a zone, a part of the maps".to_owned()));
        assert_eq!(subjects("pass_clock"), ["a field of an output"]);
        assert!(subjects("nearest").contains(&"a word for `shift`, a field of the song".to_owned()));
        assert_eq!(subjects("pass_clocks"), [""; 0]);
    }

    #[test]
    fn every_field_says_what_it_holds_and_how_it_is_written() {
        for table in tables() {
            assert!(!meanings(bare(table.what)).is_empty(), "{}", table.what);
            for field in table.fields {
                let home = format!("a field of {}", table.what);
                let all = meanings(field.name);
                let own = all.iter().find(|meaning| meaning.subject.starts_with(&home)).expect("its meaning");
                assert!(!own.holds.is_empty() && !own.example.is_empty(), "{own:?}");
            }
        }
    }
}
