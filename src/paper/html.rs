//! A sheet as one page of HTML that needs nothing else, on a screen and printed.

use std::fmt::Write;

use super::{Block, PrintedKeys, PrintedSection, Sheet, Table, signed};
use crate::paper::text_width::escaped;

const STYLE: &str = "
@page { size: A4; margin: 13mm }
* { box-sizing: border-box }
body { margin: 0 auto; padding: 1rem; max-width: 210mm; color: black; background: white; font: 1rem/1.35 sans-serif }
header p { margin: 0; display: flex; justify-content: space-between; border-bottom: 1px solid black }
h1 { margin: .3rem 0; font-size: 2.9rem; line-height: 1.1; overflow-wrap: anywhere }
h2 { margin: 1.4rem 0 .2rem; font-size: 1.25rem; break-after: avoid; overflow-wrap: anywhere }
.keys { display: flex; flex-wrap: wrap; gap: .3rem 2.2rem; align-items: last baseline; margin: .6rem 0; padding-bottom: .5rem; \
border-bottom: 2px solid black }
.keys dt { font-size: .9rem }
.keys dd { margin: 0; font-size: 1.9rem; font-weight: bold; line-height: 1.1 }
.keys .first dd { font-size: 3.1rem }
.facts { display: grid; grid-template-columns: max-content 1fr; gap: .1rem 1rem; margin: .4rem 0; font-size: 1.15rem }
.facts dt { font-size: .9rem }
.facts dd { margin: 0; font-weight: bold; overflow-wrap: anywhere }
.part { break-inside: avoid; margin-top: 1rem }
.part h2 { margin: 0; display: flex; justify-content: space-between; gap: 1rem; align-items: baseline; \
font-size: 1.5rem }
.part h2 small { font-size: .9rem; font-weight: normal; flex: none; max-width: 50% }
.part .remark { margin: 0; font-size: 1.15rem; font-style: italic }
.bars { display: flex; flex-wrap: wrap; list-style: none; margin: .3rem 0 0; padding: 0 }
.bars li { flex: 0 0 auto; min-width: 25%; border-left: 2px solid black; padding: 0 .6rem .2rem .5rem; \
margin-bottom: .5rem; display: flex; flex-wrap: wrap; gap: 0 .8rem; break-inside: avoid }
.bars li:last-child { border-right: 4px solid black }
.chord { flex: 1 1 auto }
.chord b { display: block; font-size: 2rem; line-height: 1.15 }
.chord span { font-size: 1.1rem }
table { width: 100%; border-collapse: collapse; font-size: .95rem; margin: .4rem 0 }
th { text-align: left; font-weight: normal; font-size: .85rem; border-bottom: 1px solid black }
td { vertical-align: top; padding: .2rem .6rem .2rem 0; border-bottom: 1px solid #999; overflow-wrap: anywhere }
tr { break-inside: avoid }
td.first div:first-child { font-weight: bold }
figure { margin: .6rem 0; break-inside: avoid }
figcaption { font-weight: bold; overflow-wrap: anywhere }
figcaption small { display: block; font-weight: normal }
figure svg { display: block; width: 100%; height: auto }
.touches { display: flex; flex-wrap: wrap; gap: 0 1rem; align-items: end }
.touches figure { width: 44mm }
@media print { body { padding: 0; max-width: none } }
";

impl Sheet {
    /// The sheet as a file of HTML.
    #[must_use]
    pub fn html(&self) -> String {
        let title = escaped(&self.title);
        let (set, place) = (escaped(&self.set), escaped(&self.place));
        let mut body = format!(
            "<header><p><span dir=\"auto\">{set}</span> <span>{place}</span></p>\n<h1 dir=\"auto\">{title}</h1></header>\n<main>\n"
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
                of_block(block, &mut body);
            }
        }
        format!(
            "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\"/>\n\
             <meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'\"/>\n\
             <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\"/>\n<title>{title}</title>\n\
             <style>{STYLE}</style>\n</head>\n<body>\n{body}</main>\n</body>\n</html>\n"
        )
    }
}

fn fact(what: &str, said: &str) -> String {
    format!("<dt>{}</dt><dd dir=\"auto\">{}</dd>", escaped(what), escaped(said))
}

fn of_block(block: &Block, body: &mut String) {
    match block {
        Block::Keys(keys) => of_keys(keys, body),
        Block::Fact(what, said) => body.push_str(&fact(what, said)),
        Block::Heading(heading) => {
            let _ = writeln!(body, "<h2 dir=\"auto\">{}</h2>", escaped(heading));
        }
        Block::Note(note) => {
            let _ = writeln!(body, "<p dir=\"auto\">{}</p>", escaped(note));
        }
        Block::Section(part) => of_part(part, body),
        Block::Keyboard(keyboard) => {
            let caption = escaped(&keyboard.name);
            let _ = writeln!(body, "<figure><figcaption>{caption}</figcaption>{}</figure>", keyboard.svg());
        }
        Block::Table(table) => of_table(table, body),
        Block::Plots(plots) => {
            body.push_str("<div class=\"touches\">\n");
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
    }
}

fn of_keys(keys: &PrintedKeys, body: &mut String) {
    let shift = match keys.shift {
        0 => "as played".to_owned(),
        shift if shift.abs() == 1 => format!("{} semitone", signed(shift)),
        shift => format!("{} semitones", signed(shift)),
    };
    let cells = [
        ("first", "fingers", Some(&keys.fingers)),
        ("", "shift", Some(&shift)),
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

fn of_part(part: &PrintedSection, body: &mut String) {
    let (name, aside) = (escaped(&part.name), escaped(&part.aside.join(", ")));
    let _ =
        writeln!(body, "<section class=\"part\">\n<h2><span dir=\"auto\">{name}</span> <small>{aside}</small></h2>");
    if let Some(remark) = &part.remark {
        let _ = writeln!(body, "<p class=\"remark\" dir=\"auto\">{}</p>", escaped(remark));
    }
    if !part.bars.is_empty() {
        body.push_str("<ol class=\"bars\">");
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

fn of_table(table: &Table, body: &mut String) {
    body.push_str("<table>\n");
    if table.columns.iter().any(|column| !column.head.is_empty()) {
        body.push_str("<thead><tr>");
        for column in &table.columns {
            let _ = write!(body, "<th scope=\"col\">{}</th>", escaped(column.head));
        }
        body.push_str("</tr></thead>\n");
    }
    body.push_str("<tbody>\n");
    for row in &table.rows {
        body.push_str("<tr>");
        for (cell, column) in row.iter().zip(&table.columns) {
            let lines = cell.iter().map(|line| format!("<div dir=\"auto\">{}</div>", escaped(line)));
            let class = if column.bold { " class=\"first\"" } else { "" };
            let _ = write!(body, "<td{class}>{}</td>", lines.collect::<String>());
        }
        body.push_str("</tr>\n");
    }
    body.push_str("</tbody>\n</table>\n");
}
