//! A cursor over the tables of one TOML file: takes the fields that a table may have, each in the wanted form,
//! reports what is of the wrong type or out of range, and at the end every field that nobody asked for.
//! It never stops at the first fault.

use std::cell::{Cell, RefCell};
use std::ops::RangeInclusive;

use toml::Spanned;
use toml::de::{DeTable, DeValue};

use super::diagnostic::{Diagnostic, FaultKind, did_you_mean, quoted, several};
use super::nearest::nearest;
use super::rewritten::Layers;
use super::{At, MapKind, Spot, allowed, schema, words};

/// What was found while files were read.
pub(super) type Faults = RefCell<Vec<Diagnostic>>;

/// Whether a text, `what`, has at most so many letters; reports one that has more.
fn is_short(map_file: &MapFile<'_>, spot: Spot, (what, text): (&str, &str), most: usize) -> bool {
    let letters = text.chars().count();
    if letters > most {
        let title = format!("{what} has {letters} letters: there is room for {most}");
        map_file.report(Diagnostic::error(FaultKind::Finding, spot, title).help("write fewer"));
    }
    letters <= most
}

/// One file being read.
pub(super) struct MapFile<'a> {
    /// Its index among the sources.
    pub file: usize,
    /// The octave number of middle C in this file.
    pub middle_c: Cell<i32>,
    /// What of it could not be read: what seems to be missing may only be that.
    pub lost: &'a Lost,
    /// From the text that was read to the file's.
    pub layers: &'a Layers,
    /// Its text.
    pub text: &'a str,
    /// The kind of map that it is read as.
    pub kind: MapKind,
    /// Where faults go.
    pub faults: &'a Faults,
}

/// What of a file could not be read.
#[derive(Debug, Default)]
pub(super) struct Lost {
    /// A header, or a line that could be one: fields may seem to belong to another table.
    pub headers: bool,
    /// Fields of lines that could not be read.
    pub fields: Vec<String>,
}

impl MapFile<'_> {
    /// A place in this file, given in the text that was read.
    pub fn spot(&self, span: std::ops::Range<usize>) -> Spot {
        Spot { file: self.file, start: self.layers.before(span.start), end: self.layers.before(span.end) }
    }

    /// Whether a field that is not there may only be unreadable.
    pub fn may_have(&self, field: &str) -> bool {
        self.lost.headers || self.lost.fields.iter().any(|lost| lost == field)
    }

    /// Whether all names of tables could be read: no header is lost, and no line that is no usual field.
    pub fn has_all_names(&self) -> bool {
        !self.lost.headers && self.lost.fields.iter().all(|field| schema::is_field(field))
    }

    /// Reports a fault.
    pub fn report(&self, fault: Diagnostic) {
        self.faults.borrow_mut().push(fault);
    }
}

/// A table with its fields.
pub(super) struct Fields<'a> {
    /// The file that it stands in.
    pub map_file: &'a MapFile<'a>,
    /// Its header, or all of an inline table.
    pub spot: Spot,
    what: &'static str,
    table: &'a DeTable<'a>,
    asked: Vec<&'static str>,
}

impl<'a> Fields<'a> {
    /// A table to be read as `what`, such as "a zone".
    pub fn new(map_file: &'a MapFile<'a>, what: &'static str, spot: Spot, table: &'a DeTable<'a>) -> Self {
        Self { map_file, spot, what, table, asked: Vec::new() }
    }

    /// The field of this name, if it is there.
    pub fn take(&mut self, name: &'static str) -> Option<Value<'a>> {
        debug_assert!(
            schema::knows(self.what, name),
            "{} is asked for {name}, which the schema does not have",
            self.what
        );
        self.asked.push(name);
        let (key, value) = self.table.iter().find(|(key, _)| key.get_ref() == name)?;
        Some(Value {
            map_file: self.map_file,
            name: key.get_ref(),
            home: self.what,
            spot: self.map_file.spot(value.span()),
            value: value.get_ref(),
        })
    }

    /// The field of this name; reports it where it is missing.
    pub fn need(&mut self, name: &'static str) -> Option<Value<'a>> {
        let value = self.take(name);
        if value.is_none() {
            self.missing(name);
        }
        value
    }

    /// Reports that a field is missing.
    pub fn missing(&self, name: &str) {
        // A field that is only misspelt is told of as that.
        let misspelt =
            |key: &str| words::renamed(self.what, key) == Some(name) || nearest(key, [name].into_iter()).is_some();
        if !self.map_file.may_have(name) && !self.table.keys().any(|key| misspelt(key.get_ref())) {
            let fault = Diagnostic::error(
                FaultKind::Finding,
                self.spot,
                format!("{} needs the field {}", self.what, quoted(name)),
            );
            self.map_file.report(fault.help(format!("write for example {}", schema::example(self.what, name))));
        }
    }

    /// Whether a field of this name is there.
    pub fn has(&self, name: &str) -> bool {
        self.table.iter().any(|(key, _)| key.get_ref() == name)
    }

    /// Whether a field of this name is there and is an empty list.
    pub fn is_empty_list(&self, name: &str) -> bool {
        let empty = |value: &DeValue<'_>| matches!(value, DeValue::Array(items) if items.is_empty());
        self.table.iter().any(|(key, value)| key.get_ref() == name && empty(value.get_ref()))
    }

    /// All fields, for tables whose keys are the user's own names; faults in them speak of the table.
    pub fn named(self) -> impl Iterator<Item = (At<String>, Value<'a>)> {
        let (map_file, name) = (self.map_file, self.what);
        self.table.iter().map(move |(key, value)| {
            let at = At { value: key.get_ref().to_string(), spot: map_file.spot(key.span()) };
            is_short(map_file, at.spot, ("this name", &at.value), allowed::LETTERS);
            (at, Value { map_file, name, home: name, spot: map_file.spot(value.span()), value: value.get_ref() })
        })
    }

    /// The tables of a `[[name]]` list, in file order.
    pub fn list_of(&mut self, name: &'static str, what: &'static str) -> Vec<Fields<'a>> {
        let Some(value) = self.take(name) else { return Vec::new() };
        match value.value {
            DeValue::Array(_) => value.items().into_iter().filter_map(|item| item.table(what)).collect(),
            _ => {
                value.wrong(&format!("a list of tables, each under its own [[{name}]]"));
                Vec::new()
            }
        }
    }

    /// Whether there are fields that were not asked for.
    pub fn has_others(&self) -> bool {
        self.table.iter().any(|(key, _)| !self.asked.iter().any(|asked| *asked == key.get_ref()))
    }

    /// Reports every field that was not asked for.
    pub fn done(self) {
        for (key, _) in self.table.iter().filter(|(key, _)| !self.asked.iter().any(|asked| *asked == key.get_ref())) {
            let (name, spot) = (key.get_ref().as_ref(), self.map_file.spot(key.span()));
            let near = words::renamed(self.what, name).or_else(|| nearest(name, self.asked.iter().copied()));
            let later = words::comes_later(self.what, name);
            // Where a header is broken, fields seem to belong to the table before it.
            if self.map_file.lost.headers && near.is_none() && !later {
                continue;
            }
            let title = format!("{} has no field called {}", self.what, quoted(name));
            let fault = Diagnostic::error(FaultKind::Finding, spot, title);
            self.map_file.report(if later {
                let title = format!("this version does not know the field {} yet", quoted(name));
                Diagnostic::error(FaultKind::Finding, spot, title).help("take it out; nothing would act on it")
            } else if let Some(near) = near {
                fault.help(format!("did you mean {near}?"))
            } else if schema::stands_above_headers(self.map_file.kind, name) {
                let help = format!("{name} belongs to the whole file: move it above the first line that starts with [");
                fault.help(help)
            } else {
                fault.help(format!("it can have {}", several(self.asked.iter().copied())))
            });
        }
    }
}

/// The value of a field, or one item of a list.
#[derive(Clone, Copy)]
pub(super) struct Value<'a> {
    /// The file that it stands in.
    pub map_file: &'a MapFile<'a>,
    /// Where it stands.
    pub spot: Spot,
    /// The field that it belongs to.
    pub name: &'a str,
    /// The kind of table that the field stands in.
    home: &'static str,
    value: &'a DeValue<'a>,
}

impl<'a> Value<'a> {
    /// Reports that this is not what the field takes, such as "a whole number from 1 to 16".
    pub fn wrong(&self, expected: &str) {
        let title = format!("{} takes {expected}", quoted(self.name));
        let fault = Diagnostic::error(FaultKind::Finding, self.spot, title);
        self.map_file.report(fault.help(format!("write for example {}", schema::example(self.home, self.name))));
    }

    /// Reports a finding about this value.
    pub fn finding(&self, title: impl Into<String>, help: impl Into<String>) {
        self.map_file.report(Diagnostic::error(FaultKind::Finding, self.spot, title).help(help));
    }

    /// A value with this one's place.
    pub fn at<T>(&self, value: T) -> At<T> {
        At { value, spot: self.spot }
    }

    /// The text, if it is one.
    pub fn as_text(&self) -> Option<&'a str> {
        match self.value {
            DeValue::String(text) => Some(text),
            _ => None,
        }
    }

    /// Where a part of this text stands, given by its bytes in `text`, which is what the value says. Where the file
    /// writes it in another way (with escapes), the whole value stands for the part.
    pub fn part(&self, text: &str, part: std::ops::Range<usize>) -> Spot {
        let written = self.map_file.text.get(self.spot.start..self.spot.end);
        let Some(start) = written.and_then(|written| written.find(text)) else { return self.spot };
        let start = self.spot.start + start;
        Spot { start: start + part.start, end: start + part.end, ..self.spot }
    }

    /// A text that is not empty.
    fn any_text(&self) -> Option<&'a str> {
        let text = self.as_text().filter(|text| !text.trim().is_empty());
        if text.is_none() {
            self.wrong("a text in quotation marks, not an empty one");
        }
        text
    }

    /// A text that is not empty and has at most so many letters.
    fn text_within(&self, most: usize) -> Option<At<String>> {
        let text = self.any_text()?;
        is_short(self.map_file, self.spot, (&quoted(self.name), text), most).then(|| self.at(text.to_owned()))
    }

    /// A title, a name or another short text that is not empty.
    pub fn text(&self) -> Option<At<String>> {
        self.text_within(allowed::LETTERS)
    }

    /// A remark or a path.
    pub fn long_text(&self) -> Option<At<String>> {
        self.text_within(allowed::LETTERS_OF_REMARKS)
    }

    /// A text of many parts, such as bars or bytes, which its reader counts.
    pub fn text_of_parts(&self) -> Option<At<String>> {
        self.any_text().map(|text| self.at(text.to_owned()))
    }

    /// `true` or `false`.
    pub fn flag(&self) -> Option<bool> {
        if let DeValue::Boolean(flag) = self.value {
            return Some(*flag);
        }
        self.wrong("true or false");
        None
    }

    /// The whole number, if it is one.
    pub fn as_whole(&self) -> Option<i64> {
        match self.value {
            DeValue::Integer(number) => i64::from_str_radix(number.as_str(), number.radix()).ok(),
            _ => None,
        }
    }

    /// A whole number within limits.
    pub fn whole<T: TryFrom<i64>>(&self, limits: RangeInclusive<i64>) -> Option<T> {
        let number = self.as_whole().filter(|number| limits.contains(number));
        if number.is_none() {
            self.wrong(&format!("a whole number from {} to {}", limits.start(), limits.end()));
        }
        T::try_from(number?).ok()
    }

    /// A number, whole or not, within limits.
    pub fn number(&self, limits: RangeInclusive<f64>) -> Option<f64> {
        let number = self.as_number().filter(|number| limits.contains(number));
        if number.is_none() {
            self.wrong(&format!("a number from {} to {}", limits.start(), limits.end()));
        }
        number
    }

    /// The number, whole or not, if it is one.
    pub fn as_number(&self) -> Option<f64> {
        match self.value {
            DeValue::Float(number) => number.as_str().parse().ok(),
            DeValue::Integer(_) => self.as_whole().map(|number| number as f64),
            _ => None,
        }
    }

    /// One of a few words.
    pub fn choice<T: Copy>(&self, words: &[(&str, T)]) -> Option<T> {
        let chosen = self.as_text().and_then(|text| words.iter().find(|(word, _)| *word == text));
        if chosen.is_none() {
            let known = || words.iter().map(|(word, _)| *word);
            let title = format!("{} takes one of {}", quoted(self.name), several(known()));
            let near = self.as_text().and_then(|text| nearest(text, known()));
            let fault = Diagnostic::error(FaultKind::Finding, self.spot, title);
            self.map_file.report(fault.help(match near {
                Some(near) => did_you_mean(near),
                None => format!("write for example {} = {}", self.name, quoted(known().next().unwrap_or_default())),
            }));
        }
        chosen.map(|(_, value)| *value)
    }

    /// Whether it is a list.
    pub fn is_list(&self) -> bool {
        matches!(self.value, DeValue::Array(_))
    }

    /// The items of a list; of anything else none.
    pub fn items(&self) -> Vec<Value<'a>> {
        let DeValue::Array(items) = self.value else { return Vec::new() };
        let item = |item: &'a Spanned<DeValue<'a>>| Value {
            spot: self.map_file.spot(item.span()),
            value: item.get_ref(),
            ..*self
        };
        items.iter().map(item).collect()
    }

    /// A list of which each item is read on its own.
    pub fn list<T>(&self, expected: &str, read: impl Fn(&Value<'a>) -> Option<T>) -> Option<Vec<T>> {
        if !self.is_list() {
            self.wrong(expected);
            return None;
        }
        self.items().iter().map(read).collect::<Vec<_>>().into_iter().collect()
    }

    /// A list of exactly two.
    pub fn pair(&self, expected: &str) -> Option<(Value<'a>, Value<'a>)> {
        if let [first, second] = self.items()[..] {
            return Some((first, second));
        }
        self.wrong(expected);
        None
    }

    /// A table to be read as `what`.
    pub fn table(&self, what: &'static str) -> Option<Fields<'a>> {
        if let DeValue::Table(table) = self.value {
            return Some(Fields::new(self.map_file, what, self.spot, table));
        }
        self.wrong("a table");
        None
    }

    /// Whether it is a table.
    pub fn is_table(&self) -> bool {
        matches!(self.value, DeValue::Table(_))
    }
}
