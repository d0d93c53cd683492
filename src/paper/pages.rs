//! A sheet as pages of paper: marks in millimetres, on A4 upright.

use super::drawing::{self, Keyboard};
use super::flow::{self, Strip};
use super::plot::{self, Plot};
use super::shape::{Anchor, Line, Mark, Run};
use super::sheet::{Block, Chords, PrintedKeys, PrintedSection, Sheet, Table, signed};
use super::sizes::{
    ASIDE, CHORD, FACT, HEAD, HIGH, KEY, LEADING, MARGIN, PAGE, ROOM, SMALL, SPREADS, Spread, TEXT, TITLE, WIDE,
};
use super::text_width::{Weight, cut, lines, width};

/// From one chord to the next.
const BETWEEN: f64 = 3.5;
/// A table's row of more lines is broken.
const MOST_LINES: usize = 40;
/// What is said of a fact begins here.
pub(super) const FACTS_FROM: f64 = 27.0;
/// From line to line of a title, in letter sizes.
pub(super) const TITLE_LEADING: f64 = 1.05;
/// Touches in a row.
const PLOTS_IN_ROW: usize = 4;

/// Letters on a page.
#[derive(Clone, Copy)]
struct Ink {
    size: f64,
    weight: Weight,
    slanted: bool,
    anchor: Anchor,
}

const PLAIN: Ink = Ink { size: TEXT, weight: Weight::Plain, slanted: false, anchor: Anchor::Start };
const BOLD: Ink = Ink { weight: Weight::Bold, ..PLAIN };
const ASIDE_INK: Ink = Ink { size: SMALL, ..PLAIN };

impl Ink {
    const fn of(self, size: f64) -> Ink {
        Ink { size, ..self }
    }

    fn at(self, x: f64, y: f64, words: &str) -> Mark {
        let run = Run { words: words.to_owned(), weight: self.weight, slanted: self.slanted };
        Mark::words((x, y), self.size, self.anchor, run)
    }

    fn width(self, words: &str) -> f64 {
        width(words, self.size, self.weight)
    }
}

fn line(from: (f64, f64), to: (f64, f64), thick: f64) -> Mark {
    Mark::straight(from, to, Line::black(thick))
}

/// A sheet on its pages.
pub(super) struct LaidSheet {
    /// How it is spread out.
    pub spread: Spread,
    /// What is drawn on each page; at least one.
    pub pages: Vec<Vec<Mark>>,
}

impl Sheet {
    /// The sheet on as few pages as it needs, and on these as roomy as it can be.
    pub(super) fn laid(&self) -> LaidSheet {
        let mut best: Option<(Spread, Vec<flow::Page>)> = None;
        for spread in SPREADS {
            let pages = flow::pages(Layout(spread).sheet(self), HIGH, HIGH);
            if best.as_ref().is_none_or(|(_, found)| pages.len() < found.len()) {
                let is_one = pages.len() == 1;
                best = Some((spread, pages));
                if is_one {
                    break;
                }
            }
        }
        let (spread, pages) = best.unwrap_or((SPREADS[0], Vec::new()));
        let of = pages.len();
        let drawn = pages.into_iter().enumerate().map(|(number, page)| self.page(page, number + 1, of));
        LaidSheet { spread, pages: drawn.collect() }
    }

    fn page(&self, page: flow::Page, number: usize, of: usize) -> Vec<Mark> {
        let place = if of == 1 { self.place.clone() } else { format!("{}, page {number} of {of}", self.place) };
        let left = if number == 1 { self.set.clone() } else { format!("{} · {}", self.title, self.set) };
        let left = cut(&left, SMALL, Weight::Plain, WIDE - ASIDE_INK.width(&place) - 8.0);
        let end = Ink { anchor: Anchor::End, ..ASIDE_INK };
        let mut marks = vec![
            ASIDE_INK.at(MARGIN, MARGIN + 2.5, &left),
            end.at(PAGE.0 - MARGIN, MARGIN + 2.5, &place),
            line((MARGIN, MARGIN + 4.2), (PAGE.0 - MARGIN, MARGIN + 4.2), 0.25),
        ];
        let strips = page.into_iter().filter(|(_, strip)| !strip.marks.is_empty());
        marks.extend(strips.map(|(down, strip)| Mark::placed((MARGIN, MARGIN + HEAD + down), 1.0, strip.marks)));
        marks
    }
}

/// Makes strips of blocks.
struct Layout(Spread);

impl Layout {
    fn sheet(&self, sheet: &Sheet) -> Vec<Strip> {
        let mut strips = self.title(sheet);
        strips.extend(sheet.blocks.iter().flat_map(|block| self.block(block)));
        strips
    }

    /// The title over the first page, and the number beside it.
    fn title(&self, sheet: &Sheet) -> Vec<Strip> {
        let ink = BOLD.of(TITLE);
        let number = sheet.number.map(|number| number.to_string());
        let beside = number.as_ref().map_or(0.0, |number| PLAIN.of(TITLE).width(number) + 4.0);
        let mut strips: Vec<Strip> = lines(&sheet.title, TITLE, Weight::Bold, WIDE - beside)
            .iter()
            .map(|line| Strip::new(TITLE * TITLE_LEADING, vec![ink.at(0.0, TITLE * 0.85, line)]))
            .collect();
        if let (Some(number), Some(first)) = (number, strips.first_mut()) {
            let ink = Ink { anchor: Anchor::End, ..PLAIN.of(TITLE) };
            // First, so that who reads or copies the page has the title in one piece.
            first.marks.insert(0, ink.at(WIDE, TITLE * 0.85, &number));
        }
        strips.push(Strip { keep: false, ..Strip::space(0.4 * self.0.gap) });
        strips
    }

    fn block(&self, block: &Block) -> Vec<Strip> {
        match block {
            Block::Keys(keys) => vec![of_keys(keys)],
            Block::Fact(what, said) => self.fact(what, said),
            Block::Heading(heading) => self.heading(heading),
            Block::Note(note) => {
                let mut strips = vec![Strip::space(0.3 * self.0.gap)];
                strips.extend(paragraph(note, ASIDE_INK, 0.0));
                strips
            }
            Block::Section(part) => self.part(part),
            Block::Keyboard(keyboard) => vec![self.keyboard(keyboard)],
            Block::Table(table) => self.table(table),
            Block::Plots(plots) if self.0.plots => {
                self.heading(plot::HEADING).into_iter().chain(of_plots(plots)).collect()
            }
            Block::Plots(_) => Vec::new(),
        }
    }

    fn heading(&self, heading: &str) -> Vec<Strip> {
        let heading = paragraph(heading, BOLD.of(FACT), 0.0).into_iter();
        let heading = heading.map(|strip| Strip { keep: true, ..strip });
        [Strip::space(self.0.gap)].into_iter().chain(heading).collect()
    }

    fn fact(&self, what: &str, said: &str) -> Vec<Strip> {
        let mut strips = paragraph(said, BOLD.of(FACT), FACTS_FROM);
        if let Some(first) = strips.first_mut() {
            first.marks.push(ASIDE_INK.at(0.0, FACT, what));
        }
        strips
    }

    fn part(&self, part: &PrintedSection) -> Vec<Strip> {
        let name = BOLD.of(ROOM);
        // A key that is new here is not to be overlooked.
        let aside = if part.aside.len() > 1 { BOLD.of(SMALL) } else { ASIDE_INK };
        let beside = part.aside.join(", ");
        let room = WIDE - aside.width(&beside) - 6.0;
        let mut strips = vec![Strip::space(self.0.gap * 0.7)];
        // Both stand in lines of their own where one line is too short for them.
        let (name_wide, aside_lines) = match room < 0.4 * WIDE {
            true => (WIDE, lines(&beside, aside.size, aside.weight, WIDE)),
            false => (room, Vec::new()),
        };
        for (number, line) in lines(&part.name, name.size, Weight::Bold, name_wide).iter().enumerate() {
            let mut marks = vec![name.at(0.0, name.size * 0.92, line)];
            if number == 0 && aside_lines.is_empty() {
                marks.push(Ink { anchor: Anchor::End, ..aside }.at(WIDE, name.size * 0.92, &beside));
            }
            strips.push(Strip { keep: true, ..Strip::new(name.size * 1.2, marks) });
        }
        strips
            .extend(aside_lines.iter().map(|line| one_line(line, aside, 0.0)).map(|line| Strip { keep: true, ..line }));
        if let Some(remark) = &part.remark {
            let remark = paragraph(remark, Ink { slanted: true, ..PLAIN.of(FACT) }, 0.0);
            strips.extend(remark.into_iter().map(|strip| Strip { keep: true, ..strip }));
        }
        strips.extend(self.bars(&part.bars));
        if let Some(last) = strips.last_mut() {
            last.keep = false;
        }
        strips
    }

    /// Bars in rows of eight, four, two or one, each as wide as the others of its row.
    fn bars(&self, bars: &[Vec<Chords>]) -> Vec<Strip> {
        let in_row = bars_in_row(bars, self.0) as f64;
        let cell = WIDE / in_row;
        let heard = bars.iter().flatten().any(|chord| !chord.room.is_empty());
        let tall = if heard { 14.6 } else { 9.2 };
        let high = tall + self.0.bars;
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
            let mut marks = Vec::new();
            let bar_line = |x: f64, thick: f64| line((x, 1.0), (x, tall + 0.6), thick);
            for (number, stretch) in row.iter().enumerate() {
                let left = number as f64 * cell;
                if stretch.begins {
                    marks.push(bar_line(left, 0.35));
                }
                marks.extend(of_bar(stretch.chords, left + 2.0, cell - 2.0));
            }
            if row.last().is_some_and(|stretch| stretch.ends) {
                marks.push(bar_line(row.len() as f64 * cell, if place == last { 0.9 } else { 0.35 }));
            }
            Strip::new(high, marks)
        };
        rows.iter().enumerate().map(row).collect()
    }

    fn keyboard(&self, keyboard: &Keyboard) -> Strip {
        let (high, marks) = keyboard.marks(self.0.keys);
        // So many zones that a page would be too short are drawn smaller.
        let scale = (WIDE / drawing::WIDTH).min((HIGH - 30.0) / high);
        let name = lines(&keyboard.name, TEXT, Weight::Bold, WIDE);
        let top = 1.0 + name.len() as f64 * TEXT * LEADING;
        let mut drawn: Vec<Mark> = name
            .iter()
            .enumerate()
            .map(|(place, line)| BOLD.at(0.0, TEXT * (1.0 + LEADING * place as f64), line))
            .collect();
        drawn.push(Mark::placed((0.0, top), scale, marks));
        Strip::new(top + high * scale + 0.4 * self.0.gap, drawn)
    }

    fn table(&self, table: &Table) -> Vec<Strip> {
        let mut strips = vec![Strip { keep: false, ..Strip::space(0.3 * self.0.gap) }];
        let mut starts = Vec::new();
        let mut x = 0.0;
        for column in &table.columns {
            starts.push((x, column.share * WIDE - 2.5));
            x += column.share * WIDE;
        }
        if table.columns.iter().any(|column| !column.head.is_empty()) {
            strips.push(table_head(table, &starts));
        }
        for row in &table.rows {
            strips.extend(self.row(table, row, &starts));
        }
        strips
    }

    fn row(&self, table: &Table, row: &[Vec<String>], starts: &[(f64, f64)]) -> Vec<Strip> {
        let cell = |(place, (said, (_, most))): (usize, (&Vec<String>, &(f64, f64)))| {
            let is_bold = table.columns.get(place).is_some_and(|column| column.bold);
            let said = said_in(said, is_bold, self.0);
            let lines = said.iter().enumerate().flat_map(|(number, said)| {
                let ink = if is_bold && number == 0 { BOLD } else { PLAIN };
                lines(said, TEXT, ink.weight, *most).into_iter().map(move |line| (line, ink))
            });
            lines.collect::<Vec<(String, Ink)>>()
        };
        let cells: Vec<Vec<(String, Ink)>> = row.iter().zip(starts).enumerate().map(cell).collect();
        let count = cells.iter().map(Vec::len).max().unwrap_or(0).max(1);
        let (leading, air) = (TEXT * LEADING, self.0.row / 2.0);
        let broken = (0..count).step_by(MOST_LINES).map(|from| {
            let to = (from + MOST_LINES).min(count);
            let mut marks = Vec::new();
            for (cell, (x, _)) in cells.iter().zip(starts) {
                for (place, (words, ink)) in cell.iter().take(to).skip(from).enumerate() {
                    marks.push(ink.at(*x, air + TEXT * 0.98 + place as f64 * leading, words));
                }
            }
            let tall = (to - from) as f64 * leading + self.0.row;
            if to == count {
                marks.push(line((0.0, tall), (WIDE, tall), 0.12));
            }
            for (column, (x, most)) in table.columns.iter().zip(starts).filter(|(column, _)| column.to_write) {
                let right = if column.share < 1.0 { x + most } else { WIDE };
                marks.extend([x - 1.5, right].map(|x| line((x, 0.0), (x, tall), 0.12)));
            }
            Strip::new(tall, marks)
        });
        broken.collect()
    }
}

/// What is said in a cell: where there is little room, in one paragraph below what is bold.
pub(super) fn said_in(lines: &[String], is_bold: bool, spread: Spread) -> Vec<String> {
    let (first, rest) = lines.split_at(usize::from(is_bold).min(lines.len()));
    match spread.dense && rest.len() > 1 {
        true => first.iter().cloned().chain([rest.join("; ")]).collect(),
        false => lines.to_vec(),
    }
}

/// The heads of the columns, each whole.
fn table_head(table: &Table, starts: &[(f64, f64)]) -> Strip {
    let heads: Vec<Vec<String>> = table
        .columns
        .iter()
        .zip(starts)
        .map(|(column, (_, most))| lines(column.head, SMALL, Weight::Plain, *most))
        .collect();
    let count = heads.iter().map(Vec::len).max().unwrap_or(1);
    let leading = SMALL * 1.15;
    let mut marks = Vec::new();
    for (head, (x, _)) in heads.iter().zip(starts) {
        // They stand on the line, however many lines another needs.
        let from = count - head.len();
        for (place, words) in head.iter().enumerate() {
            marks.push(ASIDE_INK.at(*x, SMALL + (from + place) as f64 * leading, words));
        }
    }
    let tall = SMALL + (count - 1) as f64 * leading + 1.3;
    marks.push(line((0.0, tall), (WIDE, tall), 0.3));
    Strip { keep: true, ..Strip::new(tall, marks) }
}

/// A line by itself, from `left` on.
fn one_line(words: &str, ink: Ink, left: f64) -> Strip {
    Strip::new(ink.size * LEADING, vec![ink.at(left, ink.size, words)])
}

/// A text in as many lines as it needs, from `left` on.
fn paragraph(words: &str, ink: Ink, left: f64) -> Vec<Strip> {
    let lines = lines(words, ink.size, ink.weight, WIDE - left);
    lines.iter().map(|line| one_line(line, ink, left)).collect()
}

/// The fingers' key, the way to the room's, and beside them the rest.
fn of_keys(keys: &PrintedKeys) -> Strip {
    const CELL: f64 = 40.0;
    const BASE: f64 = 14.6;
    let cell = |x: f64, wide: f64, name: &str, value: &str, most: f64| {
        let size = most.min(most * wide / width(value, most, Weight::Bold).max(0.1));
        [ASIDE_INK.at(x, 3.2, name), BOLD.of(size).at(x, BASE, value)]
    };
    let mut marks: Vec<Mark> = cell(0.0, CELL - 3.0, "fingers", &keys.fingers, KEY).into();
    // The way from one key to the other, as a reach is drawn.
    let (from, to, y) = (CELL, CELL + 26.0, BASE - 4.2);
    let tips = [-1.6, 1.6].map(|tip| vec![(to - 2.2, y + tip), (to, y)]);
    marks.push(Mark::lines([vec![(from, y), (to, y)]].into_iter().chain(tips).collect(), Line::black(0.4)));
    let middle = Ink { anchor: Anchor::Middle, ..BOLD };
    let shift = if keys.shift == 0 { "as played".to_owned() } else { signed(keys.shift) };
    let size = if keys.shift == 0 { TEXT } else { ROOM };
    marks.push(middle.of(size).at((from + to) / 2.0, y - 2.0, &shift));
    if keys.shift != 0 {
        let unit = if keys.shift.abs() == 1 { "semitone" } else { "semitones" };
        marks.push(Ink { anchor: Anchor::Middle, ..ASIDE_INK }.at((from + to) / 2.0, y + 4.0, unit));
    }
    marks.extend(cell(to + 5.0, CELL - 3.0, "room", &keys.room, KEY));
    let mut x = to + 5.0 + CELL;
    let rest = [("chart", Some(&keys.chart)), ("♩ a minute", keys.tempo.as_ref()), ("meter", keys.meter.as_ref())];
    let wide = (WIDE - x) / 3.0;
    for (name, value) in rest {
        if let Some(value) = value {
            marks.extend(cell(x, wide - 2.0, name, value, ASIDE));
        }
        x += wide;
    }
    marks.push(line((0.0, 17.2), (WIDE, 17.2), 0.6));
    Strip::new(18.4, marks)
}

fn wide_of(chord: &Chords) -> f64 {
    width(&chord.fingers, CHORD, Weight::Bold).max(width(&chord.room, ROOM, Weight::Plain)) + BETWEEN
}

/// How many bars of a section stand in a row: as many as the widest of them allows.
pub(super) fn bars_in_row(bars: &[Vec<Chords>], spread: Spread) -> usize {
    let widest = bars.iter().map(|bar| bar.iter().map(wide_of).sum::<f64>() + 2.0).fold(0.0, f64::max);
    let fits = |count: &usize| *count <= spread.in_row && widest <= WIDE / *count as f64;
    [8, 4, 2, 1].into_iter().find(fits).unwrap_or(1)
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
fn of_bar(chords: &[Chords], left: f64, wide: f64) -> Vec<Mark> {
    let share = wide / chords.len().max(1) as f64;
    let even = chords.iter().all(|chord| wide_of(chord) <= share);
    let mut marks = Vec::new();
    let mut x = left;
    for chord in chords {
        marks.push(BOLD.of(CHORD).at(x, 8.3, &chord.fingers));
        marks.push(PLAIN.of(ROOM).at(x, 14.0, &chord.room));
        x += if even { share } else { wide_of(chord) };
    }
    marks
}

fn of_plots(plots: &[Plot]) -> Vec<Strip> {
    let cell = WIDE / PLOTS_IN_ROW as f64;
    let wide = cell - 4.0;
    let rows = plots.chunks(PLOTS_IN_ROW).map(|row| {
        let mut marks = Vec::new();
        let mut deepest = 0.0_f64;
        for (number, plot) in row.iter().enumerate() {
            let x = number as f64 * cell;
            let mut y = 0.0;
            let name = lines(&plot.name, TEXT, Weight::Bold, wide).into_iter().map(|line| (line, BOLD));
            let what = lines(&plot.what, SMALL, Weight::Plain, wide).into_iter().map(|line| (line, ASIDE_INK));
            for (words, ink) in name.chain(what).take(MOST_LINES) {
                y += ink.size * LEADING;
                marks.push(ink.at(x, y, &words));
            }
            deepest = deepest.max(y);
        }
        let (down, scale) = (deepest + 2.0, wide / plot::WIDTH);
        for (number, plot) in row.iter().enumerate() {
            marks.push(Mark::placed((number as f64 * cell, down), scale, plot.marks()));
        }
        Strip::new(down + plot::HEIGHT * scale + 1.5, marks)
    });
    rows.collect()
}
