//! What must hold for every page, whatever stands on it.

use std::sync::{Arc, OnceLock};

use resvg::usvg::fontdb::Database;
use resvg::usvg::{Group, Node, Options, Rect, Tree};

/// Colours that a page in black and white may have.
const INKS: [&str; 5] = ["black", "white", "none", "#888", "#999"];
/// Letters may come so near, in millimetres: an accent, or a descender, under the line above.
const NEAR: f32 = 0.35;

fn fonts() -> Arc<Database> {
    static FONTS: OnceLock<Arc<Database>> = OnceLock::new();
    let load = || {
        let mut fonts = Database::new();
        fonts.load_system_fonts();
        assert!(!fonts.is_empty(), "the system has no font: run tests/prepare");
        // The widest of the usual faces: what holds here holds with the others.
        fonts.set_sans_serif_family("DejaVu Sans");
        fonts.set_serif_family("DejaVu Sans");
        Arc::new(fonts)
    };
    Arc::clone(FONTS.get_or_init(load))
}

/// Nothing from elsewhere, nothing that a strict content policy refuses, no colour.
#[track_caller]
fn check_elements(name: &str, read: &roxmltree::Document<'_>) {
    for node in read.descendants().filter(roxmltree::Node::is_element) {
        let tag = node.tag_name().name();
        assert!(!matches!(tag, "script" | "link" | "image" | "use" | "iframe" | "foreignObject"), "{name}: <{tag}>");
        for attribute in node.attributes() {
            let (what, value) = (attribute.name(), attribute.value());
            assert!(!matches!(what, "href" | "src" | "style" | "id") && !what.starts_with("on"), "{name}: {what}");
            if matches!(what, "fill" | "stroke") {
                assert!(INKS.contains(&value), "{name}: {what} is {value}");
            }
            // Names may hold any words; what is drawn with may not.
            if !matches!(what, "aria-label" | "data-zone" | "content") {
                assert!(!value.contains("url(") && !value.contains("://"), "{name}: {what} is {value}");
            }
        }
    }
}

/// An SVG page holds.
#[track_caller]
pub fn check_svg(name: &str, svg: &str) {
    let read = roxmltree::Document::parse(svg).unwrap_or_else(|error| panic!("{name}: {error}"));
    check_elements(name, &read);
    assert!(!read.descendants().any(|node| node.tag_name().name() == "style"), "{name} has a stylesheet");
    let tree = Tree::from_str(svg, &Options { fontdb: fonts(), ..Options::default() }).expect("usvg reads it");
    let mut texts = Vec::new();
    collect(tree.root(), &mut texts);
    // A page is 210 × 297 mm; usvg has 96 dots to the inch.
    let millimetre = tree.size().width() / 210.0;
    let edge = 11.0 * millimetre;
    for (place, (words, inked)) in texts.iter().enumerate() {
        let inside = inked.left() >= edge
            && inked.top() >= edge
            && inked.right() <= tree.size().width() - edge
            && inked.bottom() <= tree.size().height() - edge;
        assert!(inside, "{name}: {words:?} leaves the page: {inked:?}");
        for (others, other) in &texts[..place] {
            let over = inked.left().max(other.left()) + NEAR * millimetre < inked.right().min(other.right())
                && inked.top().max(other.top()) + NEAR * millimetre < inked.bottom().min(other.bottom());
            assert!(!over, "{name}: {words:?} lies over {others:?}: {inked:?} {other:?}");
        }
    }
}

/// Every text with the box of its ink.
fn collect(group: &Group, texts: &mut Vec<(String, Rect)>) {
    for node in group.children() {
        match node {
            Node::Group(group) => collect(group, texts),
            Node::Text(text) => {
                let words = text.chunks().iter().map(|chunk| chunk.text()).collect();
                texts.push((words, text.flattened().abs_bounding_box()));
            }
            _ => {}
        }
    }
}

/// An HTML page holds; it is written so that a reader of XML can read it too.
#[track_caller]
pub fn check_html(name: &str, html: &str) {
    let options = roxmltree::ParsingOptions { allow_dtd: true, ..Default::default() };
    let read = roxmltree::Document::parse_with_options(html, options).unwrap_or_else(|error| panic!("{name}: {error}"));
    check_elements(name, &read);
    let root = read.root_element();
    assert!(root.has_attribute("lang"));
    let policy = read.descendants().find(|node| node.attribute("http-equiv") == Some("Content-Security-Policy"));
    let policy = policy.and_then(|node| node.attribute("content"));
    assert_eq!(policy, Some("default-src 'none'; style-src 'unsafe-inline'"), "{name}");
    let styles: Vec<&str> =
        read.descendants().filter(|node| node.tag_name().name() == "style").filter_map(|node| node.text()).collect();
    let [style] = styles[..] else { panic!("{name} has {} stylesheets", styles.len()) };
    for needed in ["@page", "break-inside: avoid"] {
        assert!(style.contains(needed), "{name}'s stylesheet has no {needed}");
    }
    assert!(!style.contains("url(") && !style.contains("@import"));
    for word in style.split(|letter: char| !letter.is_ascii_alphanumeric() && letter != '#') {
        let is_colour = word.starts_with('#') || matches!(word, "red" | "blue" | "green" | "rgb" | "hsl" | "orange");
        assert!(!is_colour || INKS.contains(&word), "{name}'s stylesheet has the colour {word}");
    }
    let count = |tag: &str| read.descendants().filter(|node| node.tag_name().name() == tag).count();
    assert_eq!((count("h1"), count("title") > 0, count("table") > 0), (1, true, true), "{name}");
}
