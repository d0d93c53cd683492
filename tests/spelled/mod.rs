//! Cases that spell out what is said of maps, for several tests.
//!
//! A case is a text with parts, each under a line `--- NAME`: the files `set.toml`, `gear.toml` and others, then
//! `--- says` with all that is said. What stands before the first part is a remark. Plain maps stand in for those that a
//! case leaves out. With `SPELL=1` in the environment what is said is written into the cases, to be read before it is
//! kept.

use std::fmt::Write as _;
use std::path::Path;

use handspan::map::{Diagnostic, Source};

/// A file's name and its text.
pub type Part<'t> = (&'t str, &'t str);

/// What a case gives.
pub struct Case<'t> {
    /// Its parts, and the plain maps that it leaves out.
    pub parts: Vec<Part<'t>>,
}

impl<'t> Case<'t> {
    fn new(given: &'t str, plain: &[Part<'static>]) -> Case<'t> {
        let mut parts: Vec<Part<'t>> = Vec::new();
        let mut part: Option<(&str, usize)> = None;
        let mut at = 0;
        for line in given.split_inclusive('\n') {
            if let Some(file) = line.strip_prefix("--- ") {
                parts.extend(part.map(|(file, from)| (file, &given[from..at])));
                part = Some((file.trim_end(), at + line.len()));
            }
            at += line.len();
        }
        parts.extend(part.map(|(file, from)| (file, &given[from..])));
        for (file, text) in plain {
            if !parts.iter().any(|(known, _)| known == file) {
                parts.push((file, text));
            }
        }
        Case { parts }
    }

    /// The text of a part.
    pub fn part(&self, name: &str) -> Option<&'t str> {
        self.parts.iter().find(|(file, _)| *file == name).map(|(_, text)| *text)
    }
}

/// A diagnostic as a person reads it, without blanks at the ends of lines.
pub fn shown(diagnostic: &Diagnostic, sources: &[Source]) -> String {
    let shown = diagnostic.render(sources, false);
    shown.lines().map(str::trim_end).collect::<Vec<_>>().join("\n")
}

/// Holds every case of a folder below `tests` to what `said` says of it.
pub fn hold(folder: &str, plain: &[Part<'static>], said: impl Fn(&Case<'_>) -> String) {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests").join(folder);
    let mut files: Vec<_> = std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    files.sort();
    assert!(files.len() > 10, "the cases are gone");
    let mut wrong = String::new();
    for file in files {
        let text = std::fs::read_to_string(&file).unwrap();
        let (given, says) = text.split_once("--- says\n").unwrap_or_else(|| panic!("{file:?} has no part that says"));
        let said = said(&Case::new(given, plain));
        let said = format!("{}\n", said.trim_end());
        if said != says {
            if std::env::var_os("SPELL").is_some() {
                std::fs::write(&file, format!("{given}--- says\n{said}")).unwrap();
            }
            let name = file.file_name().unwrap().to_string_lossy();
            writeln!(wrong, "== {name} should say\n{says}== but says\n{said}").unwrap();
        }
    }
    assert!(wrong.is_empty(), "\n{wrong}");
}
