//! Every message about a map, spelled out: each file in `tests/diagnostics` holds maps and what is said of them.
//!
//! Cases are as in `spelled`, each diagnostic with its kind, a blank line between. Of `set.toml`, `gear.toml` and
//! `song.toml`, those that a case leaves out are plain and faultless ones.
//! `SPELL=1 cargo test --test map_diagnostics` writes what is said into the cases, to be read before it is kept.

mod spelled;

use std::fmt::Write as _;
use std::io;

use handspan::map::{Beside, Loaded, load};
use spelled::{Case, hold, shown};

const PLAIN: [(&str, &str); 3] = [
    (
        "set.toml",
        "title = \"Evening\"\ngear = \"gear.toml\"\n[singers.guest]\nrange = [\"G3\", \"D5\"]\n[[song]]\nmap = \"song.toml\"\n",
    ),
    (
        "gear.toml",
        "[inputs.keyboard]\nport = \"piano\"\n[outputs.keys]\nvirtual = true\n[sounds.grand]\noutput = \"keys\"\nchannel = 1\n\
         [curves]\ngentle = { lighter = 26 }\n",
    ),
    ("song.toml", "title = \"Snow\"\nkey = \"D\"\n[[zone]]\nsound = \"grand\"\n"),
];

fn said(case: &Case<'_>) -> String {
    let mut read = |path: &str| match case.part(path) {
        Some(text) if text.trim() == "(a folder)" => Err(io::ErrorKind::IsADirectory.into()),
        Some(text) if text.trim() == "(forbidden)" => Err(io::ErrorKind::PermissionDenied.into()),
        Some(text) if text.trim() == "(absent)" => Err(io::ErrorKind::NotFound.into()),
        Some(text) if text.trim() == "(no disk)" => Err(io::Error::other("the disk does not answer")),
        Some(text) if text.trim() == "(a document)" => Ok(b"PK\x03\x04\x14\x00\x06\x00\x08\xFF".to_vec()),
        Some(text) if text.trim() == "(a take)" => Ok(b"MThd\x00\x00\x00\x06\x00\x00\x00\x01\x01\xE0".to_vec()),
        Some(text) if text.trim() == "(UTF-16)" => {
            Ok("\u{feff}title".encode_utf16().flat_map(u16::to_le_bytes).collect())
        }
        // What an editor writes that is set to Latin 1.
        Some(text) if text.contains("(latin 1)") => {
            Ok(text.replace("(latin 1)", "\u{0}").bytes().map(|b| if b == 0 { 0xE9 } else { b }).collect())
        }
        Some(text) => Ok(text.as_bytes().to_vec()),
        None => {
            let files =
                case.parts.iter().map(|(file, _)| *file).filter(|file| file.contains('/') == path.contains('/'));
            let files = files.filter_map(|file| file.rsplit('/').next()).map(str::to_owned);
            Err(io::Error::new(io::ErrorKind::NotFound, Beside(files.collect())))
        }
    };
    let Loaded { book, sources, diagnostics } = load("set.toml", &mut read);
    assert_eq!(book.is_some(), diagnostics.is_empty());
    let mut said = String::new();
    for diagnostic in &diagnostics {
        let kind = serde_json::to_value(diagnostic.kind).unwrap();
        writeln!(said, "{}\n({})\n", shown(diagnostic, &sources), kind.as_str().unwrap()).unwrap();
    }
    assert!(![" = …\n", " = ….\n"].iter().any(|empty| said.contains(empty)), "a field without an example:\n{said}");
    said
}

#[test]
fn every_message_is_as_spelled_out() {
    hold("diagnostics", &PLAIN, said);
}
