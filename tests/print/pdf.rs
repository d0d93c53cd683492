//! Reads what our PDF has on its pages: each text with its place. Only what we write is understood, anything else fails:
//! streams that are not compressed, fonts whose widths are one list.

use std::collections::BTreeMap;

/// A piece of text, in millimetres from the upper left corner.
#[derive(Debug, Clone, PartialEq)]
pub struct WrittenText {
    pub words: String,
    pub left: f64,
    pub top: f64,
    pub right: f64,
    pub bottom: f64,
}

/// A page.
#[derive(Debug, Clone, Default)]
pub struct Page {
    pub texts: Vec<WrittenText>,
    /// How grey what is drawn is.
    pub shades: Vec<f64>,
}

/// The widths of each font's glyphs, by its name on the pages, in thousandths of the letter size.
pub type Widths = BTreeMap<String, Vec<f64>>;

/// What each glyph of a font means.
type Meanings = BTreeMap<u16, String>;

/// The pages of a file.
pub fn read(file: &[u8]) -> Vec<Page> {
    let objects = objects(file);
    let dictionary = |number: usize| objects.get(&number).map_or("", |(dictionary, _)| dictionary.as_str());
    let (_, (root, _)) = objects.iter().find(|(_, (text, _))| text.contains("/Type /Pages")).expect("a tree of pages");
    let resources = objects.values().find(|(text, _)| text.contains("/Font <<")).expect("resources");
    let mut fonts: BTreeMap<String, (Vec<f64>, Meanings)> = BTreeMap::new();
    for (name, id) in references(between(&resources.0, "/Font <<", ">>")) {
        let parent = dictionary(id);
        let descendant = dictionary(first_number(between(parent, "/DescendantFonts [", "]")));
        let widths = between(descendant, "/W [0 [", "]").split_whitespace().map(number).collect();
        let meanings = &objects[&first_number(after(parent, "/ToUnicode "))].1;
        fonts.insert(name, (widths, read_meanings(&String::from_utf8_lossy(meanings))));
    }
    let widths: Widths = fonts.iter().map(|(name, (widths, _))| (name.clone(), widths.clone())).collect();
    let kids = between(root, "/Kids [", "]").split(" R").filter(|kid| !kid.trim().is_empty());
    kids.map(|kid| {
        let content = first_number(after(dictionary(first_number(kid)), "/Contents "));
        let content = std::str::from_utf8(&objects[&content].1).expect("what we draw is text");
        let mut page = read_page(content, &widths);
        for text in &mut page.texts {
            let (font, glyphs) = text.words.split_once(' ').expect("a font and its glyphs");
            let meanings = &fonts[font].1;
            let glyphs = glyphs.split_whitespace().map(|glyph| u16::from_str_radix(glyph, 16).expect("a glyph"));
            text.words = glyphs.filter_map(|glyph| meanings.get(&glyph).cloned()).collect();
        }
        page
    })
    .collect()
}

/// Each object: what stands before its stream, and the stream.
fn objects(file: &[u8]) -> BTreeMap<usize, (String, Vec<u8>)> {
    let find =
        |from: usize, what: &[u8]| file[from..].windows(what.len()).position(|part| part == what).map(|at| at + from);
    let mut objects = BTreeMap::new();
    let mut at = 0;
    while let Some(begin) = find(at, b" 0 obj\n") {
        let line = file[..begin].iter().rposition(|byte| *byte == b'\n').map_or(0, |line| line + 1);
        let id: usize = std::str::from_utf8(&file[line..begin]).expect("a number").parse().expect("a number");
        let end = find(begin, b"\nendobj").expect("its end");
        let (dictionary, stream, next) = match find(begin, b"stream\n").filter(|stream| *stream < end) {
            Some(stream) => {
                let dictionary = String::from_utf8_lossy(&file[begin + 7..stream]).into_owned();
                assert!(!dictionary.contains("/Filter"), "a stream is compressed");
                let length: usize = first_number(after(&dictionary, "/Length "));
                let from = stream + 7;
                (dictionary, file[from..from + length].to_vec(), from + length)
            }
            None => (String::from_utf8_lossy(&file[begin + 7..end]).into_owned(), Vec::new(), end),
        };
        let flat = dictionary.split_whitespace().collect::<Vec<_>>().join(" ");
        objects.insert(id, (flat, stream));
        at = next;
    }
    objects
}

fn after<'t>(text: &'t str, mark: &str) -> &'t str {
    text.split_once(mark).unwrap_or_else(|| panic!("no {mark} in {text}")).1
}

fn between<'t>(text: &'t str, from: &str, to: &str) -> &'t str {
    after(text, from).split(to).next().expect("there is always one")
}

fn number(text: &str) -> f64 {
    text.parse().unwrap_or_else(|_| panic!("{text:?} is no number"))
}

fn first_number(text: &str) -> usize {
    let text = text.trim_start();
    let end = text.find(|letter: char| !letter.is_ascii_digit()).unwrap_or(text.len());
    text[..end].parse().unwrap_or_else(|_| panic!("{text:?} begins with no number"))
}

/// `/F0 12 0 R /F1 17 0 R`.
fn references(text: &str) -> Vec<(String, usize)> {
    text.split('/')
        .skip(1)
        .map(|part| {
            let (name, id) = part.split_once(' ').expect("a name and a number");
            (name.to_owned(), first_number(id))
        })
        .collect()
}

/// Lines such as `<0003> <00660069>`.
fn read_meanings(cmap: &str) -> Meanings {
    let hexadecimal = |text: &str| u16::from_str_radix(text, 16).expect("hexadecimal");
    cmap.split("beginbfchar")
        .skip(1)
        .flat_map(|part| part.split("endbfchar").next().unwrap_or("").lines())
        .filter_map(|line| {
            let mut codes = line.split(['<', '>']).filter(|code| !code.trim().is_empty());
            let (glyph, text) = (codes.next()?, codes.next()?);
            let units: Vec<u16> =
                text.as_bytes().chunks(4).map(|unit| hexadecimal(std::str::from_utf8(unit).expect("text"))).collect();
            Some((hexadecimal(glyph), String::from_utf16(&units).expect("text")))
        })
        .collect()
}

/// Movements, scalings and leanings, as PDF writes them.
#[derive(Clone, Copy)]
struct Matrix([f64; 6]);

impl Matrix {
    /// This one first, then the other.
    fn then(self, other: Matrix) -> Matrix {
        let ([a, b, c, d, e, f], [g, h, i, j, k, l]) = (self.0, other.0);
        Matrix([a * g + b * i, a * h + b * j, c * g + d * i, c * h + d * j, e * g + f * i + k, e * h + f * j + l])
    }

    fn apply(self, (x, y): (f64, f64)) -> (f64, f64) {
        let [a, b, c, d, e, f] = self.0;
        (a * x + c * y + e, b * x + d * y + f)
    }
}

/// What a page's stream draws; texts are told as their font and glyphs.
pub fn read_page(content: &str, widths: &Widths) -> Page {
    let mut page = Page::default();
    let mut stack: Vec<Matrix> = Vec::new();
    let mut place = Matrix([1.0, 0.0, 0.0, 1.0, 0.0, 0.0]);
    let mut writing = Writing::default();
    let spaced = in_hexadecimal(content).replace('[', " [ ").replace(']', " ] ").replace('<', " <").replace('>', "> ");
    let mut operands: Vec<&str> = Vec::new();
    for token in spaced.split_whitespace() {
        let last =
            |count: usize| operands[operands.len() - count..].iter().map(|text| number(text)).collect::<Vec<f64>>();
        let matrix = || Matrix(last(6).try_into().expect("six"));
        match token {
            "q" => stack.push(place),
            "Q" => place = stack.pop().expect("as many as before"),
            "cm" => place = matrix().then(place),
            "g" | "G" => page.shades.extend(last(1)),
            "rg" | "RG" | "k" | "K" | "Do" | "sh" => panic!("{token}: a colour or a picture"),
            "Tf" => writing.font = (operands[operands.len() - 2][1..].to_owned(), last(1)[0]),
            "Tm" => writing.matrix = Some(matrix()),
            "TJ" => writing.show(&operands, widths, place),
            "ET" => page.texts.extend(writing.finish()),
            _ if token.starts_with(|letter: char| letter.is_ascii_alphabetic()) && token != "true" => {}
            _ => {
                operands.push(token);
                continue;
            }
        }
        operands.clear();
    }
    page
}

/// The same with every string between parentheses in hexadecimal (ISO 32000-1, 7.3.4.2).
fn in_hexadecimal(content: &str) -> String {
    let mut plain = String::new();
    let mut letters = content.chars().peekable();
    while let Some(letter) = letters.next() {
        if letter != '(' {
            plain.push(letter);
            continue;
        }
        plain.push('<');
        let mut depth = 1;
        while let Some(letter) = letters.next() {
            let byte = match letter {
                '\\' => match letters.next().expect("what is escaped") {
                    'n' => 10,
                    'r' => 13,
                    't' => 9,
                    'b' => 8,
                    'f' => 12,
                    digit @ '0'..='7' => {
                        let mut octal = digit.to_digit(8).expect("a digit");
                        for _ in 0..2 {
                            let digit =
                                letters.next_if(|letter| letter.is_digit(8)).and_then(|digit| digit.to_digit(8));
                            octal = digit.map_or(octal, |digit| 8 * octal + digit);
                        }
                        octal
                    }
                    other => u32::from(other),
                },
                '(' => {
                    depth += 1;
                    u32::from('(')
                }
                ')' => {
                    depth -= 1;
                    if depth == 0 {
                        break;
                    }
                    u32::from(')')
                }
                other => u32::from(other),
            };
            plain.push_str(&format!("{byte:02X}"));
        }
        plain.push('>');
    }
    plain
}

/// A text on its way.
#[derive(Default)]
struct Writing {
    font: (String, f64),
    matrix: Option<Matrix>,
    text: Option<WrittenText>,
}

impl Writing {
    fn show(&mut self, operands: &[&str], widths: &Widths, place: Matrix) {
        // Capitals and descenders of the usual faces, in letter sizes.
        const ABOVE: f64 = 0.73;
        const BELOW: f64 = 0.21;
        let (name, size) = &self.font;
        let (mut along, mut glyphs) = (0.0, String::new());
        for operand in operands {
            if let Some(codes) = operand.strip_prefix('<') {
                for code in codes.trim_end_matches('>').as_bytes().chunks(4) {
                    let code = std::str::from_utf8(code).expect("text");
                    let glyph = usize::from_str_radix(code, 16).expect("a glyph");
                    along += widths[name][glyph];
                    glyphs.push_str(&format!(" {code}"));
                }
            } else if !matches!(*operand, "[" | "]") {
                along -= number(operand);
            }
        }
        let whole = self.matrix.expect("a place").then(place);
        let corners = [(0.0, ABOVE), (along / 1000.0, -BELOW)].map(|(x, y)| whole.apply((x * size, y * size)));
        let millimetres = |points: f64| points * 25.4 / 72.0;
        let [(left, top), (right, bottom)] = corners.map(|(x, y)| (millimetres(x), 297.0 - millimetres(y)));
        match &mut self.text {
            Some(text) => {
                text.words.push_str(&glyphs);
                text.left = text.left.min(left);
                text.right = text.right.max(right);
            }
            None => self.text = Some(WrittenText { words: format!("{name}{glyphs}"), left, top, right, bottom }),
        }
    }

    fn finish(&mut self) -> Option<WrittenText> {
        self.matrix = None;
        // A blank covers nothing; it is told as a place of no width.
        self.text.take()
    }
}
