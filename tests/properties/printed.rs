//! Random sets on paper: every page holds, whatever stands on it.

#[path = "../print/page.rs"]
mod page;

use handspan::paper::Sheet;
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
        let songs = (0..book.set.entries.len()).filter_map(|place| Sheet::of_song(&book, place));
        let mut sheets = 0;
        for sheet in songs.chain([Sheet::of_set(&book)]) {
            page::check_html(&sheet.stem, &sheet.html());
            sheet.svg().iter().for_each(|svg| page::check_svg(&sheet.stem, svg));
            sheets += 1;
        }
        // The pause that every drawn set ends with has none; the set has.
        prop_assert_eq!(sheets, book.set.entries.len());
    }
}
