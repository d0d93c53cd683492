//! How a diagnostic looks to a person: the sentence, the file and line, the line with its mark, what to write.
//!
//! ```text
//! There is no sound called "grant" in the gear file.
//! songs/weir-gate.toml, line 11
//!     sound = "grant"
//!             ~~~~~~~ did you mean "grand"?
//! ```

use std::fmt::Write as _;
use std::ops::Range;

use unicode_width::{UnicodeWidthChar, UnicodeWidthStr};

use super::diagnostic::{Diagnostic, Level, boundary, sentence};
use super::{Source, Spot, secret};

/// What stands before a line of a map.
const INDENT: &str = "    ";
/// Columns for a line of a map, and for a mark with what to write beside it.
const ROOM: usize = 96;
/// Columns that stay before a mark where the line is cut at its beginning.
const BEFORE: usize = 30;

/// A line of a map with its marks; the first of them is the first that was named.
struct Pointed<'a> {
    source: &'a Source,
    /// The line's bytes in the file.
    line: Range<usize>,
    /// What is marked, as bytes of the line, with a few words that may be none.
    marks: Vec<(Range<usize>, &'a str)>,
    /// The file as a whole: no line is shown.
    whole: bool,
}

/// How a message is coloured.
struct Colours {
    begin: &'static str,
    end: &'static str,
}

impl Colours {
    fn of(level: Level, colour: bool) -> Self {
        match level {
            _ if !colour => Colours { begin: "", end: "" },
            Level::Error => Colours { begin: "\u{1b}[1;31m", end: "\u{1b}[0m" },
            Level::Hint => Colours { begin: "\u{1b}[1;36m", end: "\u{1b}[0m" },
        }
    }
}

impl Diagnostic {
    /// As a person reads it: the sentence, the file and line, the line with its mark, and what to write instead, beside
    /// the mark or below. A hint says that it is one. Ends without a newline.
    #[must_use]
    pub fn render(&self, sources: &[Source], colour: bool) -> String {
        let ink = Colours::of(self.level, colour);
        let hint = if self.level == Level::Hint { "Hint: " } else { "" };
        let mut text = format!("{}{hint}{}{}", ink.begin, clean(&self.title), ink.end);
        let mut help = self.help.as_deref().map(clean);
        let mut before: Option<(&str, usize)> = None;
        for pointed in self.pointed(sources) {
            let number = pointed.source.text[..pointed.line.start].matches('\n').count() + 1;
            let path = pointed.source.path.as_str();
            text.push_str(&where_it_is(before, (path, number), pointed.whole));
            if !pointed.whole {
                let first = before.is_none();
                pointed.draw(&mut text, if first { &ink } else { &Colours { begin: "", end: "" } }, first, &mut help);
            }
            before = Some((path, number));
        }
        if let Some(help) = help {
            let _ = write!(text, "\n{}", sentence(&help));
        }
        text
    }

    /// The lines that it points at, its own first.
    fn pointed<'a>(&'a self, sources: &'a [Source]) -> Vec<Pointed<'a>> {
        let own = self.spot.map(|spot| (spot, self.label.as_str()));
        let others = self.also.iter().map(|(spot, label)| (*spot, label.as_str()));
        let mut lines: Vec<Pointed<'a>> = Vec::new();
        for (spot, label) in own.into_iter().chain(others) {
            let Some(new) = sources.get(spot.file).map(|source| Pointed::new(source, spot, label)) else { continue };
            let same = |known: &&mut Pointed<'_>| {
                std::ptr::eq(known.source, new.source) && known.line == new.line && !known.whole && new.fits()
            };
            match lines.iter_mut().find(same) {
                Some(known) => known.marks.extend(new.marks),
                None => lines.push(new),
            }
        }
        // All of one file together, in the order in which the files were named.
        let mut files: Vec<&Source> = Vec::new();
        for pointed in &lines {
            if !files.iter().any(|known| std::ptr::eq(*known, pointed.source)) {
                files.push(pointed.source);
            }
        }
        lines.sort_by_key(|pointed| files.iter().position(|file| std::ptr::eq(*file, pointed.source)));
        lines
    }
}

/// A new line that says where it is: the first place with its file, a further one in the same file by its line alone.
fn where_it_is(before: Option<(&str, usize)>, (path, number): (&str, usize), whole: bool) -> String {
    let and = if before.is_some() { "and " } else { "" };
    match before {
        _ if whole => format!("\n{and}{}", clean(path)),
        Some((known, _)) if known == path => format!("\n{and}line {number}"),
        _ => format!("\n{and}{}, line {number}", clean(path)),
    }
}

impl<'a> Pointed<'a> {
    fn new(source: &'a Source, spot: Spot, label: &'a str) -> Self {
        let text = source.text.as_str();
        let start = boundary(text, spot.start);
        let from = text[..start].rfind('\n').map_or(0, |newline| newline + 1);
        let line = text[from..].lines().next().unwrap_or_default();
        let start = (start - from).min(line.len());
        let end = boundary(text, spot.end).saturating_sub(from).clamp(start, line.len());
        Pointed {
            source,
            line: from..from + line.len(),
            marks: vec![(start..end, label)],
            whole: spot.start == 0 && spot.end == 0,
        }
    }

    fn text(&self) -> &'a str {
        &self.source.text[self.line.clone()]
    }

    /// From where on nobody may see the line.
    fn secret(&self) -> Option<usize> {
        secret::from(&self.source.text, self.line.clone())
    }

    /// Whether the line can be shown without a cut.
    fn fits(&self) -> bool {
        clean(self.text()).width() <= ROOM
    }

    /// Draws the line, and below it each mark with its words. The first mark of all takes the help where it has no
    /// words of its own and there is room.
    fn draw(&self, text: &mut String, ink: &Colours, first: bool, help: &mut Option<String>) {
        for (number, (mark, label)) in self.marks.iter().enumerate() {
            let (line, before, width) = window(self.text(), mark.clone(), self.secret());
            if number == 0 {
                let _ = write!(text, "\n{INDENT}{}", line.trim_end());
            }
            let mut words = clean(label);
            if first && number == 0 && words.is_empty() {
                words = help.take_if(|help| before + width + 1 + help.width() <= ROOM).unwrap_or_default();
            }
            let gap = if words.is_empty() { "" } else { " " };
            let (pad, marked) = (" ".repeat(before), "~".repeat(width));
            let (begin, end) = if number == 0 { (ink.begin, ink.end) } else { ("", "") };
            let _ = write!(text, "\n{INDENT}{pad}{begin}{marked}{gap}{words}{end}");
        }
    }
}

/// A line as it is shown, with the columns before and below its mark. A long one is cut where the mark is not.
fn window(line: &str, mark: Range<usize>, secret: Option<usize>) -> (String, usize, usize) {
    let parts = [0..mark.start, mark.clone(), mark.end..line.len()];
    let [mut head, mut body, mut tail] =
        parts.map(|part| clean(&secret::hide(&line[part.clone()], part.start, secret)));
    if head.width() + body.width().min(ROOM / 2) > ROOM {
        head = end_of(&head, BEFORE);
    }
    body = beginning_of(&body, ROOM - head.width());
    tail = beginning_of(&tail, ROOM - head.width() - body.width());
    let (before, width) = (head.width(), body.width().max(1));
    (head + &body + &tail, before, width)
}

/// The beginning of a text, in so many columns; an ellipsis stands for the rest.
fn beginning_of(text: &str, room: usize) -> String {
    if text.width() <= room || room == 0 {
        return if room == 0 { String::new() } else { text.to_owned() };
    }
    let mut width = 0;
    let mut full = |c: char| {
        width += c.width().unwrap_or(0);
        width >= room
    };
    let end = text.char_indices().find(|(_, c)| full(*c)).map_or(text.len(), |(at, _)| at);
    format!("{}…", &text[..end])
}

/// The end of a text that is longer than so many columns, after an ellipsis.
fn end_of(text: &str, room: usize) -> String {
    let mut width = 0;
    let mut full = |c: char| {
        width += c.width().unwrap_or(0);
        width >= room
    };
    let from = text.char_indices().rev().find(|(_, c)| full(*c)).map_or(0, |(at, c)| at + c.len_utf8());
    format!("…{}", &text[from..])
}

/// A text without what would command or confuse a terminal; tabs are as wide as an indent.
fn clean(text: &str) -> String {
    super::clean::clean(&text.replace('\t', INDENT))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::map::FaultKind;

    fn source(text: &str) -> Vec<Source> {
        vec![Source { path: "a.toml".to_owned(), text: text.to_owned() }]
    }

    fn at(start: usize, end: usize) -> Diagnostic {
        Diagnostic::error(FaultKind::Finding, Spot { file: 0, start, end }, "something is wrong")
            .label("here")
            .help("x")
    }

    #[test]
    fn awkward_places_are_shown_without_a_panic() {
        let long = format!("key = \"{}\" # ü\ttab", "x".repeat(3000));
        let texts = ["", "\n", "a", "ü\u{301}\t\"𝄞\"\r\nb", "\u{feff}x = 1", "a\0b\u{1b}[1m", long.as_str(), "a\n\n\n"];
        for text in texts {
            for start in (0..=text.len().min(40)).chain([text.len(), text.len() + 9]) {
                for end in [start, start + 1, start + 3, text.len(), usize::MAX] {
                    for colour in [false, true] {
                        let shown = at(start, end).render(&source(text), colour);
                        assert!(shown.contains("Something is wrong."));
                        assert!(colour || shown.lines().all(|line| line.width() <= ROOM + INDENT.len() + 5), "{shown}");
                    }
                    let _ = at(start, end).listed(&source(text));
                }
            }
        }
    }

    #[test]
    fn no_character_of_a_map_commands_the_terminal() {
        let controls: String = ('\0'..='\u{9f}').filter(|c| c.is_control() && *c != '\n').collect();
        let shown = at(1, 2).render(&source(&format!("a{controls}b\u{202e}c\u{9b}2J")), false);
        assert!(shown.chars().all(|c| c == '\n' || !c.is_control()), "{shown:?}");
        assert!(!shown.contains('\u{202e}'), "{shown:?}");
    }

    #[test]
    fn without_a_file_only_the_sentence_is_shown() {
        let lone = Diagnostic::error(FaultKind::Unreadable, None, "there is no set");
        assert_eq!(lone.render(&[], false), "There is no set.");
        let elsewhere = Diagnostic::hint(Spot { file: 7, start: 1, end: 2 }, "that is odd");
        assert_eq!(elsewhere.render(&[], false), "Hint: That is odd.");
    }

    #[test]
    fn a_mark_lies_below_what_it_marks_however_wide_the_letters_are() {
        let wide = "k = \"雪\u{301}e\u{301}\u{301}\" # x";
        let start = wide.find('#').unwrap();
        let shown = at(start, start + 1).render(&source(wide), false);
        assert_eq!(shown, format!("Something is wrong.\na.toml, line 1\n    {wide}\n    {}~ here\nX.", " ".repeat(10)));
    }

    #[test]
    fn what_to_write_stands_beside_the_mark_where_there_is_room() {
        let short = Diagnostic::error(FaultKind::Finding, Spot { file: 0, start: 4, end: 7 }, "wrong").help("write 5");
        assert_eq!(
            short.render(&source("a = 123\n"), false),
            "Wrong.\na.toml, line 1\n    a = 123\n        ~~~ write 5"
        );
        let long = short.help(format!("write {}", "5".repeat(90)));
        let below = format!("Wrong.\na.toml, line 1\n    a = 123\n        ~~~\nWrite {}.", "5".repeat(90));
        assert_eq!(long.render(&source("a = 123\n"), false), below);
    }

    #[test]
    fn further_places_come_after_the_first_and_share_its_line_where_they_can() {
        let spot = |start| Spot { file: 0, start, end: start + 1 };
        let fault = Diagnostic::error(FaultKind::Finding, spot(6), "wrong").help("write 5");
        let fault = fault.also(spot(0), "with this").also(spot(4), "and this");
        let shown =
            "Wrong.\na.toml, line 2\n    4 6\n      ~ write 5\n    ~ and this\nand line 1\n    a b\n    ~ with this";
        assert_eq!(fault.render(&source("a b\n4 6\n"), false), shown);
    }

    #[test]
    fn a_long_line_is_cut_around_its_mark() {
        let text = format!("{}MARK{}", "a".repeat(300), "b".repeat(300));
        let shown = at(300, 304).render(&source(&text), false);
        let line = shown.lines().nth(2).unwrap();
        assert_eq!(line, format!("    …{}MARK{}…", "a".repeat(29), "b".repeat(61)));
        assert_eq!(shown.lines().nth(3), Some(format!("{}~~~~ here", " ".repeat(34)).as_str()));
    }

    #[test]
    fn a_sentence_has_a_capital_letter_and_a_full_stop() {
        assert_eq!(sentence("write \"x\""), "Write \"x\".");
        assert_eq!(sentence("\"x\" is no key"), "\"x\" is no key.");
        assert_eq!(sentence("which one?"), "Which one?");
        assert_eq!(sentence(""), ".");
    }
}
