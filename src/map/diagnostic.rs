//! What is wrong with a map, and how it is shown: to a person with the line underlined, to a program as numbers.

use annotate_snippets::{AnnotationKind, Group, Renderer, Snippet};
use serde::Serialize;

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
pub enum Kind {
    /// A file that cannot be read as such a map at all: missing, broken, or with fields that it cannot have.
    Unreadable,
    /// Readable, but it does not add up: names that lead nowhere, keys that disagree and the like.
    Finding,
}

/// One thing that is wrong, in the player's words.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Diagnostic {
    /// How much it matters.
    pub level: Level,
    /// What sort of fault it is.
    pub kind: Kind,
    /// Where; `None` if there is no text to point at.
    pub spot: Option<Spot>,
    /// What is wrong, in one sentence.
    pub title: String,
    /// A few words under the underlined place; may be empty.
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
    pub kind: Kind,
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
    /// An error at a place.
    #[must_use]
    pub fn error(kind: Kind, spot: impl Into<Option<Spot>>, title: impl Into<String>) -> Self {
        Self::new(Level::Error, kind, spot.into(), title.into())
    }

    /// A hint at a place.
    #[must_use]
    pub fn hint(spot: impl Into<Option<Spot>>, title: impl Into<String>) -> Self {
        Self::new(Level::Hint, Kind::Finding, spot.into(), title.into())
    }

    fn new(level: Level, kind: Kind, spot: Option<Spot>, title: String) -> Self {
        Self { level, kind, spot, title, label: String::new(), help: None, also: Vec::new() }
    }

    /// With a few words under the underlined place.
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

    /// As a person reads it: title, file, line and column, the line underlined, what to write instead.
    /// Ends without a newline.
    #[must_use]
    pub fn render(&self, sources: &[Source], colour: bool) -> String {
        use annotate_snippets::Level as Shown;
        let level = match self.level {
            Level::Error => Shown::ERROR,
            Level::Hint => Shown::INFO.with_name("hint"),
        };
        let mut group = Group::with_title(level.primary_title(self.title.as_str()));
        for snippet in self.snippets(sources) {
            group = group.element(snippet);
        }
        if let Some(help) = &self.help {
            group = group.element(Shown::HELP.message(help.as_str()));
        }
        let renderer = if colour { Renderer::styled() } else { Renderer::plain() };
        // A map may hold C1 control characters, which TOML allows and the renderer lets through; terminals obey them.
        renderer.render(&[group]).replace(|c| ('\u{80}'..='\u{9f}').contains(&c), "\u{fffd}")
    }

    /// One picture per file that is pointed at, the fault's own file first.
    fn snippets<'a>(&'a self, sources: &'a [Source]) -> Vec<Snippet<'a, annotate_snippets::Annotation<'a>>> {
        let mut marks: Vec<(Spot, &str, AnnotationKind)> = Vec::new();
        marks.extend(self.spot.map(|spot| (spot, self.label.as_str(), AnnotationKind::Primary)));
        marks.extend(self.also.iter().map(|(spot, label)| (*spot, label.as_str(), AnnotationKind::Context)));
        let mut files: Vec<usize> = Vec::new();
        for (spot, ..) in &marks {
            if !files.contains(&spot.file) {
                files.push(spot.file);
            }
        }
        let picture = |file: usize| {
            let source = sources.get(file)?;
            let marked = marks.iter().filter(|(spot, ..)| spot.file == file).map(|(spot, label, kind)| {
                let start = boundary(&source.text, spot.start);
                // An empty place is shown as its first character, if there is one on the line.
                let next = source.text[start..].chars().next().filter(|c| !c.is_control());
                let end = boundary(&source.text, spot.end).max(start + next.map_or(0, char::len_utf8));
                kind.span(start..end).label(Some(*label).filter(|label| !label.is_empty()))
            });
            Some(Snippet::source(source.text.as_str()).path(source.path.as_str()).annotations(marked))
        };
        files.into_iter().filter_map(picture).collect()
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

/// The nearest start of a character at or before `at`, so that no cut falls inside one.
fn boundary(text: &str, at: usize) -> usize {
    let mut at = at.min(text.len());
    while !text.is_char_boundary(at) {
        at -= 1;
    }
    at
}

/// A text from a map in quotation marks, cut where it is long and without what would disturb a terminal.
pub(super) fn quoted(text: &str) -> String {
    const LONGEST: usize = 60;
    let shown: String =
        text.chars().take(LONGEST).map(|c| if c.is_control() { char::REPLACEMENT_CHARACTER } else { c }).collect();
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

    fn at(start: usize, end: usize) -> Diagnostic {
        Diagnostic::error(Kind::Finding, Spot { file: 0, start, end }, "Something is wrong.").label("here").help("x")
    }

    #[test]
    fn awkward_places_are_shown_without_a_panic() {
        let long = format!("key = \"{}\" # ü\ttab", "x".repeat(3000));
        let texts = ["", "\n", "a", "ü\u{301}\t\"𝄞\"\r\nb", "\u{feff}x = 1", "a\0b\u{1b}[1m", long.as_str(), "a\n\n\n"];
        for text in texts {
            for start in (0..=text.len().min(40)).chain([text.len(), text.len() + 9]) {
                for end in [start, start + 1, start + 3, text.len(), usize::MAX] {
                    for colour in [false, true] {
                        assert!(at(start, end).render(&source(text), colour).contains("Something is wrong."));
                    }
                    let _ = at(start, end).listed(&source(text));
                }
            }
        }
    }

    #[test]
    fn no_character_of_a_map_commands_the_terminal() {
        let controls: String = ('\0'..='\u{9f}').filter(|c| c.is_control() && *c != '\n').collect();
        let shown = at(1, 2).render(&source(&format!("a{controls}b\u{202e}c\u{9b}2J")), false);
        assert!(shown.chars().all(|c| c == '\n' || !c.is_control()), "{shown:?}");
        assert!(!shown.contains('\u{202e}'), "{shown:?}");
    }

    #[test]
    fn without_a_file_only_the_sentence_is_shown() {
        let lone = Diagnostic::error(Kind::Unreadable, None, "There is no set.");
        assert_eq!(lone.render(&[], false), "error: There is no set.");
        let elsewhere = Diagnostic::hint(Spot { file: 7, start: 1, end: 2 }, "Odd.");
        assert_eq!(elsewhere.render(&[], false), "hint: Odd.");
    }

    #[test]
    fn programs_get_lines_and_columns_from_one_in_characters() {
        let sources = source("a = 1\nü = \"ö\"\n");
        let found = at(12, 16);
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
