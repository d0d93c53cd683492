//! What the TOML parser finds, in the player's words.

use super::diagnostic::{Diagnostic, FaultKind, quoted};
use super::{Spot, secret};

/// A syntax error in the player's words.
pub(super) fn fault(message: &str, text: &str, spot: Spot) -> Diagnostic {
    let marked = text.get(spot.start..spot.end).unwrap_or_default();
    if message.starts_with("duplicate key") {
        let fault = Diagnostic::error(FaultKind::Unreadable, spot, format!("{} is written twice", quoted(marked)));
        return fault.help("take one of the two out, or give it another name");
    }
    let fault = |title: &str| Diagnostic::error(FaultKind::Unreadable, spot, title);
    match message {
        "string values must be quoted, expected literal string" if marked.trim().is_empty() => {
            fault("a value is missing").help("write it, or take the whole line out")
        }
        "string values must be quoted, expected literal string" => {
            let line = text[..spot.start].rfind('\n').map_or(0, |end| end + 1)..spot.end;
            let is_secret = secret::from(text, line).is_some();
            let shown = if is_secret { "\"…\"".to_owned() } else { quoted(marked.trim()) };
            fault("a text needs quotation marks").help(format!("write {shown}"))
        }
        _ if message.starts_with("missing escaped value") || message.starts_with("invalid escape") => {
            fault("a backslash in a text begins a special letter").help("write \\\\ for a backslash, or / in a path")
        }
        "invalid basic string, expected `\"`" | "invalid literal string, expected `'`" => {
            fault("a text has no closing quotation mark").help("close it on the same line")
        }
        _ => {
            let (message, expected) = message.split_once(", expected ").unwrap_or((message, "nothing"));
            let fault = fault(&format!("this is not written as TOML: {message}"));
            fault.help(match expected {
                "nothing" => "take this out, or look for what is missing just before".to_owned(),
                expected => format!("what belongs here is {}", expected.replace(", ", " or ")),
            })
        }
    }
}

/// The brackets that are open at a place, closed.
pub(super) fn brackets(text: &str, end: usize) -> String {
    let mut open = Vec::new();
    let mut letters = text[..end].chars();
    while let Some(letter) = letters.next() {
        match letter {
            '#' => drop(letters.find(|letter| *letter == '\n')),
            // A text of several lines is three texts to this, two of them empty.
            '"' | '\'' => {
                let mut escaped = false;
                letters.find(|inside| {
                    let ends = *inside == letter && !escaped || *inside == '\n';
                    escaped = *inside == '\\' && !escaped && letter == '"';
                    ends
                });
            }
            '[' => open.push(']'),
            '{' => open.push('}'),
            ']' | '}' => drop(open.pop()),
            _ => {}
        }
    }
    open.iter().rev().collect()
}

/// A list or table that is not closed, at the end of the line where it should be.
pub(super) fn unclosed(spot: Spot) -> Diagnostic {
    Diagnostic::error(FaultKind::Unreadable, spot, "a list or table is not closed").help("close it with ] or }")
}

/// Where a list or table should have been closed, if that is what is behind an error at `at`: the parser notices
/// only at the next field or header, and then stumbles over every line after it.
pub(super) fn unclosed_before(text: &str, at: usize, message: &str) -> Option<usize> {
    const STUMBLES: [&str; 5] = [
        "missing comma between array elements",
        "missing comma between key-value pairs",
        "missing key for inline table element",
        "string values must be quoted",
        "unexpected `=` in array",
    ];
    if !STUMBLES.iter().any(|stumble| message.starts_with(stumble)) {
        return None;
    }
    let start = text.get(..at)?.rfind('\n')? + 1;
    let line = text[start..].lines().next()?.trim_start();
    let first = text[start..at].chars().all(|c| c.is_whitespace() || c == '[') || message.contains("`=` in array");
    let header = line.trim_start_matches('[').starts_with(|c: char| c.is_ascii_alphabetic()) && line.starts_with('[');
    let bare = |name: &str| !name.is_empty() && name.chars().all(|c| c.is_ascii_alphanumeric() || c == '_');
    let field = line.split_once('=').is_some_and(|(name, _)| bare(name.trim()));
    (first && (header || field)).then(|| text[..start].trim_end().len())
}
