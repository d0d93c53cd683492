//! The pictures of the documents that the program draws are what it draws now, and their links lead somewhere.

use std::fs;
use std::path::{Path, PathBuf};

#[path = "../examples/hand_picture/picture.rs"]
mod picture;

#[test]
fn one_hand_is_drawn_from_the_demo_take() {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let path = |name: &str| root.join(name).to_str().expect("a path").to_owned();
    let drawn = picture::drawn(&path("maps/midwinter.toml"), &path("maps/takes/frost-on-the-window.mid"), "pad")
        .expect("drawn");
    let kept = std::fs::read_to_string(root.join("docs/pictures/one-hand.svg")).expect("a picture");
    assert!(kept.trim_end() == drawn, "docs/pictures/one-hand.svg is out of date: see examples/hand_picture/main.rs");
    // A bar for each key of the four chords and of the tune, and for each note of the pad.
    let drawing = roxmltree::Document::parse(&drawn).expect("well-formed");
    let notes = drawing.descendants().filter(|element| element.attribute("class") == Some("note"));
    assert!(notes.count() > 20);
}

/// The documents of the project.
fn documents() -> Vec<PathBuf> {
    let root = Path::new(env!("CARGO_MANIFEST_DIR"));
    let folders = [root.to_owned(), root.join("docs"), root.join("docs/tasks")];
    let files = folders.iter().flat_map(|folder| fs::read_dir(folder).expect("a folder"));
    let paths = files.map(|file| file.expect("a file").path());
    paths.filter(|path| path.extension().is_some_and(|ending| ending == "md")).collect()
}

/// What a heading is called in a link: its letters small, with a dash for each blank and no other sign, as the hosts of
/// such documents have it (common practice).
fn anchors(text: &str) -> Vec<String> {
    let headings = text.lines().filter(|line| line.starts_with('#'));
    let letters = |heading: &str| {
        let bare = heading.trim_start_matches('#').trim().to_lowercase();
        bare.chars().filter(|letter| letter.is_alphanumeric() || "-_ ".contains(*letter)).collect::<String>()
    };
    headings.map(|heading| letters(heading).replace(' ', "-")).collect()
}

/// A document without what stands in blocks of code.
fn without_code(text: &str) -> String {
    text.split("\n```").step_by(2).collect::<Vec<_>>().join("\n")
}

#[test]
fn every_link_of_the_documents_leads_somewhere() {
    let mut followed = 0;
    for path in documents() {
        let text = fs::read_to_string(&path).expect("a document");
        for link in without_code(&text).split("](").skip(1).filter_map(|rest| rest.split(')').next()) {
            if link.contains("://") || link.contains(char::is_whitespace) {
                continue;
            }
            let (file, anchor) = link.split_once('#').unwrap_or((link, ""));
            let target = if file.is_empty() { path.clone() } else { path.parent().expect("a folder").join(file) };
            assert!(target.exists(), "{}: {link} leads nowhere", path.display());
            let is_there =
                || anchors(&fs::read_to_string(&target).expect("a document")).iter().any(|known| known == anchor);
            assert!(anchor.is_empty() || is_there(), "{}: {link} has no such heading", path.display());
            followed += 1;
        }
    }
    assert!(followed > 80, "{followed} links were found");
}
