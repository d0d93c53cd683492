//! Every message about a map, spelled out: each file in `tests/diagnostics` holds maps and what is said of them.
//!
//! A case is a text with parts, each under a line `--- NAME`: the files `set.toml`, `gear.toml` and others, then
//! `--- says` with all diagnostics, a blank line between. What stands before the first part is a remark. Of
//! `set.toml`, `gear.toml` and `song.toml`, those that a case leaves out are plain and faultless ones.
//! `SPELL=1 cargo test --test map_diagnostics` writes what is said into the cases, to be read before it is kept.

use std::fmt::Write as _;
use std::io;
use std::path::Path;

use handspan::map::{Loaded, load};

const PLAIN: [(&str, &str); 3] = [
    (
        "set.toml",
        "title = \"Evening\"\ngear = \"gear.toml\"\n[singers.guest]\nrange = [\"G3\", \"D5\"]\n[[song]]\nmap = \"song.toml\"\n",
    ),
    (
        "gear.toml",
        "[inputs.keyboard]\nport = \"piano\"\n[outputs.keys]\nvirtual = true\n[sounds.grand]\noutput = \"keys\"\nchannel = 1\n\
         [curves]\ngentle = { gamma = 0.7 }\n",
    ),
    ("song.toml", "title = \"Snow\"\nkey = \"D\"\n[[zone]]\nsound = \"grand\"\n"),
];

struct Case<'t> {
    maps: Vec<(&'t str, &'t str)>,
    says: &'t str,
    /// Everything before what is said.
    given: &'t str,
}

fn parse<'t>(name: &Path, text: &'t str) -> Case<'t> {
    let (given, says) = text.split_once("--- says\n").unwrap_or_else(|| panic!("{name:?} has no part that says"));
    let mut maps: Vec<(&str, &str)> = Vec::new();
    let mut part: Option<(&str, usize)> = None;
    let mut at = 0;
    for line in given.split_inclusive('\n') {
        if let Some(file) = line.strip_prefix("--- ") {
            maps.extend(part.map(|(file, from)| (file, &given[from..at])));
            part = Some((file.trim_end(), at + line.len()));
        }
        at += line.len();
    }
    maps.extend(part.map(|(file, from)| (file, &given[from..])));
    for (file, plain) in PLAIN {
        if !maps.iter().any(|(known, _)| *known == file) {
            maps.push((file, plain));
        }
    }
    Case { maps, says, given }
}

fn said(case: &Case<'_>) -> String {
    let mut read = |path: &str| match case.maps.iter().find(|(file, _)| *file == path) {
        Some((_, text)) if text.trim() == "(a folder)" => Err(io::ErrorKind::IsADirectory.into()),
        Some((_, text)) if text.trim() == "(forbidden)" => Err(io::ErrorKind::PermissionDenied.into()),
        Some((_, text)) if text.trim() == "(absent)" => Err(io::ErrorKind::NotFound.into()),
        Some((_, text)) if text.trim() == "(no disk)" => Err(io::Error::other("the disk does not answer")),
        // What an editor writes that is set to Latin 1.
        Some((_, text)) if text.contains("(latin 1)") => {
            Ok(text.replace("(latin 1)", "\u{0}").bytes().map(|b| if b == 0 { 0xE9 } else { b }).collect())
        }
        Some((_, text)) => Ok(text.as_bytes().to_vec()),
        None => Err(io::ErrorKind::NotFound.into()),
    };
    let Loaded { book, sources, diagnostics } = load("set.toml", &mut read);
    assert_eq!(book.is_some(), diagnostics.is_empty());
    let mut said = String::new();
    for diagnostic in &diagnostics {
        let shown = diagnostic.render(&sources, false);
        let lines: Vec<&str> = shown.lines().map(str::trim_end).collect();
        let kind = serde_json::to_value(diagnostic.kind).unwrap();
        writeln!(said, "{}\n({})\n", lines.join("\n"), kind.as_str().unwrap()).unwrap();
    }
    assert!(!said.contains(" = …\n"), "a field without an example:\n{said}");
    format!("{}\n", said.trim_end())
}

#[test]
fn every_message_is_as_spelled_out() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/diagnostics");
    let mut files: Vec<_> = std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    files.sort();
    assert!(files.len() > 10, "the cases are gone");
    let mut wrong = String::new();
    for file in files {
        let text = std::fs::read_to_string(&file).unwrap();
        let case = parse(&file, &text);
        let said = said(&case);
        if said != case.says {
            if std::env::var_os("SPELL").is_some() {
                std::fs::write(&file, format!("{}--- says\n{said}", case.given)).unwrap();
            }
            let name = file.file_name().unwrap().to_string_lossy();
            writeln!(wrong, "== {name} should say\n{}== but says\n{said}", case.says).unwrap();
        }
    }
    assert!(wrong.is_empty(), "\n{wrong}");
}
