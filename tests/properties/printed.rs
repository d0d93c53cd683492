//! Random sets on paper: both files hold, whatever stands in them.

#[path = "../print/page.rs"]
mod page;
#[path = "../print/pdf.rs"]
mod pdf;

use handspan::paper::{Fonts, Paper, PaperOptions};
use proptest::prelude::*;

use super::config;
use super::maps::drawn;

/// Laying out letters takes some tenths of a second a set.
const CASES: u32 = 40;

proptest! {
    #![proptest_config(config(CASES))]

    #[test]
    fn any_set_is_printed_without_a_fault(drawn in drawn()) {
        let book = drawn.book();
        let paper = Paper::of(&book, "evening.toml", PaperOptions { degrees: true });
        page::check_html("a random set", &paper.html());
        let fonts = Fonts::of_system().expect("the system has a font: run tests/prepare");
        let pdf = paper.pdf(&fonts, &|_| {}).expect("it is drawn");
        let pages = pdf::read(&pdf.bytes);
        page::check_pages("a random set", &pages);
        // The front page, and one for each entry, pauses too.
        prop_assert_eq!(paper.sheets(), book.set.entries.len() + 1);
        prop_assert!(pages.len() >= paper.sheets());
    }
}
