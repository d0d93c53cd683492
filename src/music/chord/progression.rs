//! The chords of a section, bar by bar, as a chart writes them in one line.

use std::ops::Range;

use super::{Chord, ChordError};

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
    #[error("this bar has no chord: write one, or % for the bar before once more")]
    EmptyBar,
    /// `%` without a bar before it, or beside chords.
    #[error("% is a bar by itself, the one before it once more: write it between bar lines, after a bar of chords")]
    Repeat,
}

/// Reads the chords of a section: bars separated by `|`, chords within a bar by spaces, `%` for the bar
/// before once more (common practice in charts). A bar line may also open and close the line.
///
/// # Errors
/// The first fault, with its place.
pub fn progression(text: &str) -> Result<Vec<Vec<Chord>>, ProgressionError> {
    let mut bars: Vec<Vec<Chord>> = Vec::new();
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
fn bar(piece: &str, before: Option<&Vec<Chord>>) -> Result<Vec<Chord>, (Range<usize>, ProgressionFault)> {
    let place = |word: &str| {
        let start = word.as_ptr() as usize - piece.as_ptr() as usize;
        start..start + word.len()
    };
    let words: Vec<&str> = piece.split_whitespace().collect();
    if words.is_empty() {
        return Err((0..piece.len(), ProgressionFault::EmptyBar));
    }
    if let Some(repeat) = words.iter().find(|word| **word == "%") {
        let repeated = before.filter(|_| words.len() == 1).cloned();
        return repeated.ok_or_else(|| (place(repeat), ProgressionFault::Repeat));
    }
    words.iter().map(|word| word.parse().map_err(|fault: ChordError| (place(word), fault.into()))).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn written(text: &str) -> Vec<String> {
        let bar = |bar: &Vec<Chord>| bar.iter().map(ToString::to_string).collect::<Vec<_>>().join(" ");
        progression(text).unwrap().iter().map(bar).collect()
    }

    #[test]
    fn bars_and_chords() {
        assert_eq!(written("D | A/C# | Bm | G"), ["D", "A/C#", "Bm", "G"]);
        assert_eq!(written("D|A7  Em|%|\tG "), ["D", "A7 Em", "A7 Em", "G"]);
        assert_eq!(written("| C | % |"), ["C", "C"]);
        assert_eq!(written("F"), ["F"]);
    }

    #[test]
    fn faults_say_where() {
        let fault = |text: &str| {
            let error = progression(text).unwrap_err();
            (text[error.at.clone()].to_owned(), error.at.start, error.fault)
        };
        assert!(matches!(fault("D | Bmx G"), (word, 4, ProgressionFault::Chord(_)) if word == "Bmx"));
        assert!(matches!(fault("B♭ | é"), (word, 7, ProgressionFault::Chord(_)) if word == "é"));
        assert!(matches!(fault("D | | G"), (word, 3, ProgressionFault::EmptyBar) if word == " "));
        assert!(matches!(fault("D || G"), (_, 3, ProgressionFault::EmptyBar)));
        assert!(matches!(fault("  "), (_, 0, ProgressionFault::EmptyBar)));
        assert!(matches!(fault(""), (_, 0, ProgressionFault::EmptyBar)));
        assert!(matches!(fault("||"), (_, 1, ProgressionFault::EmptyBar)));
        assert!(matches!(fault("|"), (_, 0, ProgressionFault::EmptyBar)));
        assert!(matches!(fault("% | G"), (_, 0, ProgressionFault::Repeat)));
        assert!(matches!(fault("G | D %"), (_, 6, ProgressionFault::Repeat)));
        assert_eq!(
            progression("D | Bmx").unwrap_err().to_string(),
            "\"Bmx\" is no chord: \"mx\" after the root is not known; did you mean \"Bm\"?"
        );
    }
}
