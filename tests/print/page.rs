//! What must hold for both files, whatever stands in them.

use super::pdf::{Page, WrittenText};

/// Colours that a page in black and white may have.
const INKS: [&str; 5] = ["black", "white", "none", "#888", "#999"];
/// Letters may come so near, in millimetres: an accent, or a descender, under the line above.
const NEAR: f64 = 0.35;

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

/// The pages of a PDF hold: no letter lies outside or over another.
#[track_caller]
pub fn check_pages(name: &str, pages: &[Page]) {
    for (number, page) in pages.iter().enumerate() {
        check_page(&format!("{name}, page {}", number + 1), page);
    }
}

#[track_caller]
fn check_page(name: &str, page: &Page) {
    const EDGE: f64 = 9.0;
    for (place, text) in page.texts.iter().enumerate() {
        let WrittenText { words, left, top, right, bottom } = text;
        let inside = *left >= EDGE && *top >= EDGE && *right <= 210.0 - EDGE && *bottom <= 297.0 - EDGE;
        assert!(inside, "{name}: {words:?} leaves the page: {text:?}");
        for other in &page.texts[..place] {
            let over = left.max(other.left) + NEAR < right.min(other.right)
                && top.max(other.top) + NEAR < bottom.min(other.bottom);
            assert!(!over, "{name}: {words:?} lies over {:?}: {text:?} {other:?}", other.words);
        }
    }
    for shade in &page.shades {
        assert!((0.0..=1.0).contains(shade), "{name}: {shade}");
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
    for needed in ["@page", "break-inside: avoid", "break-before: page"] {
        assert!(style.contains(needed), "{name}'s stylesheet has no {needed}");
    }
    assert!(!style.contains("url(") && !style.contains("@import"));
    for word in style.split(|letter: char| !letter.is_ascii_alphanumeric() && letter != '#') {
        let is_colour = word.starts_with('#') || matches!(word, "red" | "blue" | "green" | "rgb" | "hsl" | "orange");
        assert!(!is_colour || INKS.contains(&word), "{name}'s stylesheet has the colour {word}");
    }
    let count = |tag: &str| read.descendants().filter(|node| node.tag_name().name() == tag).count();
    assert_eq!((count("h1"), count("title") > 0, count("table") > 0), (1, true, true), "{name}");
    let sheets = read
        .descendants()
        .filter(|node| node.attribute("class").is_some_and(|class| class.split(' ').any(|class| class == "sheet")));
    // The front page has the first heading, each sheet one of the second rank.
    assert_eq!(sheets.count(), 1 + count("h2"), "{name}");
}
