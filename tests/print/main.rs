//! What is printed: every page is well-formed, needs nothing from elsewhere, is black on white, and no letter on it lies
//! outside the page or over another. Measured with other libraries: roxmltree reads, usvg lays out the letters.

mod odd;
mod page;

use std::collections::BTreeMap;
use std::fs;
use std::path::Path;

use handspan::evening::{Keys, Standing};
use handspan::map::{self, Book};
use handspan::paper::Sheet;
use handspan::paper::drawing::{Keyboard, Now};
use page::{check_html, check_svg};

/// The set of these files; it must load.
fn book(set: &str, mut read: impl FnMut(&str) -> std::io::Result<Vec<u8>>) -> Book {
    let loaded = map::load(set, &mut read);
    let faults: Vec<String> = loaded.diagnostics.iter().map(|fault| fault.render(&loaded.sources, false)).collect();
    loaded.book.unwrap_or_else(|| panic!("the maps load, but:\n{}", faults.join("\n")))
}

fn demo() -> Book {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("maps");
    book("midwinter.toml", |path| fs::read(folder.join(path)))
}

fn sheets(book: &Book) -> Vec<Sheet> {
    let songs = (0..book.set.entries.len()).filter_map(|place| Sheet::of_song(book, place));
    songs.chain([Sheet::of_set(book)]).collect()
}

/// Checks every file of every sheet; gives how many pages there are of each.
#[track_caller]
fn check_all(book: &Book) -> BTreeMap<String, usize> {
    let mut pages = BTreeMap::new();
    for sheet in sheets(book) {
        check_html(&sheet.stem, &sheet.html());
        let svg = sheet.svg();
        svg.iter().enumerate().for_each(|(number, svg)| check_svg(&format!("{} {}", sheet.stem, number + 1), svg));
        assert!(pages.insert(sheet.stem.clone(), svg.len()).is_none(), "two sheets are called {}", sheet.stem);
    }
    pages
}

#[test]
fn the_demo_is_printed_without_a_fault() {
    let pages = check_all(&demo());
    assert_eq!(pages.len(), 12, "eleven songs and the set: {pages:?}");
    assert!(pages.values().all(|count| *count <= 2), "a song turns once at most: {pages:?}");
    assert!(!pages.keys().any(|stem| stem.starts_with("04") || stem.starts_with("09")), "a pause has none: {pages:?}");
}

#[test]
fn odd_sets_are_printed_without_a_fault() {
    for (name, maps) in odd::sets() {
        println!("{name}");
        let pages = check_all(&maps.book());
        assert!(!pages.is_empty());
    }
}

#[test]
fn what_a_substitute_needs_stands_on_both_papers() {
    let book = demo();
    let carry = Sheet::of_song(&book, 10).expect("a song");
    let wanted = [
        "Carry the Light",
        "11 of 13",
        "fingers",
        "room",
        "she counts it in",
        "guest",
        "76",
        "4/4",
        "Last chorus",
        "step 6 of 6, room in F",
        "voices",
        "→ pad, channel 3",
        "volume 90",
        "program 53",
        "desk 25-26",
        "within A3–A4, in Chorus",
        "-4.5 dB",
        "gentle: lighter 26",
        "talkback",
        "control 67 twice",
        "next song",
        "transport play",
        "as Verse begins",
        "song select 3",
        "as the song begins, 0.2 s later",
        "note C1 100 for 0.25 s, channel 16",
        "program 9, bank 0 1, channel 1",
    ];
    let svg = carry.svg().concat();
    let html = carry.html();
    for words in wanted {
        let parts: Vec<&str> = words.split(' ').collect();
        assert!(html.contains(words), "the HTML has no {words:?}");
        // On paper a long text may be broken into lines.
        assert!(svg.contains(words) || parts.iter().all(|part| svg.contains(part)), "the SVG has no {words:?}");
    }
    let set = Sheet::of_set(&book).html();
    for words in ["Welcome", "A reading", "hands off; the drone is enough", "F#m", "−3", "stage piano", "five-pin"] {
        assert!(set.contains(words), "the set's sheet has no {words:?}");
    }
}

#[test]
fn a_keyboard_of_this_moment_says_what_is_in_use() {
    let book = demo();
    let (entry, song) = (&book.set.entries[10], &book.songs[8]);
    assert_eq!(song.title.value, "Carry the Light");
    let keys = Keys::of(&book, entry, song);
    let input = &book.gear.inputs[0];
    let drawn = |section: usize, on: &dyn Fn(usize) -> bool| {
        let standing = Standing { section, ..Standing::default() };
        Keyboard::of(&book, song, &keys, input, Some(Now { standing: &standing, on })).svg()
    };
    let classes = |svg: &str| -> Vec<(String, String)> {
        let read = roxmltree::Document::parse(svg).expect("well-formed");
        let zones = read.descendants().filter(|node| node.attribute("data-zone").is_some());
        let named = |node: roxmltree::Node<'_, '_>, name| node.attribute(name).unwrap_or_default().to_owned();
        zones.map(|node| (named(node, "data-zone"), named(node, "class"))).collect()
    };
    let expect = |svg: &str, wanted: [&str; 3]| {
        let names = ["clip key", "grand", "voices"];
        let wanted: Vec<(String, String)> = names.iter().zip(wanted).map(|(a, b)| ((*a).into(), b.into())).collect();
        assert_eq!(classes(svg), wanted);
    };
    // The intro, then the chorus, and the last chorus, which is like it; then with the piano turned off.
    expect(&drawn(0, &|_| true), ["zone", "zone", "zone off"]);
    expect(&drawn(2, &|_| true), ["zone", "zone", "zone"]);
    expect(&drawn(3, &|_| true), ["zone", "zone", "zone"]);
    expect(&drawn(2, &|zone| zone != 1), ["zone", "zone off", "zone"]);
    let svg = drawn(0, &|_| true);
    let read = roxmltree::Document::parse(&svg).expect("well-formed");
    let mut keys: Vec<u8> = read.descendants().filter_map(|node| node.attribute("data-key")?.parse().ok()).collect();
    keys.sort_unstable();
    assert_eq!(keys, (21..=108).collect::<Vec<u8>>(), "A0 to C8, each once");
    let black = read.descendants().filter(|node| node.attribute("class") == Some("key black")).count();
    assert_eq!(black, 36, "a piano has 36 black keys (common practice)");
    assert!(svg.contains("voices") && svg.contains("not here"));
}

#[test]
fn the_checks_see_what_is_wrong() {
    let page = |body: &str| {
        format!(
            "<svg xmlns=\"http://www.w3.org/2000/svg\" width=\"210mm\" height=\"297mm\" viewBox=\"0 0 210 297\" \
             font-family=\"sans-serif\" font-size=\"5\">{body}</svg>"
        )
    };
    let first = "<text x=\"20\" y=\"30\">Verse</text>";
    check_svg("in order", &page(&format!("{first}<text x=\"20\" y=\"37\">Chorus</text>")));
    for wrong in [
        "<text x=\"24\" y=\"31\">Chorus</text>",
        "<text x=\"190\" y=\"60\">off the page</text>",
        "<text x=\"20\" y=\"295\">below it</text>",
        "<rect width=\"5\" height=\"5\" fill=\"#c00\"/>",
        "<rect width=\"5\" height=\"5\" style=\"fill:black\"/>",
        "<image href=\"http://elsewhere/x.png\"/>",
        "<text x=\"20\" y=\"60\">not closed",
    ] {
        let wrong = page(&format!("{first}{wrong}"));
        assert!(std::panic::catch_unwind(|| check_svg("wrong", &wrong)).is_err(), "not seen: {wrong}");
    }
}
