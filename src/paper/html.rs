//! The set as one page of HTML that needs nothing else: on a screen, and printed sheet by sheet with the letters of
//! `sizes.rs`.

use std::fmt::Write;

use super::pages::{FACTS_FROM, TITLE_LEADING, bars_in_row, said_in};
use super::sheet::{Block, PrintedKeys, PrintedSection, Sheet, Table, signed};
use super::sizes::{
    ASIDE, CAPITALS, CHORD, FACT, HEAD, KEY, LEADING, MARGIN, PAGE, ROOM, SMALL, SPREADS, Spread, TEXT, TITLE, WIDE,
};
use super::text_width::{escaped, number};
use super::{Paper, plot};

/// Lengths in `{}` are millimetres and stand in [`style`].
const STYLE: &str = "
@page { size: A4; margin: {margin} }
* { box-sizing: border-box }
html { -webkit-text-size-adjust: none; text-size-adjust: none }
body { margin: 0 auto; padding: {margin} 0; max-width: {wide}; color: black; background: white; \
font: {text}/{leading} sans-serif; font-size-adjust: cap-height {capitals} }
.sheet + .sheet { break-before: page; margin-top: 20mm }
header p { margin: 0 0 2mm; height: {head}; display: flex; justify-content: space-between; gap: 4mm; \
border-bottom: .25mm solid black; font-size: {small}; line-height: 1.2; overflow: hidden }
h1, h2 { margin: 0 0 calc(.4 * var(--gap)); display: flex; justify-content: space-between; gap: 4mm; font-size: {title}; \
line-height: {title-leading}; overflow-wrap: anywhere }
.number { flex: none; font-weight: normal }
h3 { margin: var(--gap) 0 0; font-size: {fact}; break-after: avoid; overflow-wrap: anywhere }
p { margin: calc(.3 * var(--gap)) 0 0; font-size: {small}; overflow-wrap: anywhere }
dl, dd, figure, ol { margin: 0; padding: 0 }
dt, th, figcaption small { font-size: {small}; font-weight: normal }
.keys { display: flex; flex-wrap: wrap; gap: 0 4mm; align-items: last baseline; justify-content: space-between; \
padding-bottom: 1mm; margin-bottom: 1mm; border-bottom: .6mm solid black }
.keys dt { line-height: 1.2 }
.keys dd { font-size: {aside}; font-weight: bold; line-height: 1 }
.keys .first dd { font-size: {key} }
.facts { display: grid; grid-template-columns: {facts} 1fr; align-items: baseline }
.facts dd { font-size: {fact}; font-weight: bold; overflow-wrap: anywhere }
.part { break-inside: avoid; margin-top: calc(.7 * var(--gap)) }
.part h3 { margin: 0; display: flex; justify-content: space-between; gap: 0 4mm; flex-wrap: wrap; align-items: baseline; \
font-size: {room}; line-height: 1.2 }
.part h3 small { font-size: {small}; font-weight: normal }
.part h3 .new { font-weight: bold }
.part .remark { margin: 0; font-size: {fact}; font-style: italic }
.bars { display: grid; list-style: none }
.of-8 { grid-template-columns: repeat(8, 1fr) }
.of-4 { grid-template-columns: repeat(4, 1fr) }
.of-2 { grid-template-columns: repeat(2, 1fr) }
.bars li { border-left: .35mm solid black; padding: .6mm 0 0 1.6mm; margin-bottom: var(--bars); display: flex; \
flex-wrap: wrap; gap: 0 2mm; break-inside: avoid }
.bars li:last-child { border-right: .9mm solid black }
.chord { flex: 1 1 auto }
.chord b { display: block; font-size: {chord}; line-height: .9 }
.chord span { font-size: {room}; line-height: 1 }
table { width: 100%; margin-top: calc(.3 * var(--gap)); border-collapse: collapse; table-layout: fixed }
th { text-align: left; vertical-align: bottom; line-height: 1.15; padding: 0 2mm .3mm 0; border-bottom: .3mm solid black }
td { vertical-align: top; padding: calc(.5 * var(--row)) 2mm max(0px, .5 * var(--row) - 1px) 0; \
border-bottom: 1px solid #888; overflow-wrap: anywhere }
tr { break-inside: avoid }
td.first div:first-child { font-weight: bold }
td.write { border: 1px solid #888 }
th.write, td.write + td { padding-left: 1mm }
figure { margin-bottom: calc(.4 * var(--gap)); break-inside: avoid }
figcaption { font-weight: bold; overflow-wrap: anywhere }
figcaption small { display: block; line-height: {leading} }
figure svg { display: block; width: 100%; height: auto }
.touches { display: flex; flex-wrap: wrap; gap: 0 4mm; align-items: end }
.touches figure { width: {plot} }
@media screen and (max-width: 190mm) {
  body { padding: 4mm }
  .of-8, .of-4 { grid-template-columns: repeat(2, 1fr) }
  .touches figure { width: 45% }
}
@media print {
  body { padding: 0; max-width: none }
  .sheet + .sheet { margin-top: 0 }
}
";

/// The stylesheet with its lengths.
fn style() -> String {
    let plot = WIDE / 4.0 - 4.0;
    let lengths = [
        ("margin", MARGIN),
        ("wide", PAGE.0 - 2.0 * MARGIN),
        ("head", HEAD - 2.4),
        ("title", TITLE),
        ("key", KEY),
        ("chord", CHORD),
        ("aside", ASIDE),
        ("room", ROOM),
        ("fact", FACT),
        ("text", TEXT),
        ("small", SMALL),
        ("facts", FACTS_FROM),
        ("plot", plot),
    ];
    let plain = [("{leading}", LEADING), ("{title-leading}", TITLE_LEADING), ("{capitals}", CAPITALS)];
    let mut style = STYLE.to_owned();
    for (name, value) in plain {
        style = style.replace(name, &value.to_string());
    }
    for (name, length) in lengths {
        style = style.replace(&format!("{{{name}}}"), &format!("{length:.3}mm"));
    }
    for Spread { number, gap, row, bars, .. } in SPREADS {
        let _ = writeln!(style, ".spread-{number} {{ --gap: {gap}mm; --row: {row}mm; --bars: {bars}mm }}");
    }
    style
}

impl Paper {
    /// The set as a file of HTML.
    #[must_use]
    pub fn html(&self) -> String {
        let title = escaped(&self.title);
        let sheets: String = self.sheets.iter().enumerate().map(|(place, sheet)| sheet.html(place == 0)).collect();
        format!(
            "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\"/>\n\
             <meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'\"/>\n\
             <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\"/>\n<title>{title}</title>\n\
             <style>{}</style>\n</head>\n<body>\n<main>\n{sheets}</main>\n</body>\n</html>\n",
            style()
        )
    }
}

impl Sheet {
    fn html(&self, is_front: bool) -> String {
        let spread = self.laid().spread;
        let (title, set, place) = (escaped(&self.title), escaped(&self.set), escaped(&self.place));
        let number = self.number.map(|number| format!("<span class=\"number\">{number}</span>")).unwrap_or_default();
        let heading = if is_front { "h1" } else { "h2" };
        let mut body = format!(
            "<section class=\"sheet spread-{}\">\n<header><p><span dir=\"auto\">{set}</span> <span>{place}</span></p>\n\
             <{heading}><span dir=\"auto\">{title}</span>{number}</{heading}></header>\n",
            spread.number
        );
        let mut blocks = self.blocks.iter().peekable();
        while let Some(block) = blocks.next() {
            if let Block::Fact(what, said) = block {
                body.push_str("<dl class=\"facts\">");
                body.push_str(&fact(what, said));
                while let Some(Block::Fact(what, said)) = blocks.next_if(|next| matches!(next, Block::Fact(..))) {
                    body.push_str(&fact(what, said));
                }
                body.push_str("</dl>\n");
            } else {
                of_block(block, spread, &mut body);
            }
        }
        body.push_str("</section>\n");
        body
    }
}

fn fact(what: &str, said: &str) -> String {
    format!("<dt>{}</dt><dd dir=\"auto\">{}</dd>", escaped(what), escaped(said))
}

fn of_block(block: &Block, spread: Spread, body: &mut String) {
    match block {
        Block::Keys(keys) => of_keys(keys, body),
        Block::Fact(what, said) => body.push_str(&fact(what, said)),
        Block::Heading(heading) => {
            let _ = writeln!(body, "<h3 dir=\"auto\">{}</h3>", escaped(heading));
        }
        Block::Note(note) => {
            let _ = writeln!(body, "<p dir=\"auto\">{}</p>", escaped(note));
        }
        Block::Section(part) => of_part(part, spread, body),
        Block::Keyboard(keyboard) => {
            let (caption, svg) = (escaped(&keyboard.name), keyboard.svg_with(spread.keys));
            let _ = writeln!(body, "<figure><figcaption dir=\"auto\">{caption}</figcaption>{svg}</figure>");
        }
        Block::Table(table) => of_table(table, spread, body),
        Block::Plots(plots) if spread.plots => {
            let _ = write!(body, "<h3>{}</h3>\n<div class=\"touches\">\n", plot::HEADING);
            for plot in plots {
                let (name, what) = (escaped(&plot.name), escaped(&plot.what));
                let _ = writeln!(
                    body,
                    "<figure><figcaption>{name} <small>{what}</small></figcaption>{}</figure>",
                    plot.svg()
                );
            }
            body.push_str("</div>\n");
        }
        Block::Plots(_) => {}
    }
}

fn of_keys(keys: &PrintedKeys, body: &mut String) {
    let shift = match keys.shift {
        0 => "as played".to_owned(),
        shift => signed(shift),
    };
    let semitones = if keys.shift.abs() == 1 { "semitone" } else { "semitones" };
    let cells = [
        ("first", "fingers", Some(&keys.fingers)),
        ("", if keys.shift == 0 { "shift" } else { semitones }, Some(&shift)),
        ("first", "room", Some(&keys.room)),
        ("", "chart", Some(&keys.chart)),
        ("", "♩ a minute", keys.tempo.as_ref()),
        ("", "meter", keys.meter.as_ref()),
    ];
    body.push_str("<dl class=\"keys\">");
    for (class, name, value) in cells {
        if let Some(value) = value {
            let _ = write!(body, "<div class=\"{class}\"><dt>{name}</dt><dd>{}</dd></div>", escaped(value));
        }
    }
    body.push_str("</dl>\n");
}

fn of_part(part: &PrintedSection, spread: Spread, body: &mut String) {
    let (name, aside) = (escaped(&part.name), escaped(&part.aside.join(", ")));
    let class = if part.aside.len() > 1 { " class=\"new\"" } else { "" };
    let _ = writeln!(
        body,
        "<section class=\"part\">\n<h3><span dir=\"auto\">{name}</span> <small{class}>{aside}</small></h3>"
    );
    if let Some(remark) = &part.remark {
        let _ = writeln!(body, "<p class=\"remark\" dir=\"auto\">{}</p>", escaped(remark));
    }
    if !part.bars.is_empty() {
        let _ = write!(body, "<ol class=\"bars of-{}\">", bars_in_row(&part.bars, spread));
        for bar in &part.bars {
            body.push_str("<li>");
            for chord in bar {
                let room = match chord.room.as_str() {
                    "" => String::new(),
                    room => format!("<span class=\"room\">{}</span>", escaped(room)),
                };
                let fingers = escaped(&chord.fingers);
                let _ = write!(body, "<div class=\"chord\"><b class=\"fingers\">{fingers}</b>{room}</div>");
            }
            body.push_str("</li>");
        }
        body.push_str("</ol>\n");
    }
    body.push_str("</section>\n");
}

fn of_table(table: &Table, spread: Spread, body: &mut String) {
    body.push_str("<table>\n<colgroup>");
    for column in &table.columns {
        let _ = write!(body, "<col width=\"{}%\"/>", number(100.0 * column.share));
    }
    body.push_str("</colgroup>\n");
    if table.columns.iter().any(|column| !column.head.is_empty()) {
        body.push_str("<thead><tr>");
        for column in &table.columns {
            let class = if column.to_write { " class=\"write\"" } else { "" };
            let _ = write!(body, "<th scope=\"col\"{class}>{}</th>", escaped(column.head));
        }
        body.push_str("</tr></thead>\n");
    }
    body.push_str("<tbody>\n");
    for row in &table.rows {
        body.push_str("<tr>");
        for (cell, column) in row.iter().zip(&table.columns) {
            let said = said_in(cell, column.bold, spread);
            let lines = said.iter().map(|line| format!("<div dir=\"auto\">{}</div>", escaped(line)));
            let class = match (column.bold, column.to_write) {
                (true, _) => " class=\"first\"",
                (_, true) => " class=\"write\"",
                _ => "",
            };
            let _ = write!(body, "<td{class}>{}</td>", lines.collect::<String>());
        }
        body.push_str("</tr>\n");
    }
    body.push_str("</tbody>\n</table>\n");
}
