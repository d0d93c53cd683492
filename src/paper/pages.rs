//! A sheet as pages of paper: A4 upright, in SVG whose unit is the millimetre.

use std::fmt::Write;

use super::flow::{Page, Strip, pages};
use super::plot::{self, Plot};
use super::{Block, Chords, Column, PrintedKeys, PrintedSection, Sheet, Table, signed};
use crate::paper::drawing::{self, Keyboard};
use crate::paper::text_width::{Weight, cut, escaped, lines, number, width};

const PAGE: (f64, f64) = (210.0, 297.0);
/// Left, right and above.
const MARGIN: f64 = 13.0;
/// What can be written on.
const WIDE: f64 = PAGE.0 - 2.0 * MARGIN;
/// The line at the head of each page.
const HEAD: f64 = 8.0;
/// What is left below it.
const ROOM: f64 = PAGE.1 - 2.0 * MARGIN - HEAD;
/// Letter sizes.
const TITLE: f64 = 12.0;
const KEY: f64 = 13.0;
const CHORD: f64 = 9.6;
const HEARD: f64 = 5.2;
const TEXT: f64 = 3.5;
const SMALL: f64 = 3.1;
/// From one chord to the next.
const BETWEEN: f64 = 3.5;
/// A table's row that is higher is broken.
const MOST_LINES: usize = 40;

/// Letters on a page.
struct Ink {
    size: f64,
    weight: Weight,
    slanted: bool,
    anchor: &'static str,
}

const PLAIN: Ink = Ink { size: TEXT, weight: Weight::Plain, slanted: false, anchor: "start" };
const BOLD: Ink = Ink { weight: Weight::Bold, ..PLAIN };

fn text(x: f64, y: f64, words: &str, ink: &Ink) -> String {
    if words.trim().is_empty() {
        return String::new();
    }
    let mut attributes = String::new();
    if ink.weight == Weight::Bold {
        attributes.push_str(r#" font-weight="bold""#);
    }
    if ink.slanted {
        attributes.push_str(r#" font-style="italic""#);
    }
    if ink.anchor != "start" {
        let _ = write!(attributes, r#" text-anchor="{}""#, ink.anchor);
    }
    let (x, y, size) = (number(x), number(y), number(ink.size));
    format!(r#"<text x="{x}" y="{y}" font-size="{size}"{attributes}>{}</text>"#, escaped(words))
}

fn line(x: f64, y: f64, to: (f64, f64), thick: f64) -> String {
    format!(
        r#"<path d="M{} {}L{} {}" stroke="black" stroke-width="{thick}" fill="none"/>"#,
        number(x),
        number(y),
        number(to.0),
        number(to.1)
    )
}

impl Sheet {
    /// The sheet as SVG files, one for each page; at least one.
    #[must_use]
    pub fn svg(&self) -> Vec<String> {
        let mut pieces = self.head();
        for block in &self.blocks {
            pieces.extend(of_block(block));
        }
        let pages = pages(pieces, ROOM, ROOM);
        pages.iter().enumerate().map(|(number, page)| self.page(page, number + 1, pages.len())).collect()
    }

    /// The title over the first page.
    fn head(&self) -> Vec<Strip> {
        let ink = Ink { size: TITLE, ..BOLD };
        let lines = lines(&self.title, TITLE, Weight::Bold, WIDE);
        let mut pieces: Vec<Strip> =
            lines.iter().map(|line| Strip::new(TITLE * 1.1, text(0.0, TITLE * 0.85, line, &ink))).collect();
        pieces.push(Strip { keep: false, ..Strip::space(2.0) });
        pieces
    }

    fn page(&self, page: &Page, number_of: usize, of: usize) -> String {
        let mut body = String::new();
        let ink = Ink { size: SMALL + 0.3, ..PLAIN };
        let place = if of == 1 { self.place.clone() } else { format!("{}, page {number_of} of {of}", self.place) };
        let left = if number_of == 1 { self.set.clone() } else { format!("{} · {}", self.title, self.set) };
        let left = cut(&left, ink.size, Weight::Plain, WIDE - width(&place, ink.size, Weight::Plain) - 8.0);
        body.push_str(&text(MARGIN, MARGIN + 2.5, &left, &ink));
        body.push_str(&text(PAGE.0 - MARGIN, MARGIN + 2.5, &place, &Ink { anchor: "end", ..ink }));
        body.push_str(&line(MARGIN, MARGIN + 4.5, (PAGE.0 - MARGIN, MARGIN + 4.5), 0.25));
        for (down, piece) in page {
            if !piece.body.is_empty() {
                let down = number(MARGIN + HEAD + down);
                let _ = write!(body, r#"<g transform="translate({MARGIN} {down})">{}</g>"#, piece.body);
            }
        }
        let (wide, high) = PAGE;
        format!(
            r#"<svg xmlns="http://www.w3.org/2000/svg" width="{wide}mm" height="{high}mm" viewBox="0 0 {wide} {high}" font-family="sans-serif"><title>{}</title><rect width="{wide}" height="{high}" fill="white"/>{body}</svg>"#,
            escaped(&self.title)
        )
    }
}

fn of_block(block: &Block) -> Vec<Strip> {
    match block {
        Block::Keys(keys) => of_keys(keys),
        Block::Fact(what, said) => fact(what, said),
        Block::Heading(heading) => {
            let ink = Ink { size: 4.6, ..BOLD };
            let mut pieces = vec![Strip::space(4.0)];
            pieces.extend(paragraph(heading, &ink, 0.0).into_iter().map(|piece| Strip { keep: true, ..piece }));
            pieces
        }
        Block::Note(note) => {
            let mut pieces = vec![Strip::space(1.2)];
            pieces.extend(paragraph(note, &Ink { size: SMALL + 0.3, ..PLAIN }, 0.0));
            pieces
        }
        Block::Section(part) => of_part(part),
        Block::Keyboard(keyboard) => vec![of_keyboard(keyboard)],
        Block::Table(table) => of_table(table),
        Block::Plots(plots) => of_plots(plots),
    }
}

/// A text in as many lines as it needs, from `left` on.
fn paragraph(words: &str, ink: &Ink, left: f64) -> Vec<Strip> {
    let high = ink.size * 1.35;
    let lines = lines(words, ink.size, ink.weight, WIDE - left);
    lines.iter().map(|line| Strip::new(high, text(left, ink.size, line, ink))).collect()
}

/// The fingers' key, the way to the room's, and beside them the rest.
fn of_keys(keys: &PrintedKeys) -> Vec<Strip> {
    const CELL: f64 = 40.0;
    let caption = Ink { size: SMALL + 0.4, ..PLAIN };
    let base = 17.5;
    let cell = |x: f64, wide: f64, name: &str, value: &str, most: f64| {
        let size = most.min(most * wide / width(value, most, Weight::Bold).max(0.1));
        text(x, 3.6, name, &caption) + &text(x, base, value, &Ink { size, ..BOLD })
    };
    let mut body = cell(0.0, CELL - 3.0, "fingers", &keys.fingers, KEY);
    // The way from one key to the other, as a reach is drawn.
    let (from, to, y) = (CELL, CELL + 26.0, base - 4.6);
    body.push_str(&line(from, y, (to, y), 0.4));
    body.push_str(&line(to - 2.2, y - 1.6, (to, y), 0.4));
    body.push_str(&line(to - 2.2, y + 1.6, (to, y), 0.4));
    let shift = if keys.shift == 0 { "as played".to_owned() } else { signed(keys.shift) };
    let size = if keys.shift == 0 { TEXT } else { 6.0 };
    body.push_str(&text((from + to) / 2.0, y - 2.0, &shift, &Ink { size, anchor: "middle", ..BOLD }));
    if keys.shift != 0 {
        let unit = if keys.shift.abs() == 1 { "semitone" } else { "semitones" };
        body.push_str(&text((from + to) / 2.0, y + 4.4, unit, &Ink { size: SMALL, anchor: "middle", ..PLAIN }));
    }
    body.push_str(&cell(to + 5.0, CELL - 3.0, "room", &keys.room, KEY));
    let mut x = to + 5.0 + CELL;
    let rest = [("chart", Some(&keys.chart)), ("♩ a minute", keys.tempo.as_ref()), ("meter", keys.meter.as_ref())];
    let wide = (WIDE - x) / 3.0;
    for (name, value) in rest {
        if let Some(value) = value {
            body.push_str(&cell(x, wide - 2.0, name, value, 8.0));
        }
        x += wide;
    }
    body.push_str(&line(0.0, 21.0, (WIDE, 21.0), 0.6));
    vec![Strip::new(23.0, body)]
}

fn fact(what: &str, said: &str) -> Vec<Strip> {
    const LEFT: f64 = 24.0;
    let ink = Ink { size: 4.6, ..BOLD };
    let mut pieces = paragraph(said, &ink, LEFT);
    if let Some(first) = pieces.first_mut() {
        let what = cut(what, SMALL + 0.4, Weight::Plain, LEFT - 1.0);
        first.body.push_str(&text(0.0, ink.size, &what, &Ink { size: SMALL + 0.4, ..PLAIN }));
    }
    pieces
}

fn of_part(part: &PrintedSection) -> Vec<Strip> {
    let name = Ink { size: 6.0, ..BOLD };
    // A key that is new here is not to be overlooked.
    let weight = if part.aside.len() > 1 { Weight::Bold } else { Weight::Plain };
    let aside = Ink { size: SMALL + 0.4, weight, ..PLAIN };
    let beside = part.aside.join(", ");
    let room = WIDE - width(&beside, aside.size, aside.weight) - 6.0;
    let mut pieces = vec![Strip::space(3.0)];
    for (number, line) in lines(&part.name, name.size, Weight::Bold, room).iter().enumerate() {
        let mut body = text(0.0, name.size, line, &name);
        if number == 0 {
            body.push_str(&text(WIDE, name.size, &beside, &Ink { anchor: "end", ..aside }));
        }
        pieces.push(Strip { keep: true, ..Strip::new(name.size * 1.3, body) });
    }
    if let Some(remark) = &part.remark {
        let remark = paragraph(remark, &Ink { size: 4.6, slanted: true, ..PLAIN }, 0.0);
        pieces.extend(remark.into_iter().map(|piece| Strip { keep: true, ..piece }));
    }
    pieces.extend(of_bars(&part.bars));
    if let Some(last) = pieces.last_mut() {
        last.keep = false;
    }
    pieces
}

fn wide_of(chord: &Chords) -> f64 {
    width(&chord.fingers, CHORD, Weight::Bold).max(width(&chord.room, HEARD, Weight::Plain)) + BETWEEN
}

/// Bars in rows of four, two or one, each as wide as the others of its row.
fn of_bars(bars: &[Vec<Chords>]) -> Vec<Strip> {
    let widest = bars.iter().map(|bar| bar.iter().map(wide_of).sum::<f64>() + 2.0).fold(0.0, f64::max);
    let in_row = [4.0, 2.0, 1.0].into_iter().find(|count| widest <= WIDE / count).unwrap_or(1.0);
    let cell = WIDE / in_row;
    let heard = bars.iter().flatten().any(|chord| !chord.room.is_empty());
    let high = if heard { 18.6 } else { 12.6 };
    let mut rows: Vec<Vec<BarStretch<'_>>> = Vec::new();
    for bar in bars {
        // A bar too wide for a row goes on in the next, without a bar line.
        for stretch in broken(bar, cell - 2.0) {
            match rows.last_mut().filter(|row| (row.len() as f64) < in_row && stretch.begins) {
                Some(row) => row.push(stretch),
                None => rows.push(vec![stretch]),
            }
        }
    }
    let last = rows.len().saturating_sub(1);
    let row = |(place, row): (usize, &Vec<BarStretch<'_>>)| {
        let mut body = String::new();
        for (number, stretch) in row.iter().enumerate() {
            let left = number as f64 * cell;
            if stretch.begins {
                body.push_str(&line(left, 1.0, (left, high - 3.0), 0.35));
            }
            body.push_str(&of_bar(stretch.chords, left + 2.0, cell - 2.0));
        }
        let right = row.len() as f64 * cell;
        if row.last().is_some_and(|stretch| stretch.ends) {
            body.push_str(&line(right, 1.0, (right, high - 3.0), if place == last { 0.9 } else { 0.35 }));
        }
        Strip::new(high, body)
    };
    rows.iter().enumerate().map(row).collect()
}

/// A bar, or what of it stands in one row.
struct BarStretch<'a> {
    chords: &'a [Chords],
    /// Whether the bar begins here.
    begins: bool,
    /// Whether it ends here.
    ends: bool,
}

/// A bar in stretches no wider than `most`.
fn broken(bar: &[Chords], most: f64) -> Vec<BarStretch<'_>> {
    let mut stretches = Vec::new();
    let mut start = 0;
    let mut wide = 0.0;
    for (place, chord) in bar.iter().enumerate() {
        if wide + wide_of(chord) > most && place > start {
            stretches.push(BarStretch { chords: &bar[start..place], begins: start == 0, ends: false });
            (start, wide) = (place, 0.0);
        }
        wide += wide_of(chord);
    }
    stretches.push(BarStretch { chords: &bar[start..], begins: start == 0, ends: true });
    stretches
}

/// The chords of a bar: evenly where that leaves room for each, else one after the other.
fn of_bar(chords: &[Chords], left: f64, wide: f64) -> String {
    let share = wide / chords.len().max(1) as f64;
    let even = chords.iter().all(|chord| wide_of(chord) <= share);
    let mut body = String::new();
    let mut x = left;
    for chord in chords {
        body.push_str(&text(x, 8.4, &chord.fingers, &Ink { size: CHORD, ..BOLD }));
        body.push_str(&text(x, 14.6, &chord.room, &Ink { size: HEARD, ..PLAIN }));
        x += if even { share } else { wide_of(chord) };
    }
    body
}

fn of_keyboard(keyboard: &Keyboard) -> Strip {
    let (high, body) = keyboard.body();
    // So many zones that a page would be too short are drawn smaller.
    let scale = (WIDE / drawing::WIDTH).min((ROOM - 30.0) / high);
    let name = text(0.0, 4.5, &cut(&keyboard.name, TEXT + 0.3, Weight::Bold, WIDE), &Ink { size: TEXT + 0.3, ..BOLD });
    let body = format!(r#"{name}<g transform="translate(0 6) scale({scale:.5})">{body}</g>"#);
    Strip::new(high * scale + 8.0, body)
}

fn of_table(table: &Table) -> Vec<Strip> {
    let high = TEXT * 1.3;
    let mut starts = Vec::new();
    let mut x = 0.0;
    for Column { share, .. } in &table.columns {
        starts.push((x, share * WIDE - 2.5));
        x += share * WIDE;
    }
    let mut pieces = Vec::new();
    if table.columns.iter().any(|column| !column.head.is_empty()) {
        let heads = table.columns.iter().zip(&starts);
        let mut head: String = heads
            .map(|(Column { head, .. }, (x, most))| {
                text(*x, 4.0, &cut(head, SMALL, Weight::Plain, *most), &Ink { size: SMALL, ..PLAIN })
            })
            .collect();
        head.push_str(&line(0.0, 5.6, (WIDE, 5.6), 0.3));
        pieces.push(Strip { keep: true, ..Strip::new(6.0, head) });
    }
    for row in &table.rows {
        let cells: Vec<Vec<(String, bool)>> = row
            .iter()
            .zip(&starts)
            .enumerate()
            .map(|(column, (cell, (_, most)))| {
                let said = cell.iter().enumerate().flat_map(|(place, said)| {
                    let bold = place == 0 && table.columns.get(column).is_some_and(|column| column.bold);
                    let weight = if bold { Weight::Bold } else { Weight::Plain };
                    lines(said, TEXT, weight, *most).into_iter().map(move |line| (line, bold))
                });
                said.collect()
            })
            .collect();
        let count = cells.iter().map(Vec::len).max().unwrap_or(0).max(1);
        for from in (0..count).step_by(MOST_LINES) {
            let to = (from + MOST_LINES).min(count);
            let mut body = String::new();
            for (cell, (x, _)) in cells.iter().zip(&starts) {
                for (place, (words, bold)) in cell.iter().take(to).skip(from).enumerate() {
                    let ink = if *bold { BOLD } else { PLAIN };
                    body.push_str(&text(*x, TEXT + 1.2 + place as f64 * high, words, &ink));
                }
            }
            let tall = (to - from) as f64 * high + 2.2;
            if to == count {
                body.push_str(&line(0.0, tall - 0.3, (WIDE, tall - 0.3), 0.12));
            }
            pieces.push(Strip::new(tall, body));
        }
    }
    pieces
}

fn of_plots(plots: &[Plot]) -> Vec<Strip> {
    const IN_ROW: usize = 4;
    let cell = WIDE / IN_ROW as f64;
    let scale = (cell - 4.0) / plot::WIDTH;
    let rows = plots.chunks(IN_ROW).map(|row| {
        let mut body = String::new();
        let mut deepest = 0;
        for (number, plot) in row.iter().enumerate() {
            let x = number as f64 * cell;
            let name = cut(&plot.name, TEXT, Weight::Bold, cell - 4.0);
            body.push_str(&text(x, TEXT + 1.0, &name, &BOLD));
            let what = lines(&plot.what, SMALL, Weight::Plain, cell - 4.0);
            for (place, words) in what.iter().take(MOST_LINES).enumerate() {
                let y = 8.5 + place as f64 * SMALL * 1.3;
                body.push_str(&text(x, y, words, &Ink { size: SMALL, ..PLAIN }));
            }
            deepest = deepest.max(what.len().min(MOST_LINES));
        }
        let down = 7.0 + deepest as f64 * SMALL * 1.3;
        for (number, plot) in row.iter().enumerate() {
            let x = self::number(number as f64 * cell);
            let _ = write!(
                body,
                r#"<g transform="translate({x} {}) scale({scale:.5})">{}</g>"#,
                self::number(down),
                plot.body()
            );
        }
        Strip::new(down + plot::HEIGHT * scale + 3.0, body)
    });
    rows.collect()
}
