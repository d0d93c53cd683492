//! The three kinds of map as JSON Schema (draft 2020-12), for editors that complete and mark fields. What a field takes
//! stands here; its example is the one that messages show. Names that must lead somewhere, and what must agree, is for the
//! reader alone: a schema knows one file.

mod fields;
mod shape;

use serde_json::{Map, Value, json};
use toml_edit::DocumentMut;

use super::{Word, examples};
use shape::Shape;

/// The kinds of map: the word by which each is asked for, as the reader calls its table, and its title.
const KINDS: [(&str, &str, &str); 3] = [
    ("gear", "the gear file", "handspan: inputs, outputs, sounds, curves and cues"),
    ("song", "the song", "handspan: a song"),
    ("set", "the set", "handspan: tonight's songs in order"),
];

/// The words by which a schema is asked for.
pub fn schemas() -> impl Iterator<Item = &'static str> {
    KINDS.iter().map(|(word, ..)| *word)
}

/// The schema of a kind of map; none where there is no such kind.
#[must_use]
pub fn schema(kind: &str) -> Option<Value> {
    let (_, home, title) = *KINDS.iter().find(|(word, ..)| *word == kind)?;
    let mut used = Vec::new();
    let Value::Object(top) = table(home, &mut used) else { return None };
    let mut all = Map::new();
    // Those that others need come while these are made.
    let mut made = 0;
    while let Some(home) = used.get(made).copied() {
        let value = table(home, &mut used);
        all.insert(reference(home), value);
        made += 1;
    }
    let mut schema = Map::new();
    schema.insert("$schema".to_owned(), json!("https://json-schema.org/draft/2020-12/schema"));
    schema.insert("title".to_owned(), json!(title));
    schema.extend(top);
    schema.insert("$defs".to_owned(), Value::Object(all));
    Some(Value::Object(schema))
}

/// A table's schema; tables within it are named in `used`.
fn table(home: &'static str, used: &mut Vec<&'static str>) -> Value {
    let fields = fields::ALL.iter().find(|(known, _)| *known == home).map_or(&[][..], |(_, fields)| fields);
    let mut properties = Map::new();
    for field in fields {
        let mut property = shape(&field.takes, used);
        let example = examples::example(home, field.name);
        if let Value::Object(property) = &mut property {
            property.insert("description".to_owned(), json!(format!("{} For example: {example}", field.about)));
            if let Some(example) = value_of(field.name, &example) {
                property.insert("examples".to_owned(), json!([example]));
            }
        }
        properties.insert(field.name.to_owned(), property);
    }
    let needed: Vec<&str> = fields.iter().filter(|field| field.needed).map(|field| field.name).collect();
    let mut table = json!({ "type": "object", "properties": properties, "additionalProperties": false });
    if !needed.is_empty() {
        table["required"] = json!(needed);
    }
    if let (Value::Object(table), Value::Object(more)) = (&mut table, fields::together(home)) {
        table.extend(more);
    }
    table
}

/// The value of an example that is one field, and no heading or table.
fn value_of(name: &str, example: &str) -> Option<Value> {
    let document: DocumentMut = example.parse().ok()?;
    json_of(document.get(name)?.as_value()?)
}

/// A value of a map as JSON.
fn json_of(value: &toml_edit::Value) -> Option<Value> {
    Some(match value {
        toml_edit::Value::String(text) => json!(text.value()),
        toml_edit::Value::Integer(number) => json!(number.value()),
        toml_edit::Value::Float(number) => json!(number.value()),
        toml_edit::Value::Boolean(flag) => json!(flag.value()),
        toml_edit::Value::Array(items) => Value::Array(items.iter().map(json_of).collect::<Option<_>>()?),
        toml_edit::Value::InlineTable(table) => {
            let fields = table.iter().map(|(name, value)| Some((name.to_owned(), json_of(value)?)));
            Value::Object(fields.collect::<Option<_>>()?)
        }
        toml_edit::Value::Datetime(_) => return None,
    })
}

fn shape(takes: &Shape, used: &mut Vec<&'static str>) -> Value {
    match takes {
        Shape::Text(most) => json!({ "type": "string", "pattern": r"\S", "maxLength": most }),
        Shape::Parts => json!({ "type": "string", "pattern": r"\S" }),
        Shape::Words(words) => json!({ "enum": words }),
        Shape::Action => json!({ "enum": Word::known().chain(["send"]).collect::<Vec<_>>() }),
        Shape::Flag => json!({ "type": "boolean" }),
        Shape::Whole(low, high) => json!({ "type": "integer", "minimum": low, "maximum": high }),
        Shape::Number(low, high) => json!({ "type": "number", "minimum": low, "maximum": high }),
        Shape::Note => json!({ "anyOf": [
            { "type": "string", "pattern": "^[A-G][#b]?(-[1-9]|[0-9]|[1-9][0-9])$" },
            { "type": "integer", "minimum": 0, "maximum": 127 },
        ] }),
        Shape::Key => json!({ "type": "string", "pattern": "^[A-G][#b]?m?$" }),
        Shape::Form(pattern) => json!({ "type": "string", "pattern": pattern }),
        Shape::Row(items) => {
            let items: Vec<Value> = items.iter().map(|item| shape(item, used)).collect();
            let count = items.len();
            json!({ "type": "array", "prefixItems": items, "items": false, "minItems": count })
        }
        Shape::List(item, least) => json!({ "type": "array", "items": shape(item, used), "minItems": least }),
        Shape::Either(shapes) => {
            let shapes: Vec<Value> = shapes.iter().map(|one| shape(one, used)).collect();
            json!({ "anyOf": shapes })
        }
        Shape::Table(home) => {
            if !used.contains(home) {
                used.push(home);
            }
            json!({ "$ref": format!("#/$defs/{}", reference(home)) })
        }
        Shape::Named(home) => named(shape(&Shape::Table(home), used)),
        Shape::NamedValues(value) => named(shape(value, used)),
    }
}

fn named(value: Value) -> Value {
    json!({ "type": "object", "propertyNames": { "maxLength": fields::NAME }, "additionalProperties": value })
}

/// The name of a kind of table among the definitions.
fn reference(home: &str) -> String {
    let words = home.trim_matches('"');
    let words = ["the ", "an ", "a "].iter().find_map(|article| words.strip_prefix(article)).unwrap_or(words);
    words.replace(' ', "-")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_kind_has_a_schema_whose_tables_are_there() {
        for kind in schemas() {
            let schema = schema(kind).expect("a schema");
            let text = schema.to_string();
            for reference in text.split("#/$defs/").skip(1).filter_map(|rest| rest.split('"').next()) {
                assert!(schema["$defs"][reference]["properties"].is_object(), "{kind}: {reference}");
            }
            assert!(!text.contains("= …"), "{kind} has a field without an example");
        }
        assert!(schema("lights").is_none());
    }
}
