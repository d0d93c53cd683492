//! The kinds of chords: their notes above the root, how they are written, and how else they may be.

use std::fmt;

use crate::music::Classes;
use crate::music::tone::INTERVALS;

/// The kind of a chord: what stands in its symbol after the root.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum ChordKind {
    /// `C`.
    Major,
    /// `Cm`.
    Minor,
    /// `C7`.
    Seventh,
    /// `Cm7`.
    MinorSeventh,
    /// `Cmaj7`.
    MajorSeventh,
    /// `Cdim`.
    Diminished,
    /// `Caug`.
    Augmented,
    /// `Cm7b5`.
    HalfDiminished,
    /// `Cdim7`.
    DiminishedSeventh,
    /// `CmMaj7`.
    MinorMajorSeventh,
    /// `C6`.
    Sixth,
    /// `Cm6`.
    MinorSixth,
    /// `Csus4`.
    Sus4,
    /// `Csus2`.
    Sus2,
    /// `C7sus4`.
    SeventhSus4,
    /// `C9`.
    Ninth,
    /// `Cm9`.
    MinorNinth,
    /// `Cmaj9`.
    MajorNinth,
    /// `Cadd9`.
    AddedNinth,
    /// `Cm(add9)`.
    MinorAddedNinth,
    /// `C5`: root and fifth alone.
    Fifth,
}

use ChordKind::*;

/// What is known of one kind.
struct KindRow {
    kind: ChordKind,
    /// Semitones above the root, as npm tonal 6.3.0 and music21 10.5.1 have them.
    steps: &'static [u8],
    /// How it is written.
    written: &'static str,
    /// How else it may be written (common practice).
    also: &'static [&'static str],
}

const fn row(kind: ChordKind, steps: &'static [u8], written: &'static str, also: &'static [&'static str]) -> KindRow {
    KindRow { kind, steps, written, also }
}

/// In the order of [`ChordKind`], which is also the order in which a doubtful set of keys is named: the more
/// usual first.
const ROWS: [KindRow; 21] = [
    row(Major, &[0, 4, 7], "", &["maj", "Maj", "major", "M", "ma"]),
    row(Minor, &[0, 3, 7], "m", &["min", "minor", "mi", "-"]),
    row(Seventh, &[0, 4, 7, 10], "7", &["dom7"]),
    row(MinorSeventh, &[0, 3, 7, 10], "m7", &["min7", "mi7", "-7"]),
    row(MajorSeventh, &[0, 4, 7, 11], "maj7", &["Maj7", "M7", "ma7", "(maj7)", "Δ", "Δ7", "∆", "∆7"]),
    row(Diminished, &[0, 3, 6], "dim", &["°", "º", "o", "mb5", "m♭5", "m(b5)"]),
    row(Augmented, &[0, 4, 8], "aug", &["+", "(#5)", "(♯5)"]),
    row(
        HalfDiminished,
        &[0, 3, 6, 10],
        "m7b5",
        &["m7♭5", "m7(b5)", "m7(♭5)", "min7b5", "min7(b5)", "mi7b5", "-7b5", "-7♭5", "-7(b5)", "ø", "ø7", "Ø", "Ø7"],
    ),
    row(DiminishedSeventh, &[0, 3, 6, 9], "dim7", &["°7", "º7", "o7"]),
    row(
        MinorMajorSeventh,
        &[0, 3, 7, 11],
        "mMaj7",
        &[
            "mM7",
            "mmaj7",
            "m(maj7)",
            "m(Maj7)",
            "m(M7)",
            "minMaj7",
            "minmaj7",
            "min(maj7)",
            "-maj7",
            "-M7",
            "mΔ",
            "-Δ",
            "mΔ7",
            "-Δ7",
        ],
    ),
    row(Sixth, &[0, 4, 7, 9], "6", &["maj6", "M6", "add6"]),
    row(MinorSixth, &[0, 3, 7, 9], "m6", &["min6", "mi6", "-6"]),
    row(Sus4, &[0, 5, 7], "sus4", &["sus", "(sus4)", "(sus)"]),
    row(Sus2, &[0, 2, 7], "sus2", &["(sus2)"]),
    row(SeventhSus4, &[0, 5, 7, 10], "7sus4", &["7sus", "7(sus4)", "sus7"]),
    row(Ninth, &[0, 4, 7, 10, 2], "9", &["dom9"]),
    row(MinorNinth, &[0, 3, 7, 10, 2], "m9", &["min9", "mi9", "-9"]),
    row(MajorNinth, &[0, 4, 7, 11, 2], "maj9", &["Maj9", "M9", "ma9", "Δ9", "∆9"]),
    row(AddedNinth, &[0, 4, 7, 2], "add9", &["(add9)", "Add9"]),
    row(MinorAddedNinth, &[0, 3, 7, 2], "m(add9)", &["madd9", "min(add9)", "minadd9", "-add9", "-(add9)"]),
    row(Fifth, &[0, 7], "5", &["(no3)", "no3"]),
];

impl ChordKind {
    /// All kinds, in the order in which a doubtful set of keys is named.
    pub fn all() -> impl Iterator<Item = ChordKind> {
        ROWS.iter().map(|row| row.kind)
    }

    /// Its pitch classes above the root, which is 0 *(playing)*.
    #[must_use]
    pub const fn classes(self) -> Classes {
        Classes::all_of(ROWS[self as usize].steps)
    }

    /// Places on the line of fifths from the root to its tone so many semitones above: the third of a triad is a third,
    /// the fifth of a diminished chord a diminished one. `None` for what is none of its tones.
    pub(in crate::music) fn fifths_to(self, step: u8) -> Option<i32> {
        let step = step % 12;
        self.classes().contains(step).then_some(match (self, step) {
            (_, 6) => -6,
            (_, 8) => 8,
            (DiminishedSeventh, 9) => -9,
            _ => INTERVALS[usize::from(step)],
        })
    }

    /// How it is written after the root: `m7b5`; nothing for a major chord.
    #[must_use]
    pub const fn written(self) -> &'static str {
        ROWS[self as usize].written
    }

    /// The kind that a text after a root stands for.
    #[must_use]
    pub fn read(text: &str) -> Option<ChordKind> {
        ROWS.iter().find(|row| row.written == text || row.also.contains(&text)).map(|row| row.kind)
    }

    /// How the kind is written whose writing comes nearest to a text, if one comes near.
    pub(super) fn nearest(text: &str) -> Option<&'static str> {
        let far = text.chars().count() / 2 + 1;
        // A text with as many characters as this is no slip of the finger.
        if far > 8 {
            return None;
        }
        // A major chord is written with nothing, which is no help.
        let rows = ROWS.iter().filter(|row| !row.written.is_empty());
        let spelled = rows.flat_map(|row| row.also.iter().map(move |also| (*also, row)).chain([(row.written, row)]));
        let distances = spelled.map(|(spelling, row)| (strsim::osa_distance(text, spelling), row));
        let (distance, row) = distances.min_by_key(|(distance, _)| *distance)?;
        (distance <= far && distance < text.chars().count()).then_some(row.written)
    }
}

impl fmt::Display for ChordKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.written())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_table_is_in_the_order_of_the_kinds() {
        for (at, row) in ROWS.iter().enumerate() {
            assert_eq!(row.kind as usize, at);
            assert_eq!(row.kind.classes().len(), row.steps.len());
            assert!(row.kind.classes().contains(0));
        }
    }

    #[test]
    fn no_spelling_stands_for_two_kinds() {
        let mut seen = Vec::new();
        for row in &ROWS {
            for spelling in row.also.iter().chain([&row.written]) {
                assert!(!seen.contains(spelling), "{spelling}");
                // A spelling that begins with an accidental or a slash would be read as part of the root or bass.
                assert!(!spelling.starts_with(['#', 'b', '♯', '♭']) && !spelling.contains('/'), "{spelling}");
                assert_eq!(ChordKind::read(spelling), Some(row.kind));
                seen.push(spelling);
            }
        }
    }

    #[test]
    fn notes_of_the_chords_from_c() {
        // npm tonal 6.3.0, the symbols cross-checked in music21 10.5.1.
        let table: [(&str, &[u8]); 21] = [
            ("maj", &[0, 4, 7]),
            ("m", &[0, 3, 7]),
            ("dim", &[0, 3, 6]),
            ("aug", &[0, 4, 8]),
            ("sus2", &[0, 2, 7]),
            ("sus4", &[0, 5, 7]),
            ("5", &[0, 7]),
            ("6", &[0, 4, 7, 9]),
            ("m6", &[0, 3, 7, 9]),
            ("add9", &[0, 2, 4, 7]),
            ("m(add9)", &[0, 2, 3, 7]),
            ("7", &[0, 4, 7, 10]),
            ("maj7", &[0, 4, 7, 11]),
            ("m7", &[0, 3, 7, 10]),
            ("m7b5", &[0, 3, 6, 10]),
            ("dim7", &[0, 3, 6, 9]),
            ("mMaj7", &[0, 3, 7, 11]),
            ("7sus4", &[0, 5, 7, 10]),
            ("9", &[0, 2, 4, 7, 10]),
            ("maj9", &[0, 2, 4, 7, 11]),
            ("m9", &[0, 2, 3, 7, 10]),
        ];
        for (text, classes) in table {
            assert_eq!(ChordKind::read(text).unwrap().classes().iter().collect::<Vec<_>>(), classes, "{text}");
        }
    }
}
