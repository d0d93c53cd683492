//! Every finding on a set, spelled out: each file in `tests/findings` holds maps and what is found in them.
//!
//! A case is a text with parts, each under a line `--- NAME`: the files `set.toml`, `gear.toml` and others, then
//! `--- says` with all findings, a blank line between. What stands before the first part is a remark. A part `ports`
//! holds the ports that are there, one a line: `inputs.keyboard: one "A" serial "7"`, and asks for the findings on them
//! too. Of `set.toml`, `gear.toml` and `song.toml`, those that a case leaves out are plain ones without a finding.
//! `SPELL=1 cargo test --test check` writes what is said into the cases, to be read before it is kept.

use std::fmt::Write as _;
use std::io;
use std::path::Path;

use handspan::check::{PortMatch, PortMatches, SeenPort, findings, port_findings};
use handspan::map::{Book, Diagnostic, load};

const PLAIN: [(&str, &str); 3] = [
    ("set.toml", "title = \"Evening\"\ngear = \"gear.toml\"\n[[song]]\nmap = \"song.toml\"\n"),
    (
        "gear.toml",
        "[inputs.keyboard]\nport = \"piano\"\nkeys = [\"A0\", \"C8\"]\n[outputs.keys]\nvirtual = true\n\
         [sounds.grand]\noutput = \"keys\"\nchannel = 1\nprogram = 1\n[sounds.warm]\noutput = \"keys\"\nchannel = 2\n\
         program = 90\n",
    ),
    ("song.toml", "title = \"Snow\"\nkey = \"D\"\n[[zone]]\nsound = \"grand\"\n"),
];

struct Case<'t> {
    parts: Vec<(&'t str, &'t str)>,
    says: &'t str,
    /// Everything before what is said.
    given: &'t str,
}

fn parse<'t>(name: &Path, text: &'t str) -> Case<'t> {
    let (given, says) = text.split_once("--- says\n").unwrap_or_else(|| panic!("{name:?} has no part that says"));
    let mut parts: Vec<(&str, &str)> = Vec::new();
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
    for (file, plain) in PLAIN {
        if !parts.iter().any(|(known, _)| *known == file) {
            parts.push((file, plain));
        }
    }
    Case { parts, says, given }
}

fn book(name: &Path, case: &Case<'_>) -> Book {
    let mut read = |path: &str| match case.parts.iter().find(|(file, _)| *file == path) {
        Some((_, text)) => Ok(text.as_bytes().to_vec()),
        None => Err(io::ErrorKind::NotFound.into()),
    };
    let loaded = load("set.toml", &mut read);
    let said: Vec<String> = loaded.diagnostics.iter().map(|found| found.render(&loaded.sources, false)).collect();
    loaded.book.unwrap_or_else(|| panic!("{name:?} does not load: {}", said.join("\n")))
}

/// `inputs.keyboard: one "A" serial "7", "B" at 24:0`.
fn ports(book: &Book, text: &str) -> PortMatches {
    let find = |table: &str, name: &str| -> PortMatch {
        let line = text.lines().find_map(|line| line.strip_prefix(&format!("{table}.{name}: ")));
        let line = line.unwrap_or_else(|| panic!("{table}.{name} is not among the ports"));
        let (kind, rest) = line.split_once(' ').unwrap_or((line, ""));
        let seen: Vec<SeenPort> = rest.split(", ").filter(|port| !port.is_empty()).map(seen).collect();
        match kind {
            "own" => PortMatch::Own,
            "one" => PortMatch::One(seen[0].clone()),
            "missing" => PortMatch::Missing(seen),
            "several" => PortMatch::Several(seen),
            _ => panic!("{line}"),
        }
    };
    PortMatches {
        inputs: book.gear.inputs.iter().map(|input| find("inputs", &input.name.value)).collect(),
        outputs: book.gear.outputs.iter().map(|output| find("outputs", &output.name.value)).collect(),
    }
}

fn seen(text: &str) -> SeenPort {
    let parts: Vec<&str> = text.split('"').collect();
    let serial = text.contains(" serial ").then(|| parts[3].to_owned());
    let address = text.split_once(" at ").map_or(String::new(), |(_, address)| address.to_owned());
    SeenPort { name: parts[1].to_owned(), address, serial }
}

fn said(book: &Book, found: &[Diagnostic]) -> String {
    let mut said = String::new();
    for diagnostic in found {
        let shown = diagnostic.render(&book.sources, false);
        let lines: Vec<&str> = shown.lines().map(str::trim_end).collect();
        writeln!(said, "{}\n", lines.join("\n")).unwrap();
    }
    format!("{}\n", said.trim_end())
}

#[test]
fn every_finding_is_as_spelled_out() {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("tests/findings");
    let mut files: Vec<_> = std::fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().path()).collect();
    files.sort();
    assert!(files.len() > 10, "the cases are gone");
    let mut wrong = String::new();
    for file in files {
        let text = std::fs::read_to_string(&file).unwrap();
        let case = parse(&file, &text);
        let book = book(&file, &case);
        let mut found = findings(&book);
        if let Some((_, text)) = case.parts.iter().find(|(name, _)| *name == "ports") {
            found.extend(port_findings(&book, &ports(&book, text)));
        }
        let said = said(&book, &found);
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

fn demo() -> Book {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    load("maps/midwinter.toml", &mut |path| std::fs::read(root.join(path))).book.unwrap()
}

#[test]
fn nothing_is_found_in_the_demo() {
    let book = demo();
    assert_eq!(said(&book, &findings(&book)), "\n");
}
