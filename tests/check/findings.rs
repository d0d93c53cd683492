//! Every finding on a set, spelled out: each file in `tests/findings` holds maps and what is found in them.
//!
//! Cases are as in `spelled`, a blank line between findings. A part `ports` holds the ports that are there, one a
//! line: `inputs.keyboard: one "A" serial "7"`, and asks for the findings on them too. Of `set.toml`, `gear.toml` and
//! `song.toml`, those that a case leaves out are plain ones without a finding.
//! `SPELL=1 cargo test --test check` writes what is said into the cases, to be read before it is kept.

use std::io;
use std::path::Path;

use crate::spelled::{Case, hold, shown};
use handspan::check::{PortMatch, PortMatches, SeenPort, findings, port_findings};
use handspan::map::{Book, Diagnostic, load};

const PLAIN: [(&str, &str); 3] = [
    ("set.toml", "title = \"Evening\"\ngear = \"gear.toml\"\n[[song]]\nmap = \"song.toml\"\n"),
    (
        "gear.toml",
        "[inputs.keyboard]\nport = \"piano\"\nkeys = [\"A0\", \"C8\"]\n[outputs.keys]\nvirtual = true\n\
         [sounds.grand]\noutput = \"keys\"\nchannel = 1\nprogram = 1\n",
    ),
    ("song.toml", "title = \"Snow\"\nkey = \"D\"\n[[zone]]\nsound = \"grand\"\n"),
];

/// A second sound of the plain gear, where a case uses it.
const WARM: &str = "[sounds.warm]\noutput = \"keys\"\nchannel = 2\nprogram = 90\n";

fn book(case: &Case<'_>) -> Book {
    let uses_warm = case.parts.iter().any(|(_, text)| text.contains("\"warm\""));
    let mut read = |path: &str| match case.part(path) {
        Some(text) if uses_warm && text == PLAIN[1].1 => Ok(format!("{text}{WARM}").into_bytes()),
        Some(text) => Ok(text.as_bytes().to_vec()),
        None => Err(io::ErrorKind::NotFound.into()),
    };
    let loaded = load("set.toml", &mut read);
    let said: Vec<String> = loaded.diagnostics.iter().map(|found| found.render(&loaded.sources, false)).collect();
    loaded.book.unwrap_or_else(|| panic!("a case does not load: {}", said.join("\n")))
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
            "impossible" => PortMatch::NoVirtualPorts,
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
    found.iter().map(|finding| format!("{}\n\n", shown(finding, &book.sources))).collect()
}

#[test]
fn every_finding_is_as_spelled_out() {
    hold("findings", &PLAIN, |case| {
        let book = book(case);
        let mut found = findings(&book);
        if let Some(text) = case.part("ports") {
            found.extend(port_findings(&book, &ports(&book, text)));
        }
        said(&book, &found)
    });
}

fn demo() -> Book {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    load("maps/midwinter.toml", &mut |path| std::fs::read(root.join(path))).book.unwrap()
}

#[test]
fn nothing_is_found_in_the_demo() {
    let book = demo();
    assert_eq!(said(&book, &findings(&book)), "");
}
