//! What is wrong with a map: a sentence with its place, its mark and what to write. How a person sees it is in
//! `picture`, how a program reads it in [`Listed`].

use std::path::is_separator;

use serde::Serialize;

use super::clean::clean;
use super::{Source, Spot};

/// How much it matters.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum Level {
    /// The set cannot be played like this.
    Error,
    /// It can, but the player may not want it so.
    Hint,
}

/// What sort of fault it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum FaultKind {
    /// A file cannot be read as what it should be: it is missing, no text, not TOML, or another kind of map.
    Unreadable,
    /// What stands in a file that can be read is wrong: fields, values, names that lead nowhere, keys that disagree.
    Finding,
}

/// One thing that is wrong, in the player's words.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Diagnostic {
    /// How much it matters.
    pub level: Level,
    /// What sort of fault it is.
    pub kind: FaultKind,
    /// Where; `None` if there is no text to point at.
    pub spot: Option<Spot>,
    /// What is wrong, in one sentence, with its full stop.
    pub title: String,
    /// A few words beside the mark, where they say more than the sentence; may be empty.
    pub label: String,
    /// What to write instead.
    pub help: Option<String>,
    /// Other places that have to do with it, each with a few words.
    pub also: Vec<(Spot, String)>,
}

/// A [`Diagnostic`] for programs: what `--json` prints. Where there is no place, `file`, `line` and `column`
/// are left out.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Listed<'a> {
    /// How much it matters.
    pub level: Level,
    /// What sort of fault it is.
    pub kind: FaultKind,
    /// The place, where there is one.
    #[serde(flatten)]
    pub place: Option<Place<'a>>,
    /// What is wrong.
    pub title: &'a str,
    /// A few words on the place; may be empty.
    pub label: &'a str,
    /// What to write instead.
    pub help: Option<&'a str>,
    /// Other places that have to do with it.
    pub also: Vec<ListedAlso<'a>>,
}

/// A place that has to do with a [`Listed`] fault.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct ListedAlso<'a> {
    /// The place.
    #[serde(flatten)]
    pub place: Option<Place<'a>>,
    /// A few words on it.
    pub label: &'a str,
}

/// A file, a line and a column.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
pub struct Place<'a> {
    /// The file's path as the user would write it.
    pub file: &'a str,
    /// Line, from 1.
    pub line: usize,
    /// Column in characters, from 1.
    pub column: usize,
}

impl<'a> Place<'a> {
    /// The file as the set names it, without the folder in which the set lies.
    #[must_use]
    pub fn beside_the_set(&self, sources: &'a [Source]) -> &'a str {
        beside_the_set(self.file, sources)
    }
}

/// The path of a file as the set names it, without the folder in which the set lies; `sources` are those of the set, itself
/// first.
#[must_use]
pub fn beside_the_set<'p>(path: &'p str, sources: &[Source]) -> &'p str {
    let set = sources.first().map_or("", |set| set.path.as_str());
    let Some((folder, _)) = set.rsplit_once(is_separator).filter(|(folder, _)| !folder.is_empty()) else { return path };
    path.strip_prefix(folder).and_then(|within| within.strip_prefix(is_separator)).unwrap_or(path)
}

impl Spot {
    /// The file, line and column of this spot's start, for messages without a picture of the line.
    #[must_use]
    pub fn place(self, sources: &[Source]) -> Option<Place<'_>> {
        let source = sources.get(self.file)?;
        let before = &source.text[..boundary(&source.text, self.start)];
        let line_start = before.rfind('\n').map_or(0, |newline| newline + 1);
        Some(Place {
            file: &source.path,
            line: before.matches('\n').count() + 1,
            column: before[line_start..].chars().count() + 1,
        })
    }
}

impl Diagnostic {
    /// An error at a place. The title becomes a sentence: its capital letter and its full stop are put there.
    #[must_use]
    pub fn error(kind: FaultKind, spot: impl Into<Option<Spot>>, title: impl Into<String>) -> Self {
        Self::new(Level::Error, kind, spot.into(), title.into())
    }

    /// A hint at a place.
    #[must_use]
    pub fn hint(spot: impl Into<Option<Spot>>, title: impl Into<String>) -> Self {
        Self::new(Level::Hint, FaultKind::Finding, spot.into(), title.into())
    }

    fn new(level: Level, kind: FaultKind, spot: Option<Spot>, title: String) -> Self {
        let title = sentence(&title);
        Self { level, kind, spot, title, label: String::new(), help: None, also: Vec::new() }
    }

    /// With a few words beside the mark.
    #[must_use]
    pub fn label(mut self, label: impl Into<String>) -> Self {
        self.label = label.into();
        self
    }

    /// With what to write instead.
    #[must_use]
    pub fn help(mut self, help: impl Into<String>) -> Self {
        self.help = Some(help.into());
        self
    }

    /// With another place that has to do with it.
    #[must_use]
    pub fn also(mut self, spot: Spot, label: impl Into<String>) -> Self {
        self.also.push((spot, label.into()));
        self
    }

    /// As a program reads it.
    #[must_use]
    pub fn listed<'a>(&'a self, sources: &'a [Source]) -> Listed<'a> {
        let also = |(spot, label): &'a (Spot, String)| ListedAlso { place: spot.place(sources), label };
        Listed {
            level: self.level,
            kind: self.kind,
            place: self.spot.and_then(|spot| spot.place(sources)),
            title: &self.title,
            label: &self.label,
            help: self.help.as_deref(),
            also: self.also.iter().map(also).collect(),
        }
    }
}

/// A text as a sentence: with a capital letter, and a full stop.
pub(super) fn sentence(text: &str) -> String {
    let mut letters = text.chars();
    let first = letters.next().map(|first| first.to_uppercase().to_string()).unwrap_or_default();
    let stop = if text.ends_with(['.', '?', '!']) { "" } else { "." };
    format!("{first}{}{stop}", letters.as_str())
}

/// The nearest start of a character at or before `at`, so that no cut falls inside one.
pub(super) fn boundary(text: &str, at: usize) -> usize {
    let mut at = at.min(text.len());
    while !text.is_char_boundary(at) {
        at -= 1;
    }
    at
}

/// A text from a map in quotation marks, cut where it is long and without what would disturb a terminal.
pub(crate) fn quoted(text: &str) -> String {
    const LONGEST: usize = 60;
    let shown = clean(&text.chars().take(LONGEST).collect::<String>());
    let more = if text.chars().nth(LONGEST).is_some() { "…" } else { "" };
    format!("\"{shown}{more}\"")
}

/// Several names for a sentence: `"a", "b" and 3 more`.
pub(super) fn several<'n>(names: impl Iterator<Item = &'n str>) -> String {
    const MOST: usize = 12;
    let names: Vec<String> = names.map(quoted).collect();
    match names.len() {
        0 => "none".to_owned(),
        n if n > MOST => format!("{} and {} more", names[..MOST].join(", "), n - MOST),
        _ => names.join(", "),
    }
}

/// What to write, where one known name is near.
pub(super) fn did_you_mean(near: &str) -> String {
    format!("did you mean {}?", quoted(near))
}

/// A choice among names: `one of "a", "b"`, or the only one.
pub(super) fn one_of<'n>(names: impl Iterator<Item = &'n str> + Clone) -> String {
    let several = several(names.clone());
    if names.count() > 1 { format!("one of {several}") } else { several }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn source(text: &str) -> Vec<Source> {
        vec![Source { path: "a.toml".to_owned(), text: text.to_owned() }]
    }

    #[test]
    fn programs_get_lines_and_columns_from_one_in_characters() {
        let sources = source("a = 1\nü = \"ö\"\n");
        let spot = Spot { file: 0, start: 12, end: 16 };
        let found = Diagnostic::error(FaultKind::Finding, spot, "something is wrong").label("here").help("x");
        let json = serde_json::to_string(&found.listed(&sources)).unwrap();
        let expected = r#"{"level":"error","kind":"finding","file":"a.toml","line":2,"column":6,"title":"Something is wrong.","label":"here","help":"x","also":[]}"#;
        assert_eq!(json, expected);
    }

    #[test]
    fn names_are_quoted_without_what_disturbs_a_terminal() {
        assert_eq!(quoted("a\u{1b}[1m"), "\"a\u{fffd}[1m\"");
        assert_eq!(quoted(&"é".repeat(70)), format!("\"{}…\"", "é".repeat(60)));
    }
}
