//! What the three kinds of map may hold: every field with the form of its value, an example and a sentence. The reader
//! asks for no field that does not stand here, messages take their examples from here, and JSON Schema is written from
//! it, so that an editor completes and explains what the reader will read.

mod cue;
mod curve;
mod explain;
mod form;
mod gear;
mod json;
mod set;
mod song;

pub use explain::{Meaning, known_words, meanings};
use form::{Example, Field, Form, Table};
pub use json::json_schema;

use super::MapKind;

/// The description of a whole file.
const fn file(kind: MapKind) -> &'static Table {
    match kind {
        MapKind::Set => &set::SET,
        MapKind::Gear => &gear::GEAR,
        MapKind::Song => &song::SONG,
    }
}

/// A table by what it is called in messages; none where its fields are named by the user.
fn table(what: &str) -> Option<&'static Table> {
    search(&|table| (table.what == what).then_some(table))
}

/// The first that is found in a table of any map.
fn search<T>(find: &dyn Fn(&'static Table) -> Option<T>) -> Option<T> {
    MapKind::ALL.iter().find_map(|kind| within(file(*kind), find))
}

fn within<T>(table: &'static Table, find: &dyn Fn(&'static Table) -> Option<T>) -> Option<T> {
    find(table).or_else(|| table.fields.iter().find_map(|field| within_form(&field.form, find)))
}

fn within_form<T>(form: &'static Form, find: &dyn Fn(&'static Table) -> Option<T>) -> Option<T> {
    match form {
        Form::Table(table) | Form::Tables(table) => within(table, find),
        Form::List(form, _) | Form::Named(form) | Form::NamedLike(_, form) => within_form(form, find),
        Form::Either(forms) => forms.iter().find_map(|form| within_form(form, find)),
        _ => None,
    }
}

fn field(what: &str, name: &str) -> Option<&'static Field> {
    table(what)?.fields.iter().find(|field| field.name == name)
}

/// Whether a table may have a field of this name, or names its fields itself.
pub(super) fn knows(what: &str, name: &str) -> bool {
    table(what).is_none_or(|table| table.fields.iter().any(|field| field.name == name))
}

/// Whether some kind of table has a field of this name.
pub(super) fn is_field(name: &str) -> bool {
    search(&|table| table.fields.iter().find(|field| field.name == name)).is_some()
}

/// Whether a field of this name is true or false.
pub(super) fn is_flag(name: &str) -> bool {
    takes(name, |form| matches!(form, Form::Flag))
}

/// Whether a field of this name is a number, in some table at least.
pub(super) fn is_number(name: &str) -> bool {
    takes(name, |form| matches!(form, Form::Whole(..) | Form::Number(..)))
}

/// Whether a field of this name has such a form in some table.
fn takes(name: &str, is_such: impl Fn(&Form) -> bool) -> bool {
    search(&|table| table.fields.iter().find(|field| field.name == name && is_such(&field.form))).is_some()
}

/// How many brackets a header of this name has on each side: two where there can be several such tables; none where it
/// heads no table.
pub(super) fn brackets(name: &str) -> Option<usize> {
    let heads = |field: &&Field| field.name == name && matches!(field.example, Example::Line(_));
    let field = search(&|table| table.fields.iter().find(heads))?;
    Some(if matches!(field.form, Form::Tables(_)) { 2 } else { 1 })
}

/// Whether a kind of map has this field above its first header.
pub(super) fn stands_above_headers(kind: MapKind, name: &str) -> bool {
    file(kind).fields.iter().any(|field| field.name == name && matches!(field.example, Example::Value(_)))
}

/// What to write for a field of a kind of table, as a whole line.
pub(super) fn example(what: &str, name: &str) -> String {
    // Where names are the user's own, as in a list of curves, the field that holds them shows how one is written.
    let named = || search(&|table| table.fields.iter().find(|field| field.name == what));
    match field(what, name).or_else(named) {
        Some(Field { example: Example::Line(line), .. }) => (*line).to_owned(),
        Some(Field { name, example: Example::Value(value), .. }) => format!("{name} = {value}"),
        None => format!("{name} = …"),
    }
}
