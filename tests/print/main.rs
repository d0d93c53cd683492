//! What is printed: both files are well-formed, need nothing from elsewhere, are black on white, and no letter lies
//! outside its page or over another. roxmltree reads the HTML, a small reader of ours the PDF; other people's readers and a
//! browser look at both in tests/outside and tests/page.

mod odd;
mod page;
mod pdf;

use std::fs;
use std::path::Path;
use std::sync::OnceLock;

use handspan::evening::{Keys, Standing};
use handspan::map::{self, Book};
use handspan::paper::drawing::{Keyboard, Now};
use handspan::paper::{Fonts, Paper, PaperOptions};
use page::{check_html, check_pages};
use pdf::Page;

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

/// Checks both files of a set; gives the HTML and the pages of the PDF.
#[track_caller]
fn printed(name: &str, book: &Book) -> (String, Vec<Page>) {
    let paper = Paper::of(book, "evening.toml", PaperOptions::default());
    let html = paper.html();
    check_html(name, &html);
    static FONTS: OnceLock<Fonts> = OnceLock::new();
    let fonts = FONTS.get_or_init(|| Fonts::of_system().expect("the system has a font: run tests/prepare"));
    let pdf = paper.pdf(fonts, &|_| {}).expect("it is drawn");
    let pages = pdf::read(&pdf.bytes);
    assert_eq!(pages.len(), pdf.pages, "{name}");
    check_pages(name, &pages);
    (html, pages)
}

/// A page's texts in the order of the file; what touches is one word.
fn text(page: &Page) -> String {
    let mut text = String::new();
    let mut end = (f64::MIN, f64::MIN);
    for written in &page.texts {
        if (written.left - end.0).abs() > 0.6 || (written.bottom - end.1).abs() > 3.0 {
            text.push(' ');
        }
        text.push_str(&written.words);
        end = (written.right, written.bottom);
    }
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

#[test]
fn the_demo_is_printed_without_a_fault_each_song_on_a_page() {
    let book = demo();
    let (_, pages) = printed("the demo", &book);
    assert_eq!(pages.len(), 14, "the front page, eleven songs and two pauses");
    for (number, page) in pages.iter().enumerate().skip(1) {
        let title = handspan::evening::title_of(&book, number - 1);
        assert!(text(page).contains(title), "page {number} has no {title:?}: {}", text(page));
        assert!(text(page).contains(&format!("{number} of 13")), "{}", text(page));
    }
}

#[test]
fn odd_sets_are_printed_without_a_fault() {
    for (name, maps) in odd::sets() {
        println!("{name}");
        let (_, pages) = printed(name, &maps.book());
        assert!(pages.len() >= 2, "{name}");
    }
}

#[test]
fn what_a_substitute_needs_stands_on_both_papers() {
    let book = demo();
    let (html, pages) = printed("the demo", &book);
    let says = |page: usize, wanted: &[&str]| {
        let written = text(&pages[page]);
        for words in wanted {
            assert!(html.contains(words), "the HTML has no {words:?}");
            // On paper a long text may be broken into lines.
            assert!(words.split(' ').all(|word| written.contains(word)), "page {page} has no {words:?}: {written}");
        }
    };
    let carry = [
        "Carry the Light",
        "11 of 13",
        "fingers",
        "room",
        "she counts it in",
        "guest",
        "Home Before the Thaw; room A, fingers A",
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
        "transport play",
        "as Verse begins",
        "song select 3",
        "as the song begins, 0.2 s later",
        "note C1 100 for 0.25 s, channel 16",
        "program 9, bank 0 1, channel 1",
        "upper",
    ];
    says(11, &carry);
    let front = [
        "handspan play midwinter.toml".replace("midwinter", "evening"),
        "stage piano".to_owned(),
        "set its octave buttons so that its lowest key sends C2".to_owned(),
        "five-pin".to_owned(),
        "next section".to_owned(),
        "keyboard: the middle pedal".to_owned(),
        "keyboard: the left pedal, twice".to_owned(),
        "keyboard: the left pedal, held for 0.7 s".to_owned(),
        "keyboard: the key C8".to_owned(),
        "tracks: any program".to_owned(),
        "talkback, while it is down".to_owned(),
        "panic: all notes off".to_owned(),
        "tonight".to_owned(),
        "A reading (a pause)".to_owned(),
        "F#m".to_owned(),
        "−3".to_owned(),
        "guest".to_owned(),
        "G3–D5".to_owned(),
    ];
    says(0, &front.iter().map(String::as_str).collect::<Vec<_>>());
    says(9, &["A reading", "hands off; the drone is enough", "The Ferry at First Light; room F, fingers C"]);
    // What the gear's cues do stands on the front page alone; a song's own stand with it.
    assert!(pages[1..].iter().all(|page| !text(page).contains("the middle pedal")));
    says(2, &["keyboard: the left pedal, held for 0.7 s", "held notes fade out over 3 s"]);
}

#[test]
fn songs_with_numbers_of_their_own_are_told_by_these() {
    let mut maps = odd::numbered();
    let (_, pages) = printed("with numbers", &maps.book());
    assert!(text(&pages[1]).contains("17") && text(&pages[0]).contains("17"), "{}", text(&pages[0]));
    maps.number = None;
    let (_, pages) = printed("without", &maps.book());
    assert!(!text(&pages[0]).contains("17"), "{}", text(&pages[0]));
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
    let page = |more: &str| {
        // A place from above, in millimetres, as the file has it.
        let words = |x: f64, y: f64| format!("BT /F0 5 Tf 1 0 0 -1 {x} {y} Tm [<00010001>] TJ ET\n");
        let more: String = more
            .split(';')
            .filter(|place| !place.is_empty())
            .map(|place| {
                let (x, y) = place.split_once(' ').expect("two numbers");
                words(x.parse().expect("a number"), y.parse().expect("a number"))
            })
            .collect();
        let content = format!("2.8346457 0 0 -2.8346457 0 841.8898 cm\n{}{more}", words(20.0, 30.0));
        pdf::read_page(&content, &[("F0".to_owned(), vec![0.0, 600.0])].into())
    };
    check_pages("in order", &[page("20 37")]);
    for wrong in ["24 31", "205 60", "20 295"] {
        let wrong = [page(wrong)];
        assert!(std::panic::catch_unwind(|| check_pages("wrong", &wrong)).is_err(), "not seen: {wrong:?}");
    }
}
