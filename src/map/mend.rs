//! What an editor, a word processor or a habit puts into a map that TOML does not take, but that can mean one thing only.
//! It is said, with the line as it should be, and read as it is meant, so that whatever else is wrong is found too.

use std::ops::Range;

use super::diagnostic::{Diagnostic, FaultKind};
use super::rewritten::Rewritten;
use super::{Spot, schema, secret};

/// Quotation marks of word processors.
const QUOTES: [char; 11] = ['“', '”', '„', '‟', '«', '»', '″', '‘', '’', '‚', '‛'];
/// Blanks that are none to TOML.
const BLANKS: [char; 6] = ['\u{a0}', '\u{202f}', '\u{2007}', '\u{2009}', '\u{200b}', '\u{3000}'];
/// Dashes that are no minus.
const DASHES: [char; 4] = ['–', '—', '−', '‐'];

/// What is wrong with a sign.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Slip {
    Quotes,
    Blank,
    Dash,
    Comma,
    Unit,
    Flag,
    Colon,
    Backslash,
    TwoBrackets,
    OneBracket,
    OpenBracket,
}

impl Slip {
    fn title(self) -> &'static str {
        match self {
            Slip::Quotes => "these quotation marks are a word processor's, not the plain ones",
            Slip::Blank => "this is not a plain blank, though it looks like one",
            Slip::Dash => "this dash is not a minus sign",
            Slip::Comma => "a number has a point before its decimals, not a comma",
            Slip::Unit => "a number is written without a unit",
            Slip::Flag => "yes and no are written true and false",
            Slip::Colon => "between a field and its value stands =, not a colon",
            Slip::Backslash => "a path has / between its parts, not a backslash",
            Slip::TwoBrackets => "there can be several of these, so each header has two brackets",
            Slip::OneBracket => "there is only one of these, so its header has one bracket",
            Slip::OpenBracket => "a bracket of this header is missing",
        }
    }
}

/// A map as it is meant, and what was put right.
pub(super) fn mended(text: &str, file: usize) -> (Rewritten, Vec<Diagnostic>) {
    let mut mending = Mending { text, new: Rewritten::default(), open: None, depth: Vec::new() };
    let mut faults = Vec::new();
    let mut start = 0;
    for line in text.split_inclusive('\n') {
        let part = start..start + line.len();
        let from = mending.new.text.len();
        if let Some((slip, at)) = mending.line(part.clone()) {
            let spot = Spot { file, start: at.start, end: at.end };
            let fault = Diagnostic::error(FaultKind::Unreadable, spot, slip.title());
            faults.push(fault.help(help(text, part.clone(), &mending.new.text[from..])));
        }
        start = part.end;
    }
    (mending.new, faults)
}

/// The line as it should be, unless nobody may see it.
fn help(text: &str, line: Range<usize>, new: &str) -> String {
    const LONGEST: usize = 160;
    let shown = new.trim();
    if secret::from(text, line).is_some() || shown.chars().count() > LONGEST {
        return "write the line with the plain sign, as it is on the keys of a computer".to_owned();
    }
    format!("write {shown}")
}

/// A text that is being put right, line by line.
struct Mending<'t> {
    text: &'t str,
    new: Rewritten,
    /// The sign that ends a text of several lines, while one is open.
    open: Option<&'static str>,
    /// Brackets that are open.
    depth: Vec<char>,
}

/// The first slip of a line, and where.
type Found = Option<(Slip, Range<usize>)>;

impl Mending<'_> {
    /// One line.
    fn line(&mut self, part: Range<usize>) -> Found {
        let mut at = part.start;
        if let Some(ends) = self.open {
            let rest = &self.text[part.clone()];
            let Some(end) = rest.find(ends) else {
                self.new.keep(self.text, part);
                return None;
            };
            self.open = None;
            at = part.start + end + ends.len();
            self.new.keep(self.text, part.start..at);
        } else if self.depth.is_empty()
            && let Some(found) = self.header(part.clone())
        {
            return Some(found);
        }
        self.signs(at..part.end)
    }

    /// A header with the wrong brackets.
    fn header(&mut self, part: Range<usize>) -> Found {
        let line = &self.text[part.clone()];
        let bare = line.split('#').next().unwrap_or_default().trim_end();
        let start = bare.len() - bare.trim_start().len();
        let written = &bare[start..];
        // A name in quotation marks may have brackets of its own.
        if written.contains(['"', '\'']) {
            return None;
        }
        let name = written.trim_matches(['[', ']', ' ', '\t']);
        let count = |bracket: char| written.chars().filter(|letter| *letter == bracket).count();
        let (opening, closing) = (count('['), count(']'));
        let first = name.split('.').next().unwrap_or_default().trim();
        let wanted = match (schema::brackets(name), schema::brackets(first)) {
            (Some(2), _) => 2,
            (_, Some(1)) => 1,
            _ => return None,
        };
        if !written.starts_with('[') || (opening, closing) == (wanted, wanted) {
            return None;
        }
        let slip = match (opening == closing, wanted) {
            (false, _) => Slip::OpenBracket,
            (true, 2) => Slip::TwoBrackets,
            _ => Slip::OneBracket,
        };
        let (from, to) = (part.start + start, part.start + bare.len());
        self.new.keep(self.text, part.start..from);
        self.new.put(&format!("{}{name}{}", "[".repeat(wanted), "]".repeat(wanted)), from);
        self.new.keep(self.text, to..part.end);
        Some((slip, from..to))
    }

    /// What stands in a line, sign by sign.
    fn signs(&mut self, part: Range<usize>) -> Found {
        let mut line = Line { whole: self, at: part.start, end: part.end, found: None, field: None };
        line.field = line.field_at(part.start);
        while let Some(letter) = line.rest().chars().next() {
            match letter {
                '#' => line.keep(part.end - line.at),
                '"' | '\'' => line.plain_text(letter),
                '=' => line.value(),
                ':' if line.field.is_some_and(|(_, after)| after == line.at) => line.colon(),
                letter if QUOTES.contains(&letter) => line.quoted(letter),
                letter if BLANKS.contains(&letter) => line.put(Slip::Blank, letter.len_utf8(), " "),
                letter if DASHES.contains(&letter) => line.put(Slip::Dash, letter.len_utf8(), "-"),
                letter => line.bracket(letter),
            }
        }
        line.found
    }
}

/// A line in which one goes forward.
struct Line<'d, 't> {
    whole: &'d mut Mending<'t>,
    at: usize,
    end: usize,
    found: Found,
    /// The field that is being written, and where its name ends.
    field: Option<(&'t str, usize)>,
}

impl<'t> Line<'_, 't> {
    fn rest(&self) -> &'t str {
        &self.whole.text[self.at..self.end]
    }

    fn keep(&mut self, length: usize) {
        self.whole.new.keep(self.whole.text, self.at..self.at + length);
        self.at += length;
    }

    fn put(&mut self, slip: Slip, length: usize, text: &str) {
        self.found.get_or_insert((slip, self.at..self.at + length));
        self.whole.new.put(text, self.at);
        self.at += length;
    }

    /// A name at which a field may begin, and where it ends.
    fn field_at(&self, at: usize) -> Option<(&'t str, usize)> {
        let rest = &self.whole.text[at..self.end];
        let blank = rest.len() - rest.trim_start().len();
        let name = rest[blank..].split(|letter: char| !letter.is_ascii_alphanumeric() && letter != '_').next()?;
        let is_name = name.starts_with(|letter: char| letter.is_ascii_alphabetic());
        let end = at + blank + name.len();
        let end = end + self.whole.text[end..self.end].chars().take_while(|letter| *letter == ' ').count();
        (is_name && self.whole.depth.last() != Some(&'[')).then_some((name, end))
    }

    fn bracket(&mut self, letter: char) {
        match letter {
            '[' | '{' => self.whole.depth.push(letter),
            ']' | '}' => drop(self.whole.depth.pop()),
            _ => {}
        }
        self.keep(letter.len_utf8());
        if matches!(letter, '{' | ',') {
            self.field = self.field_at(self.at);
        }
    }

    /// A colon behind a field.
    fn colon(&mut self) {
        let sign = if self.whole.text[..self.at].ends_with(' ') { "=" } else { " =" };
        self.put(Slip::Colon, 1, sign);
    }

    /// A text in plain quotation marks, which may be closed by others.
    fn plain_text(&mut self, sign: char) {
        let long = if sign == '"' { "\"\"\"" } else { "'''" };
        if self.rest().starts_with(long) {
            match self.rest()[3..].find(long) {
                Some(end) => self.keep(end + 6),
                None => {
                    self.whole.open = Some(long);
                    self.keep(self.end - self.at);
                }
            }
            return;
        }
        let mut escaped = false;
        let end = self.rest()[1..].find(|letter: char| {
            let ends = letter == sign && !escaped;
            escaped = letter == '\\' && !escaped && sign == '"';
            ends
        });
        match (end, self.rest()[1..].find(QUOTES)) {
            (Some(end), _) => self.path(end + 2),
            (None, Some(end)) => {
                self.keep(end + 1);
                let closing = self.rest().chars().next().map_or(0, char::len_utf8);
                self.put(Slip::Quotes, closing, &sign.to_string());
            }
            // Not closed at all: the parser says so.
            (None, None) => self.keep(self.end - self.at),
        }
    }

    /// A text of so many bytes, which is a path where the field is one.
    fn path(&mut self, length: usize) {
        let is_path = self.field.is_some_and(|(field, _)| matches!(field, "map" | "gear"));
        let written = &self.rest()[..length];
        if is_path && written.contains('\\') {
            let plain = written.replace("\\\\", "/").replace('\\', "/");
            self.put(Slip::Backslash, length, &plain);
        } else {
            self.keep(length);
        }
    }

    /// A text in a word processor's quotation marks.
    fn quoted(&mut self, opening: char) {
        let first = opening.len_utf8();
        let inside = &self.rest()[first..];
        // An apostrophe looks as the end of a text in single ones does.
        let end = if opening == '‘' {
            inside.rfind(QUOTES)
        } else {
            inside.find(|c| QUOTES.contains(&c) && c != '’' || c == '"')
        };
        self.put(Slip::Quotes, first, "\"");
        if let Some(end) = end {
            self.keep(end);
            let closing = self.rest().chars().next().map_or(0, char::len_utf8);
            self.put(Slip::Quotes, closing, "\"");
        }
    }

    /// The sign of a value, and the value where it is a number or a word.
    fn value(&mut self) {
        let field = self.field.take().map_or("", |(field, _)| field);
        self.keep(1);
        if !self.whole.depth.is_empty() {
            self.field = Some((field, 0));
            return;
        }
        let value = self.rest().split('#').next().unwrap_or_default();
        let blank = value.len() - value.trim_start().len();
        let value = value.trim();
        if let Some((slip, meant)) = meant(field, value) {
            self.keep(blank);
            self.put(slip, value.len(), &meant);
        }
        self.field = Some((field, 0));
    }
}

/// A number or a word as it is meant.
fn meant(field: &str, value: &str) -> Option<(Slip, String)> {
    const UNITS: [&str; 6] = ["bpm", "ms", "s", "sec", "db", "hz"];
    let is_flag = schema::is_flag(field);
    if let Some((_, word)) = [("yes", "true"), ("true", "true"), ("no", "false"), ("false", "false")]
        .into_iter()
        .find(|(said, word)| is_flag && value.eq_ignore_ascii_case(said) && value != *word)
    {
        return Some((Slip::Flag, word.to_owned()));
    }
    if !schema::is_number(field) && !field.ends_with("_ms") {
        return None;
    }
    let plain = value.replace(DASHES, "-").replace(BLANKS, " ");
    let digits = |text: &str| text.bytes().take_while(u8::is_ascii_digit).count();
    let sign = usize::from(plain.starts_with('-'));
    let whole = digits(&plain[sign..]);
    let mut end = sign + whole;
    let decimals = plain[end..].strip_prefix(['.', ',']).map_or(0, digits);
    let has_comma = decimals > 0 && plain[end..].starts_with(',');
    end += if decimals > 0 { decimals + 1 } else { 0 };
    let (number, rest) = (plain[..end].replace(',', "."), &plain[end..]);
    let unit = rest.trim().to_lowercase();
    let is_unit = UNITS.contains(&unit.as_str())
        || rest.starts_with(' ') && !unit.is_empty() && unit.len() <= 12 && unit.chars().all(char::is_alphabetic);
    match (whole > 0, unit.is_empty(), has_comma) {
        (true, false, _) if is_unit => Some((Slip::Unit, in_unit(field, &number, &unit))),
        (true, true, true) => Some((Slip::Comma, number)),
        _ => None,
    }
}

/// A number without its unit; seconds as milliseconds where the field counts these.
fn in_unit(field: &str, number: &str, unit: &str) -> String {
    let seconds = field.ends_with("_ms") && matches!(unit, "s" | "sec" | "second" | "seconds");
    match number.parse::<f64>() {
        Ok(number) if seconds => format!("{}", (number * 1000.0).round()),
        _ => number.to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_right_stays_as_it_is() {
        for text in [
            "[inputs.\"keys [2\"]\nport = 'a: b'\n",
            "title = \"“Snow” – 3,5 s\" # “so”: 3,5\n",
            "title = \"\"\"\n[zone]\nkey: “D”\n\"\"\"\nx = '''\n[song]'''\n",
            "order = [\n  \"Verse\", # [zone]\n  \"Chorus\",\n]\n",
            "points = [\n  [1, 40],\n  [127, 110],\n]\n",
            "[ stand ]\n[[ zone ]] # two\nlevel = -6.0\nbytes = \"F0 7E F7\"\n",
            "title = \"a\\\\b\"\nlocate = \"00:01:30:00\"\nport = 'C:\\x'\n",
            "tempo = 84\ntitle = No\ntitle = 3 candles\nweird = 1,5\n",
            "[curves]\n[drone]\n[sounds.a-b]\n[x.y\n[[other]\n",
        ] {
            let (mended, faults) = mended(text, 0);
            assert_eq!(mended.text, text);
            assert!(faults.is_empty(), "{faults:?}");
        }
    }

    #[test]
    fn what_is_put_right_is_right_then() {
        let text = "[zone]\ntitle: „a“\ntempo = –80,5 bpm\non\u{a0}= Yes\nmap = \"a\\b\"\n[[drone]\n";
        let right = "[[zone]]\ntitle = \"a\"\ntempo = -80.5\non = true\nmap = \"a/b\"\n[drone]\n";
        let (first, faults) = mended(text, 0);
        assert_eq!((first.text.as_str(), faults.len()), (right, 6));
        assert!(mended(&first.text, 0).1.is_empty());
    }
}
