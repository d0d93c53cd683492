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
    /// `C6/9`.
    SixthNinth,
    /// `Cm6/9`.
    MinorSixthNinth,
    /// `C11`.
    Eleventh,
    /// `Cm11`.
    MinorEleventh,
    /// `Cmaj11`.
    MajorEleventh,
    /// `C13`.
    Thirteenth,
    /// `Cm13`.
    MinorThirteenth,
    /// `Cmaj13`.
    MajorThirteenth,
    /// `CmMaj9`.
    MinorMajorNinth,
    /// `C9sus4`.
    NinthSus4,
    /// `C13sus4`.
    ThirteenthSus4,
    /// `C7sus4(b9)`.
    SeventhSus4FlatNinth,
    /// `Csus2sus4`.
    Sus2Sus4,
    /// `Cadd11`.
    AddedEleventh,
    /// `Cm(add11)`.
    MinorAddedEleventh,
    /// `Cm7(add11)`.
    MinorSeventhAddedEleventh,
    /// `C7(add13)`.
    SeventhAddedThirteenth,
    /// `C(b5)`.
    MajorFlatFifth,
    /// `C7b5`.
    SeventhFlatFifth,
    /// `C7#5`.
    SeventhSharpFifth,
    /// `Cmaj7b5`.
    MajorSeventhFlatFifth,
    /// `Cmaj7#5`.
    MajorSeventhSharpFifth,
    /// `Cm7#5`.
    MinorSeventhSharpFifth,
    /// `C7b9`.
    SeventhFlatNinth,
    /// `C7#9`.
    SeventhSharpNinth,
    /// `C7b5b9`.
    SeventhFlatFifthFlatNinth,
    /// `C7b5#9`.
    SeventhFlatFifthSharpNinth,
    /// `C7#5b9`.
    SeventhSharpFifthFlatNinth,
    /// `C7#5#9`.
    SeventhSharpFifthSharpNinth,
    /// `C7#11`.
    SeventhSharpEleventh,
    /// `C7b13`.
    SeventhFlatThirteenth,
    /// `Cmaj7#11`.
    MajorSeventhSharpEleventh,
    /// `C9b5`.
    NinthFlatFifth,
    /// `C9#5`.
    NinthSharpFifth,
    /// `Cm9b5`.
    MinorNinthFlatFifth,
    /// `C9#11`.
    NinthSharpEleventh,
    /// `Cmaj9#11`.
    MajorNinthSharpEleventh,
    /// `C13b9`.
    ThirteenthFlatNinth,
    /// `C13#11`.
    ThirteenthSharpEleventh,
}

use ChordKind::*;

/// What is known of one kind.
struct KindRow {
    kind: ChordKind,
    /// Semitones above the root, as npm tonal 6.3.0 and music21 10.5.1 have them; in a thirteenth chord the eleventh is
    /// left out, as players do (npm tonal has none there either).
    steps: &'static [u8],
    /// How it is written.
    written: &'static str,
    /// How else it may be written (common practice), in [`plain`] letters; first its own writing, where that is not.
    also: &'static [&'static str],
}

const fn row(kind: ChordKind, steps: &'static [u8], written: &'static str, also: &'static [&'static str]) -> KindRow {
    KindRow { kind, steps, written, also }
}

/// In the order of [`ChordKind`], which is also the order in which a doubtful set of keys is named: the more
/// usual first.
const ROWS: [KindRow; 60] = [
    row(Major, &[0, 4, 7], "", &["maj"]),
    row(Minor, &[0, 3, 7], "m", &[]),
    row(Seventh, &[0, 4, 7, 10], "7", &["dom7"]),
    row(MinorSeventh, &[0, 3, 7, 10], "m7", &[]),
    row(MajorSeventh, &[0, 4, 7, 11], "maj7", &[]),
    row(Diminished, &[0, 3, 6], "dim", &["mb5", "m-5"]),
    row(Augmented, &[0, 4, 8], "aug", &["#5", "+5"]),
    row(HalfDiminished, &[0, 3, 6, 10], "m7b5", &["m7-5"]),
    row(DiminishedSeventh, &[0, 3, 6, 9], "dim7", &[]),
    row(MinorMajorSeventh, &[0, 3, 7, 11], "mMaj7", &["mmaj7"]),
    row(Sixth, &[0, 4, 7, 9], "6", &["maj6", "add6"]),
    row(MinorSixth, &[0, 3, 7, 9], "m6", &["madd6"]),
    row(Sus4, &[0, 5, 7], "sus4", &["sus"]),
    row(Sus2, &[0, 2, 7], "sus2", &[]),
    row(SeventhSus4, &[0, 5, 7, 10], "7sus4", &["7sus", "sus7"]),
    row(Ninth, &[0, 4, 7, 10, 2], "9", &["dom9"]),
    row(MinorNinth, &[0, 3, 7, 10, 2], "m9", &[]),
    row(MajorNinth, &[0, 4, 7, 11, 2], "maj9", &[]),
    row(AddedNinth, &[0, 4, 7, 2], "add9", &["add2"]),
    row(MinorAddedNinth, &[0, 3, 7, 2], "m(add9)", &["madd9", "madd2"]),
    row(Fifth, &[0, 7], "5", &["no3"]),
    row(SixthNinth, &[0, 4, 7, 9, 2], "6/9", &["69", "6add9"]),
    row(MinorSixthNinth, &[0, 3, 7, 9, 2], "m6/9", &["m69", "m6add9"]),
    row(Eleventh, &[0, 4, 7, 10, 2, 5], "11", &[]),
    row(MinorEleventh, &[0, 3, 7, 10, 2, 5], "m11", &[]),
    row(MajorEleventh, &[0, 4, 7, 11, 2, 5], "maj11", &[]),
    row(Thirteenth, &[0, 4, 7, 10, 2, 9], "13", &[]),
    row(MinorThirteenth, &[0, 3, 7, 10, 2, 9], "m13", &[]),
    row(MajorThirteenth, &[0, 4, 7, 11, 2, 9], "maj13", &[]),
    row(MinorMajorNinth, &[0, 3, 7, 11, 2], "mMaj9", &["mmaj9"]),
    row(NinthSus4, &[0, 5, 7, 10, 2], "9sus4", &["9sus", "sus9"]),
    row(ThirteenthSus4, &[0, 5, 7, 10, 2, 9], "13sus4", &["13sus", "sus13"]),
    row(SeventhSus4FlatNinth, &[0, 5, 7, 10, 1], "7sus4(b9)", &["7sus4b9", "7b9sus4", "7b9sus", "7susb9"]),
    row(Sus2Sus4, &[0, 2, 5, 7], "sus2sus4", &["sus24", "sus4sus2", "sus4add9", "sus4add2", "sus2add4"]),
    row(AddedEleventh, &[0, 4, 7, 5], "add11", &["add4"]),
    row(MinorAddedEleventh, &[0, 3, 7, 5], "m(add11)", &["madd11", "madd4"]),
    row(MinorSeventhAddedEleventh, &[0, 3, 7, 10, 5], "m7(add11)", &["m7add11", "m7add4"]),
    row(SeventhAddedThirteenth, &[0, 4, 7, 10, 9], "7(add13)", &["7add13", "76", "7add6"]),
    row(MajorFlatFifth, &[0, 4, 6], "(b5)", &["b5", "majb5"]),
    row(SeventhFlatFifth, &[0, 4, 6, 10], "7b5", &["7-5"]),
    row(SeventhSharpFifth, &[0, 4, 8, 10], "7#5", &["aug7", "7aug", "7+", "7+5"]),
    row(MajorSeventhFlatFifth, &[0, 4, 6, 11], "maj7b5", &["maj7-5"]),
    row(MajorSeventhSharpFifth, &[0, 4, 8, 11], "maj7#5", &["augmaj7", "maj7+5", "maj7+"]),
    row(MinorSeventhSharpFifth, &[0, 3, 8, 10], "m7#5", &["m7+5"]),
    row(SeventhFlatNinth, &[0, 4, 7, 10, 1], "7b9", &["7-9"]),
    row(SeventhSharpNinth, &[0, 4, 7, 10, 3], "7#9", &["7+9"]),
    row(SeventhFlatFifthFlatNinth, &[0, 4, 6, 10, 1], "7b5b9", &["7b9b5"]),
    row(SeventhFlatFifthSharpNinth, &[0, 4, 6, 10, 3], "7b5#9", &["7#9b5"]),
    row(SeventhSharpFifthFlatNinth, &[0, 4, 8, 10, 1], "7#5b9", &["7b9#5", "aug7b9"]),
    row(SeventhSharpFifthSharpNinth, &[0, 4, 8, 10, 3], "7#5#9", &["7#9#5", "aug7#9", "7alt", "alt"]),
    row(SeventhSharpEleventh, &[0, 4, 7, 10, 6], "7#11", &["7+11"]),
    row(SeventhFlatThirteenth, &[0, 4, 7, 10, 8], "7b13", &["7-13"]),
    row(MajorSeventhSharpEleventh, &[0, 4, 7, 11, 6], "maj7#11", &["maj7+11"]),
    row(NinthFlatFifth, &[0, 4, 6, 10, 2], "9b5", &["9-5"]),
    row(NinthSharpFifth, &[0, 4, 8, 10, 2], "9#5", &["aug9", "9+", "9+5"]),
    row(MinorNinthFlatFifth, &[0, 3, 6, 10, 2], "m9b5", &["m9-5", "m7b59"]),
    row(NinthSharpEleventh, &[0, 4, 7, 10, 2, 6], "9#11", &["9+11"]),
    row(MajorNinthSharpEleventh, &[0, 4, 7, 11, 2, 6], "maj9#11", &["maj9+11"]),
    row(ThirteenthFlatNinth, &[0, 4, 7, 10, 1, 9], "13b9", &["13-9"]),
    row(ThirteenthSharpEleventh, &[0, 4, 7, 10, 2, 6, 9], "13#11", &["13+11"]),
];

/// How many of them name a set of keys in whatever inversion; the rest, richer ones, only where the root is the bass.
const COMMON: usize = 21;

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

    /// The kinds that name a set of keys in whatever inversion.
    pub(super) fn common() -> impl Iterator<Item = ChordKind> {
        Self::all().take(COMMON)
    }

    /// The kinds that name a set of keys only where their root is its bass.
    pub(super) fn richer() -> impl Iterator<Item = ChordKind> {
        Self::all().skip(COMMON)
    }

    /// Places on the line of fifths from the root to its tone so many semitones above: the third of a triad is a third,
    /// the fifth of a diminished chord a diminished one; beside a third or fifth of the usual size the same key is a
    /// ninth, eleventh or thirteenth. `None` for what is none of its tones.
    pub(in crate::music) fn fifths_to(self, step: u8) -> Option<i32> {
        let (step, classes) = (step % 12, self.classes());
        classes.contains(step).then_some(match (self, step) {
            (_, 3) if classes.contains(4) => 9,
            (_, 6) if classes.contains(7) => 6,
            (_, 6) => -6,
            (_, 8) if classes.contains(7) => -4,
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

    /// How else it may be written after the root.
    pub fn also(self) -> impl Iterator<Item = &'static str> {
        ROWS[self as usize].also.iter().copied()
    }

    /// What may stand after a root, for a sentence: every kind as it is written, but for the major one's nothing.
    pub fn list() -> String {
        let written: Vec<&str> = Self::all().map(ChordKind::written).filter(|written| !written.is_empty()).collect();
        written.join(", ")
    }

    /// The kind that a text after a root stands for.
    #[must_use]
    pub fn read(text: &str) -> Option<ChordKind> {
        let plain = plain(text)?;
        ROWS.iter().find(|row| row.spellings().any(|spelling| spelling == plain)).map(|row| row.kind)
    }

    /// How the kind is written whose writing comes nearest to a text, if one comes near. Other numbers are another chord,
    /// so they are never proposed.
    pub(super) fn nearest(text: &str) -> Option<&'static str> {
        let text = plain(text)?;
        let letters = text.chars().count();
        // A text with as many letters as this is no slip of the finger.
        if letters > 12 {
            return None;
        }
        let numbers =
            |text: &str| text.chars().filter(|letter| letter.is_ascii_digit() || "#b".contains(*letter)).collect();
        let (far, own): (usize, String) = (if letters > 4 { 2 } else { 1 }, numbers(&text));
        // A major chord is written with nothing, which is no help.
        let rows = ROWS.iter().filter(|row| !row.written.is_empty());
        let spelled = rows.flat_map(|row| row.spellings().map(move |spelling| (spelling, row)));
        let alike = spelled.filter(|(spelling, _)| numbers(spelling) == own);
        let distances = alike.map(|(spelling, row)| (strsim::osa_distance(&text, spelling), row));
        let (distance, row) = distances.min_by_key(|(distance, _)| *distance)?;
        (distance <= far && distance < letters).then_some(row.written)
    }
}

impl KindRow {
    /// All that it may be in plain letters, and its own writing.
    fn spellings(&self) -> impl Iterator<Item = &'static str> + use<> {
        std::iter::once(self.written).chain(self.also.iter().copied())
    }
}

/// What stands after a root in one way of writing: without brackets, `m` and `maj` for all that is written for these,
/// `dim` for `°`, `m7b5` for `ø`, `aug` for `+`. `None` where a bracket is not closed, or nothing stands in it.
fn plain(text: &str) -> Option<String> {
    const SIGNS: [(&str, &str); 10] = [
        ("♭", "b"),
        ("♯", "#"),
        ("∆", "Δ"),
        ("Δ7", "maj7"),
        ("Δ9", "maj9"),
        ("Δ1", "maj1"),
        ("Δ", "maj7"),
        ("Ø", "ø"),
        ("ø7", "m7b5"),
        ("ø", "m7b5"),
    ];
    let bare = without_brackets(text)?;
    let bare = SIGNS.iter().fold(bare, |bare, (sign, letters)| bare.replace(sign, letters));
    let after = |signs: &[&str]| signs.iter().find_map(|sign| bare.strip_prefix(sign));
    let small_o = || after(&["o"]).filter(|rest| rest.is_empty() || *rest == "7");
    Some(match (after(&["°", "º"]).or_else(small_o), after(&["+"]).filter(|rest| !rest.starts_with('5'))) {
        (Some(rest), _) => format!("dim{rest}"),
        (None, Some(rest)) => format!("aug{}", with_plain_thirds(rest)),
        (None, None) => with_plain_thirds(&bare),
    })
}

/// The same with `m` and `maj` for all that is written for them.
fn with_plain_thirds(text: &str) -> String {
    const MINOR: [&str; 5] = ["minor", "min", "mi", "m", "-"];
    const MAJOR: [&str; 7] = ["major", "Major", "maj", "Maj", "ma", "Ma", "M"];
    // The a of an added note belongs to that.
    let after_major = |text: &str| {
        let rest = MAJOR.iter().filter_map(|word| text.strip_prefix(word)).find(|rest| !rest.starts_with("dd"));
        rest.map(str::to_owned)
    };
    let after_minor = || MINOR.iter().find_map(|word| text.strip_prefix(word));
    let minor = if after_major(text).is_none() { after_minor() } else { None };
    let (third, rest) = minor.map_or(("", text), |rest| ("m", rest));
    match after_major(rest) {
        Some(rest) => format!("{third}maj{}", rest.to_lowercase()),
        None => format!("{third}{}", rest.to_lowercase()),
    }
}

/// A text without its brackets; blanks, commas and slashes within them only part what stands there.
fn without_brackets(text: &str) -> Option<String> {
    let mut bare = String::new();
    let mut inside: Option<usize> = None;
    for letter in text.chars() {
        match (letter, inside) {
            ('(', None) => inside = Some(bare.len()),
            (')', Some(from)) if bare.len() > from => inside = None,
            ('(' | ')', _) => return None,
            (' ' | ',' | '/', Some(_)) => {}
            // A six-nine is written with a slash of its own.
            ('/', None) if bare.ends_with('6') => {}
            _ => bare.push(letter),
        }
    }
    inside.is_none().then_some(bare)
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
            // One that begins with an accidental would be read as part of the root.
            assert!(!row.written.starts_with(['#', 'b', '♯', '♭']), "{}", row.written);
            assert_eq!(ChordKind::read(row.written), Some(row.kind));
            for spelling in row.spellings() {
                let is_plain = plain(spelling).as_deref() == Some(spelling);
                assert!(is_plain || spelling == row.written && row.also.first().copied() == plain(spelling).as_deref());
                assert!(!seen.contains(&spelling), "{spelling}");
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
