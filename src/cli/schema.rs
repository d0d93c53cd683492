//! `handspan schema`: what an editor needs to complete and mark a map while it is written.

use super::console::{Failure, tell_json};
use crate::map::schema;

pub(super) const HELP: &str = "Examples:
  handspan schema song > song.json

Many editors take it from a comment in the first line of a map:
  #:schema ./song.json";

/// Prints the schema of a kind of map.
pub(super) fn run(kind: &str) -> Result<(), Failure> {
    let text = schema(kind).and_then(|schema| serde_json::to_string_pretty(&schema).ok());
    tell_json(&text.ok_or_else(|| Failure::Failed("the schema cannot be written as JSON.".to_owned()))?);
    Ok(())
}
