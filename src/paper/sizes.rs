//! How large letters are on paper, and how much room is left between things. Both files, HTML and PDF, take it from here.

/// What the capitals of a font have of its size, as everything is calculated: those of DejaVu Sans. Other fonts are set
/// so much larger or smaller that their capitals come out the same.
pub(super) const CAPITALS: f64 = 0.729;

/// The size of letters whose capitals are so high, in millimetres.
const fn of_capitals(millimetres: f64) -> f64 {
    millimetres / CAPITALS
}

/// The title.
pub(super) const TITLE: f64 = of_capitals(9.0);
/// The keys of fingers and room.
pub(super) const KEY: f64 = of_capitals(9.0);
/// The fingers' chords.
pub(super) const CHORD: f64 = of_capitals(7.0);
/// The chart's key, tempo and meter.
pub(super) const ASIDE: f64 = of_capitals(5.5);
/// The room's chords, and names of sections.
pub(super) const ROOM: f64 = of_capitals(3.8);
/// Facts, remarks and headings.
pub(super) const FACT: f64 = of_capitals(3.2);
/// Tables.
pub(super) const TEXT: f64 = of_capitals(2.4);
/// What is said beside something larger.
pub(super) const SMALL: f64 = of_capitals(2.2);

/// From line to line, in letter sizes.
pub(super) const LEADING: f64 = 1.25;

/// A page is A4 upright, in millimetres.
pub(super) const PAGE: (f64, f64) = (210.0, 297.0);
/// Left, right, above and below.
pub(super) const MARGIN: f64 = 10.0;
/// What can be written on.
pub(super) const WIDE: f64 = PAGE.0 - 2.0 * MARGIN;
/// The line at the head of each page.
pub(super) const HEAD: f64 = 7.0;
/// What browsers make more of a page than was calculated: they have whole pixels.
const ROUNDING: f64 = 3.0;
/// What is left below the head.
pub(super) const HIGH: f64 = PAGE.1 - 2.0 * MARGIN - HEAD - ROUNDING;

/// How much room is left between things. Letters keep their sizes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Spread {
    /// Which of [`SPREADS`] it is.
    pub number: usize,
    /// Above a heading or a section.
    pub gap: f64,
    /// In a row of a table, beside its letters.
    pub row: f64,
    /// From one row of bars to the next, beside its letters.
    pub bars: f64,
    /// How high white keys are drawn, in the drawing's unit.
    pub keys: f64,
    /// Whether touches are drawn; their words stand among the zones.
    pub plots: bool,
    /// The most bars in a row.
    pub in_row: usize,
    /// Whether what is said in a cell of a table makes one paragraph.
    pub dense: bool,
}

/// From the roomiest on.
pub(super) const SPREADS: [Spread; 7] = [
    Spread { number: 0, gap: 4.0, row: 2.2, bars: 3.2, keys: 62.0, plots: true, in_row: 4, dense: false },
    Spread { number: 1, gap: 2.6, row: 1.6, bars: 2.0, keys: 56.0, plots: true, in_row: 4, dense: false },
    Spread { number: 2, gap: 4.0, row: 2.2, bars: 3.2, keys: 62.0, plots: false, in_row: 4, dense: false },
    Spread { number: 3, gap: 2.6, row: 1.4, bars: 2.0, keys: 48.0, plots: false, in_row: 4, dense: false },
    Spread { number: 4, gap: 1.6, row: 1.0, bars: 1.2, keys: 40.0, plots: false, in_row: 8, dense: true },
    Spread { number: 5, gap: 0.8, row: 0.6, bars: 0.6, keys: 32.0, plots: false, in_row: 8, dense: true },
    Spread { number: 6, gap: 0.5, row: 0.3, bars: 0.3, keys: 24.0, plots: false, in_row: 8, dense: true },
];
