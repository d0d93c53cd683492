//! The description as JSON Schema, draft 2020-12.

use serde_json::{Map, Value, json};
use toml::de::{DeTable, DeValue};

use super::form::{Example, Field, Form, Table};
use crate::map::MapKind;

/// What a kind of map may hold, as a JSON Schema of draft 2020-12: TOML's values count as those of JSON. It knows a
/// map's form, not whether the names in it exist or its keys agree, as `handspan check` does.
#[must_use]
pub fn json_schema(kind: MapKind) -> String {
    let table = super::file(kind);
    let mut definitions = Map::new();
    let mut whole = of_table(table, &mut definitions);
    if let Value::Object(object) = &mut whole {
        object.insert("$schema".to_owned(), json!("https://json-schema.org/draft/2020-12/schema"));
        object.insert("title".to_owned(), json!(table.what));
        object.insert("$defs".to_owned(), Value::Object(definitions));
    }
    let mut text = serde_json::to_string_pretty(&whole).unwrap_or_default();
    text.push('\n');
    text
}

fn of_table(table: &'static Table, definitions: &mut Map<String, Value>) -> Value {
    let mut properties = Map::new();
    for field in table.fields {
        properties.insert(field.name.to_owned(), of_field(field, definitions));
    }
    let needed: Vec<&str> = table.fields.iter().filter(|field| field.needed).map(|field| field.name).collect();
    let mut schema = json!({
        "description": table.about,
        "type": "object",
        "properties": properties,
        "required": needed,
        "additionalProperties": false,
    });
    if !table.one_of.is_empty() {
        schema["oneOf"] = table.one_of.iter().map(|name| json!({ "required": [name] })).collect();
    }
    if !table.needs.is_empty() {
        let needs = table.needs.iter().map(|(name, other)| ((*name).to_owned(), json!([other])));
        schema["dependentRequired"] = Value::Object(needs.collect());
    }
    schema
}

fn of_field(field: &'static Field, definitions: &mut Map<String, Value>) -> Value {
    let mut schema = of_form(&field.form, definitions);
    schema["description"] = json!(field.about);
    schema["examples"] = json!([example(field)]);
    schema
}

fn of_form(form: &'static Form, definitions: &mut Map<String, Value>) -> Value {
    match form {
        Form::Text(most) => json!({ "type": "string", "pattern": "\\S", "maxLength": most }),
        Form::Pattern(pattern) => json!({ "type": "string", "pattern": pattern }),
        Form::Flag => json!({ "type": "boolean" }),
        Form::Whole(low, high) => json!({ "type": "integer", "minimum": low, "maximum": high }),
        Form::Number(low, high) => json!({ "type": "number", "minimum": low, "maximum": high }),
        Form::Words(words) => json!({ "enum": words }),
        Form::Pair(first, second) => json!({
            "type": "array",
            "prefixItems": [of_form(first, definitions), of_form(second, definitions)],
            "minItems": 2,
            "maxItems": 2,
        }),
        Form::List(item, least) => {
            json!({ "type": "array", "items": of_form(item, definitions), "minItems": least })
        }
        Form::Either(forms) => {
            json!({ "anyOf": forms.iter().map(|form| of_form(form, definitions)).collect::<Vec<_>>() })
        }
        Form::Table(table) => named(table, definitions),
        Form::Tables(table) => json!({ "type": "array", "items": named(table, definitions) }),
        Form::Named(form) => json!({ "type": "object", "additionalProperties": of_form(form, definitions) }),
        Form::NamedLike(pattern, form) => {
            json!({
                "type": "object",
                "propertyNames": { "pattern": pattern },
                "additionalProperties": of_form(form, definitions),
            })
        }
    }
}

/// A table stands once among the definitions, however often it is used.
fn named(table: &'static Table, definitions: &mut Map<String, Value>) -> Value {
    let noun = ["a ", "an ", "the "].iter().find_map(|article| table.what.strip_prefix(article)).unwrap_or(table.what);
    let name = noun.trim_matches('"').replace(' ', "-");
    if !definitions.contains_key(&name) {
        // Put in first, in case the table is within itself.
        definitions.insert(name.clone(), Value::Null);
        let schema = of_table(table, definitions);
        definitions.insert(name.clone(), schema);
    }
    json!({ "$ref": format!("#/$defs/{name}") })
}

/// An example as JSON has it; of a table, the fields that it must have.
fn example(field: &Field) -> Value {
    match (&field.example, &field.form) {
        (Example::Value(text), _) => value(&format!("it = {text}"), "it"),
        (Example::Line(_), Form::Table(table)) => least(table),
        (Example::Line(_), Form::Tables(table)) => json!([least(table)]),
        (Example::Line(header), Form::Named(Form::Table(table))) if header.starts_with('[') => {
            let name = header.trim_matches(['[', ']']).rsplit('.').next().unwrap_or_default();
            json!({ name: least(table) })
        }
        // The name and its value, and where they stand.
        (Example::Line(line), _) => {
            let line = line.split(" below ").next().unwrap_or_default();
            let name = line.split(' ').next().unwrap_or_default();
            json!({ name: value(line, name) })
        }
    }
}

fn least(table: &Table) -> Value {
    let first = table.one_of.first();
    let wanted = table.fields.iter().filter(|field| field.needed || Some(&field.name) == first);
    Value::Object(wanted.map(|field| (field.name.to_owned(), example(field))).collect())
}

/// The value of a field that is all of a text in TOML.
fn value(text: &str, field: &str) -> Value {
    let (table, _) = DeTable::parse_recoverable(text);
    let found = table.get_ref().iter().find(|(name, _)| name.get_ref() == field);
    found.map_or(Value::Null, |(_, value)| of_toml(value.get_ref()))
}

fn of_toml(value: &DeValue<'_>) -> Value {
    match value {
        DeValue::String(text) => json!(text),
        DeValue::Integer(number) => {
            i64::from_str_radix(number.as_str(), number.radix()).map_or(Value::Null, Value::from)
        }
        DeValue::Float(number) => number.as_str().parse::<f64>().map_or(Value::Null, Value::from),
        DeValue::Boolean(flag) => json!(flag),
        DeValue::Datetime(time) => json!(time.to_string()),
        DeValue::Array(items) => items.iter().map(|item| of_toml(item.get_ref())).collect(),
        DeValue::Table(table) => Value::Object(
            table.iter().map(|(name, value)| (name.get_ref().to_string(), of_toml(value.get_ref()))).collect(),
        ),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_field_has_an_example() {
        for kind in MapKind::ALL {
            let schema = json_schema(kind);
            assert!(schema.contains("\"examples\""));
            for empty in ["null", "[]\n", "\"description\": \"\""] {
                let shown = schema.lines().filter(|line| !line.contains("required")).any(|line| line.contains(empty));
                assert!(!shown, "{kind:?} has an example or a sentence that says nothing: {empty}");
            }
        }
    }
}
