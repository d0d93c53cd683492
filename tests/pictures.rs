//! The pictures of the documents that the program draws are what it draws now.

use std::path::Path;

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
