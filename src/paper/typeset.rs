//! A line of text as glyphs: which way each part of it runs, which face has its letters, and where each glyph stands.

use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::ops::Range;

use unicode_bidi::BidiInfo;
use unicode_width::UnicodeWidthChar;

use super::face::{Face, Glyph};
use super::fonts::{FontError, Fonts};
use super::shape::Run;
use super::text_width::{Weight, cleaned};

/// What stands for a letter that no font has.
const NO_LETTER: char = '\u{FFFD}';

/// Glyphs of one face, in the order in which they stand from left to right.
pub(super) struct Piece {
    /// The face's number.
    pub face: usize,
    /// What is asked of the face that it may not have.
    pub weight: Weight,
    pub slanted: bool,
    pub glyphs: Vec<Glyph>,
    /// How wide they are together, in letter sizes.
    pub wide: f64,
}

/// A word of a face, and whether it runs backward.
type Word = (usize, String, bool);

/// Makes glyphs of text.
pub(super) struct Typesetter {
    /// The usual family plain, bold, slanted and both, then what has letters that it lacks.
    pub faces: Vec<Face>,
    /// Which letters of the texts each of them has.
    letters: Vec<BTreeSet<char>>,
    /// Words that were met before: most come on many sheets.
    known: HashMap<Word, Vec<Glyph>>,
    /// Letters that no font has, with a word in which each is.
    pub missing: BTreeMap<char, String>,
}

impl Typesetter {
    /// For texts that have these letters.
    ///
    /// # Errors
    /// The usual face cannot be read.
    pub fn new(fonts: &Fonts, letters: BTreeSet<char>) -> Result<Typesetter, FontError> {
        let styles = [(Weight::Plain, false), (Weight::Bold, false), (Weight::Plain, true), (Weight::Bold, true)];
        let usual: Option<Vec<Face>> = styles.iter().map(|(weight, slanted)| fonts.face(*weight, *slanted)).collect();
        let mut faces = usual.ok_or(FontError::NoFont)?;
        let lacks = |letter: &&char| faces.first().is_some_and(|face| !face.has(**letter));
        let wanted = letters.iter().filter(|letter| !is_silent(**letter)).filter(lacks).copied().collect();
        faces.extend(fonts.others(wanted));
        let all = || letters.iter().copied().chain([NO_LETTER]);
        let letters = faces.iter().map(|face| all().filter(|letter| face.has(*letter)).collect()).collect();
        Ok(Typesetter { faces, letters, known: HashMap::new(), missing: BTreeMap::new() })
    }

    /// A line of text, from left to right.
    pub fn line(&mut self, runs: &[Run]) -> Vec<Piece> {
        let mut text = String::new();
        let mut ends = Vec::new();
        for run in runs {
            text.push_str(&cleaned(&run.words));
            ends.push((text.len(), run));
        }
        let bidi = BidiInfo::new(&text, None);
        let mut pieces = Vec::new();
        for paragraph in &bidi.paragraphs {
            let (levels, visual) = bidi.visual_runs(paragraph, paragraph.range.clone());
            for range in visual {
                let backward = levels.get(range.start).is_some_and(|level| level.is_rtl());
                let mut stretch = Vec::new();
                for (part, run) in parts(&text, range, &ends) {
                    stretch.extend(self.stretch((&text, part), run, backward));
                }
                if backward {
                    stretch.reverse();
                }
                pieces.extend(stretch);
            }
        }
        pieces
    }

    /// What runs one way and is of one kind, in the order in which it is read: a piece for each word and face. A word is
    /// shaped by itself, since words of several scripts stand in one line.
    fn stretch(&mut self, (text, part): (&str, Range<usize>), run: &Run, backward: bool) -> Vec<Piece> {
        let mut pieces: Vec<(usize, String)> = Vec::new();
        let mut in_word = false;
        for cluster in clusters(&text[part.clone()]) {
            let begins = cluster.contains(char::is_whitespace) || !std::mem::replace(&mut in_word, true);
            let (face, written) = self.face_of(cluster, run, || word_around(text, part.clone(), cluster));
            in_word = !cluster.contains(char::is_whitespace);
            match pieces.last_mut().filter(|(last, _)| *last == face && !begins) {
                Some((_, words)) => words.push_str(&written),
                None => pieces.push((face, written)),
            }
        }
        let piece = |(face, words): (usize, String)| {
            let faces = &self.faces;
            let shaped = |(face, words, backward): &Word| {
                faces.get(*face).map(|face| face.glyphs(words, *backward)).unwrap_or_default()
            };
            let word = (face, words, backward);
            let glyphs = match self.known.get(&word) {
                Some(glyphs) => glyphs.clone(),
                None => {
                    let glyphs = shaped(&word);
                    self.known.insert(word, glyphs.clone());
                    glyphs
                }
            };
            let wide = glyphs.iter().map(|glyph| glyph.advance).sum();
            Piece { face, weight: run.weight, slanted: run.slanted, glyphs, wide }
        };
        pieces.into_iter().map(piece).collect()
    }

    /// The face that has all of a letter with its marks, else the letter alone; and what is written with it.
    fn face_of(&mut self, cluster: &str, run: &Run, word: impl Fn() -> String) -> (usize, String) {
        let style = usize::from(run.weight == Weight::Bold) + 2 * usize::from(run.slanted);
        let order = || [style, 0].into_iter().chain(4..self.faces.len());
        let has = |face: &usize, letter: char| self.letters.get(*face).is_some_and(|has| has.contains(&letter));
        let visible = || cluster.chars().filter(|letter| !is_silent(*letter));
        if let Some(face) = order().find(|face| visible().all(|letter| has(face, letter))) {
            return (face, cluster.to_owned());
        }
        let first = visible().next().unwrap_or(NO_LETTER);
        let face = order().find(|face| has(face, first)).unwrap_or(style);
        let lacking: Vec<char> = visible().filter(|letter| !has(&face, *letter)).collect();
        for letter in &lacking {
            self.missing.entry(*letter).or_insert_with(&word);
        }
        let written = cluster.chars().map(|letter| if lacking.contains(&letter) { NO_LETTER } else { letter });
        (face, written.collect())
    }
}

/// What has no form of its own: joiners, selectors, directions, blanks.
pub(super) fn is_silent(letter: char) -> bool {
    matches!(letter, '\u{AD}' | '\u{34F}' | '\u{61C}' | '\u{180B}'..='\u{180E}' | '\u{200B}'..='\u{200F}'
        | '\u{2060}'..='\u{206F}' | '\u{FE00}'..='\u{FE0F}' | '\u{FEFF}' | '\u{E0000}'..='\u{E0FFF}')
        || letter.is_whitespace()
}

/// The parts of a range that are of one kind each.
fn parts<'r>(text: &str, range: Range<usize>, ends: &[(usize, &'r Run)]) -> Vec<(Range<usize>, &'r Run)> {
    let mut parts = Vec::new();
    let mut from = range.start;
    for (end, run) in ends {
        let to = range.end.min(*end);
        if from < to && text.is_char_boundary(from) && text.is_char_boundary(to) {
            parts.push((from..to, *run));
            from = to;
        }
    }
    parts
}

/// Letters, each with the marks that stand on it.
fn clusters(text: &str) -> impl Iterator<Item = &str> {
    let begins = |letter: char| letter.width().unwrap_or(0) > 0 || letter.is_whitespace();
    let mut starts: Vec<usize> = Vec::new();
    for (at, letter) in text.char_indices() {
        if at == 0 || begins(letter) {
            starts.push(at);
        }
    }
    let ends: Vec<usize> = starts.iter().skip(1).copied().chain([text.len()]).collect();
    starts.into_iter().zip(ends).filter_map(move |(from, to)| text.get(from..to))
}

/// The word of a text in which a letter of it is.
fn word_around(text: &str, part: Range<usize>, cluster: &str) -> String {
    let within = text.get(part).unwrap_or(text);
    within.split_whitespace().find(|word| word.contains(cluster)).unwrap_or(cluster).to_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn set(words: &str) -> (Typesetter, Vec<Piece>) {
        let fonts = Fonts::of_system().expect("the system has a font");
        let mut typesetter = Typesetter::new(&fonts, words.chars().collect()).expect("its letters are read");
        let pieces = typesetter.line(&[Run::plain(words)]);
        (typesetter, pieces)
    }

    fn read(pieces: &[Piece]) -> String {
        pieces.iter().flat_map(|piece| &piece.glyphs).map(|glyph| glyph.text.as_str()).collect()
    }

    #[test]
    fn what_is_set_reads_as_it_was_written() {
        for words in ["Frost on the Window", "Κανών Зимний вечер", "Éa ♩ = 72 → ½", "Cafe\u{301} Dvořák"]
        {
            let (typesetter, pieces) = set(words);
            assert_eq!(read(&pieces), words);
            assert!(typesetter.missing.is_empty(), "{:?}", typesetter.missing);
            assert!(pieces.iter().all(|piece| piece.wide > 0.0));
        }
    }

    #[test]
    fn what_runs_from_right_to_left_stands_so_and_what_does_not_stands_within_it() {
        let (typesetter, pieces) = set("שלום abc");
        assert!(typesetter.missing.is_empty());
        // From left to right: the Latin word, the blank, the Hebrew word from its last letter.
        assert_eq!(read(&pieces), "abc םולש");
        let (_, pieces) = set("Song שלום 12 end");
        assert!(read(&pieces).starts_with("Song ") && read(&pieces).ends_with(" end"), "{}", read(&pieces));
        assert!(read(&pieces).contains("12"));
    }

    #[test]
    fn joined_letters_are_joined_and_marks_take_no_room() {
        let (_, joined) = set("سلام");
        let (_, apart) = set("س ل ا م");
        let ids =
            |pieces: &[Piece]| pieces.iter().flat_map(|piece| &piece.glyphs).map(|glyph| glyph.id).collect::<Vec<_>>();
        // The first letter stands on the right.
        let alone = *ids(&apart).last().expect("a letter");
        assert!(!ids(&joined).contains(&alone), "its form depends on its neighbours");
        let (_, marked) = set("x\u{323}");
        let (_, bare) = set("x");
        let wide = |pieces: &[Piece]| pieces.iter().map(|piece| piece.wide).sum::<f64>();
        assert!((wide(&marked) - wide(&bare)).abs() < 1e-6);
    }

    #[test]
    fn a_letter_that_no_font_has_is_named_with_its_word() {
        let (typesetter, pieces) = set("Snow \u{10FFFD}x here");
        let missing: Vec<(char, String)> = typesetter.missing.into_iter().collect();
        assert_eq!(missing, [('\u{10FFFD}', "\u{10FFFD}x".to_owned())]);
        assert_eq!(read(&pieces), "Snow \u{FFFD}x here");
    }
}
