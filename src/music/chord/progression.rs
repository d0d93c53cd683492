//! The chords of a section, bar by bar, as a chart writes them in one line.

use std::iter::Flatten;
use std::ops::Range;
use std::slice;

use super::{Chord, ChordError};

/// What a chart writes where there is no chord.
pub const NO_CHORD: &str = "N.C.";

/// A bar of a chart: what stands in it, in order.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Bar(Vec<Option<Chord>>);

impl Bar {
    /// What stands in it, each as `told` writes a chord; [`NO_CHORD`] where there is none.
    pub fn written<'b>(&'b self, told: impl Fn(Chord) -> String + 'b) -> impl Iterator<Item = String> + 'b {
        self.0.iter().map(move |place| place.map_or_else(|| NO_CHORD.to_owned(), &told))
    }
}

impl<'b> IntoIterator for &'b Bar {
    type Item = &'b Chord;
    type IntoIter = Flatten<slice::Iter<'b, Option<Chord>>>;

    /// Its chords.
    fn into_iter(self) -> Self::IntoIter {
        self.0.iter().flatten()
    }
}

/// Why a line of chords cannot be read, and where.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("{fault}")]
pub struct ProgressionError {
    /// Bytes of the line that are at fault.
    pub at: Range<usize>,
    /// What is wrong there.
    pub fault: ProgressionFault,
}

/// What is wrong in a line of chords.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum ProgressionFault {
    /// A text between bar lines is no chord.
    #[error(transparent)]
    Chord(#[from] ChordError),
    /// Nothing stands between two bar lines, or in the whole line.
    #[error("this bar has no chord: write one, N.C. for none, or % for the bar before once more")]
    EmptyBar,
    /// `%` without a bar before it, or beside chords.
    #[error("% is a bar by itself, the one before it once more: write it between bar lines, after a bar of chords")]
    Repeat,
    /// A slash before any chord.
    #[error("/ is one more beat of the chord before it: write a chord first")]
    Beat,
}

/// Reads the chords of a section: bars separated by `|`, chords within a bar by spaces, `%` for the bar before once
/// more, `/` for one more beat of the chord before, `N.C.` for none (common practice in charts). A bar line may also
/// open and close the line.
///
/// # Errors
/// The first fault, with its place.
pub fn progression(text: &str) -> Result<Vec<Bar>, ProgressionError> {
    let mut bars: Vec<Bar> = Vec::new();
    let mut at = 0;
    let pieces: Vec<&str> = text.split('|').collect();
    for (number, piece) in pieces.iter().enumerate() {
        let outermost = pieces.len() > 1 && (number == 0 || number + 1 == pieces.len());
        if !piece.trim().is_empty() || !outermost {
            let bar = bar(piece, bars.last())
                .map_err(|(within, fault)| ProgressionError { at: at + within.start..at + within.end, fault })?;
            bars.push(bar);
        }
        at += piece.len() + 1;
    }
    match bars.is_empty() {
        true => Err(ProgressionError { at: 0..text.len(), fault: ProgressionFault::EmptyBar }),
        false => Ok(bars),
    }
}

/// One bar; a fault with its place in the bar's text.
fn bar(piece: &str, before: Option<&Bar>) -> Result<Bar, (Range<usize>, ProgressionFault)> {
    let place = |word: &str| {
        let start = word.as_ptr() as usize - piece.as_ptr() as usize;
        start..start + word.len()
    };
    let words = words(piece);
    if words.is_empty() {
        return Err((0..piece.len(), ProgressionFault::EmptyBar));
    }
    if let Some(repeat) = words.iter().find(|word| matches!(**word, "%" | "𝄎" | "./.")) {
        let repeated = before.filter(|_| words.len() == 1).cloned();
        return repeated.ok_or_else(|| (place(repeat), ProgressionFault::Repeat));
    }
    let mut bar: Vec<Option<Chord>> = Vec::new();
    for word in words {
        if word == "/" {
            // Beats are not counted: only a bar that begins with one says something new.
            let last = before.and_then(|before| before.0.last()).filter(|_| bar.is_empty());
            bar.extend(last);
            if bar.is_empty() {
                return Err((place(word), ProgressionFault::Beat));
            }
        } else {
            bar.push(read(word).map_err(|fault| (place(word), fault.into()))?);
        }
    }
    Ok(Bar(bar))
}

/// A chord, or none where the word says so.
fn read(word: &str) -> Result<Option<Chord>, ChordError> {
    match word.to_ascii_uppercase().as_str() {
        "N.C." | "N.C" | "NC" | "NC." => Ok(None),
        _ => word.parse().map(Some),
    }
}

/// What stands between blanks; a blank within brackets parts nothing.
fn words(piece: &str) -> Vec<&str> {
    let mut open = false;
    let parts = |letter: char| {
        open = letter == '(' || open && letter != ')';
        letter.is_whitespace() && !open
    };
    let words = piece.split(parts).map(str::trim);
    words.filter(|word| !word.is_empty()).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn written(text: &str) -> Vec<String> {
        let bar = |bar: &Bar| bar.written(|chord| chord.to_string()).collect::<Vec<_>>().join(" ");
        progression(text).unwrap().iter().map(bar).collect()
    }

    #[test]
    fn bars_and_chords() {
        assert_eq!(written("D | A/C# | Bm | G"), ["D", "A/C#", "Bm", "G"]);
        assert_eq!(written("D|A7  Em|%|\tG "), ["D", "A7 Em", "A7 Em", "G"]);
        assert_eq!(written("| C | % |"), ["C", "C"]);
        assert_eq!(written("F"), ["F"]);
        assert_eq!(written("C | 𝄎 | ./."), ["C", "C", "C"]);
    }

    #[test]
    fn a_blank_in_brackets_parts_nothing() {
        assert_eq!(written("C7(b5, b9) F6/9 | Cm7(b5)/Gb"), ["C7b5b9 F6/9", "Cm7b5/Gb"]);
    }

    #[test]
    fn no_chord_and_beats() {
        assert_eq!(written("N.C. | C NC | n.c."), ["N.C.", "C N.C.", "N.C."]);
        assert_eq!(written("C / G / | / / F / | %"), ["C G", "G F", "G F"]);
        assert_eq!(progression("C N.C. | N.C.").unwrap().iter().flatten().count(), 1);
    }

    #[test]
    fn faults_say_where() {
        let fault = |text: &str| {
            let error = progression(text).unwrap_err();
            (text[error.at.clone()].to_owned(), error.at.start, error.fault)
        };
        assert!(matches!(fault("D | Bmx G"), (word, 4, ProgressionFault::Chord(_)) if word == "Bmx"));
        assert!(matches!(fault("B♭ | é"), (word, 7, ProgressionFault::Chord(_)) if word == "é"));
        assert!(matches!(fault("C | D (b9"), (word, 6, ProgressionFault::Chord(_)) if word == "(b9"));
        assert!(matches!(fault("D | | G"), (word, 3, ProgressionFault::EmptyBar) if word == " "));
        assert!(matches!(fault("D || G"), (_, 3, ProgressionFault::EmptyBar)));
        assert!(matches!(fault("  "), (_, 0, ProgressionFault::EmptyBar)));
        assert!(matches!(fault(""), (_, 0, ProgressionFault::EmptyBar)));
        assert!(matches!(fault("||"), (_, 1, ProgressionFault::EmptyBar)));
        assert!(matches!(fault("|"), (_, 0, ProgressionFault::EmptyBar)));
        assert!(matches!(fault("% | G"), (_, 0, ProgressionFault::Repeat)));
        assert!(matches!(fault("G | D %"), (_, 6, ProgressionFault::Repeat)));
        assert!(matches!(fault("/ / | G"), (_, 0, ProgressionFault::Beat)));
        assert_eq!(
            progression("D | Bmx").unwrap_err().to_string(),
            "\"Bmx\" is no chord: \"mx\" after the root is not known; did you mean \"Bm\"?"
        );
    }
}
