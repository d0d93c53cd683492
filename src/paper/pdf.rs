//! The set as one PDF: a page after the other, with the fonts that it needs in it, so that it looks the same everywhere
//! and its text can be copied out.

use std::collections::{BTreeMap, BTreeSet};

use pdf_writer::types::{CidFontType, FontFlags, SystemInfo, TextRenderingMode, UnicodeCmap};
use pdf_writer::{Content, Finish, Name, Rect, Ref, Str, TextStr};
use subsetter::GlyphRemapper;

use super::Paper;
use super::face::{Face, Glyph, Outlines};
use super::fonts::{FontError, Fonts};
use super::shape::{Anchor, Form, Line, Mark, Run, Shade};
use super::sizes::{CAPITALS, PAGE};
use super::text_width::{Weight, cleaned, width};
use super::typeset::{Piece, Typesetter};

/// Points in a millimetre.
const POINTS: f64 = 72.0 / 25.4;
/// How far letters lean that are slanted though their font is not.
const LEAN: f64 = 0.2;
/// How much thicker letters become that are bold though their font is not, in letter sizes.
const THICKER: f64 = 0.035;
/// From a circle's end points to those that bend the curve, in radii.
const BEND: f64 = 0.5523;

/// A file of PDF.
#[derive(Debug, Clone)]
pub struct Pdf {
    /// What is in it.
    pub bytes: Vec<u8>,
    /// How many pages it has.
    pub pages: usize,
    /// Letters that no font has, each with a word in which it is.
    pub missing: Vec<MissingLetter>,
}

/// A letter that no font has, and a word in which it is.
pub type MissingLetter = (char, String);

impl Paper {
    /// The set as a file of PDF; how many sheets are drawn is told after each.
    ///
    /// # Errors
    /// A font that is needed cannot be used.
    pub fn pdf(&self, fonts: &Fonts, told: &dyn Fn(usize)) -> Result<Pdf, FontError> {
        let sheets: Vec<Vec<Vec<Mark>>> = self.sheets.iter().map(|sheet| sheet.laid().pages).collect();
        let mut letters = BTreeSet::new();
        sheets.iter().flatten().for_each(|page| letters_of(page, &mut letters));
        let mut pen = Pen::new(Typesetter::new(fonts, letters)?);
        let mut file = File::new();
        for (number, (sheet, pages)) in self.sheets.iter().zip(&sheets).enumerate() {
            for (place, page) in pages.iter().enumerate() {
                file.page(&pen.page(page), (place == 0).then_some(sheet.title.as_str()));
            }
            told(number + 1);
        }
        let pages = file.pages.len();
        let bytes = file.finish(&pen, &self.title)?;
        Ok(Pdf { bytes, pages, missing: pen.typesetter.missing.into_iter().collect() })
    }
}

fn letters_of(marks: &[Mark], letters: &mut BTreeSet<char>) {
    for mark in marks {
        match &mark.form {
            Form::Words { runs, .. } => runs.iter().for_each(|run| letters.extend(cleaned(&run.words).chars())),
            Form::Group { marks, .. } | Form::Placed { marks, .. } => letters_of(marks, letters),
            _ => {}
        }
    }
}

/// A length, or a place, as the file has it.
fn f(length: f64) -> f32 {
    length as f32
}

fn grey(shade: Shade) -> f32 {
    match shade {
        Shade::Black => 0.0,
        Shade::Grey => 0.53,
        Shade::White => 1.0,
    }
}

/// What the file has of a face.
#[derive(Default)]
struct UsedFace {
    glyphs: GlyphRemapper,
    /// What each glyph means, by its new number.
    texts: BTreeMap<u16, String>,
}

/// Draws marks.
struct Pen {
    typesetter: Typesetter,
    /// For each face of the typesetter what is used of it.
    used: BTreeMap<usize, UsedFace>,
}

impl Pen {
    fn new(typesetter: Typesetter) -> Pen {
        Pen { typesetter, used: BTreeMap::new() }
    }

    /// A page's marks, in millimetres downward.
    fn page(&mut self, marks: &[Mark]) -> Vec<u8> {
        let mut content = Content::new();
        content.transform([f(POINTS), 0.0, 0.0, f(-POINTS), 0.0, f(PAGE.1 * POINTS)]);
        marks.iter().for_each(|mark| self.mark(mark, &mut content));
        content.finish().into_vec()
    }

    fn mark(&mut self, mark: &Mark, content: &mut Content) {
        match &mark.form {
            Form::Group { marks, .. } => marks.iter().for_each(|mark| self.mark(mark, content)),
            Form::Placed { at: (x, y), scale, marks } => {
                content.save_state().transform([f(*scale), 0.0, 0.0, f(*scale), f(*x), f(*y)]);
                marks.iter().for_each(|mark| self.mark(mark, content));
                content.restore_state();
            }
            Form::Words { at, size, anchor, runs } => self.words(*at, *size, (*anchor, runs), content),
            Form::Box([x, y, wide, high]) => {
                content.rect(f(*x), f(*y), f(*wide), f(*high));
                paint(mark, content);
            }
            Form::Lines(lines) => {
                lines.iter().for_each(|points| path(points, content));
                paint(mark, content);
            }
            Form::Surface(points) => {
                path(points, content);
                content.close_path();
                paint(mark, content);
            }
            Form::Circle((x, y), radius) => {
                circle((*x, *y), *radius, content);
                paint(mark, content);
            }
        }
    }

    /// A line of text. It is never wider than it was calculated: with a font that is wider still, it is set narrower.
    fn words(&mut self, (x, y): (f64, f64), size: f64, (anchor, runs): (Anchor, &[Run]), content: &mut Content) {
        let pieces = self.typesetter.line(runs);
        let factor = |piece: &Piece| self.typesetter.faces.get(piece.face).map_or(1.0, Face::factor);
        let factors: Vec<f64> = pieces.iter().map(factor).collect();
        let wide: f64 = pieces.iter().zip(&factors).map(|(piece, factor)| piece.wide * factor * size).sum();
        let most: f64 = runs.iter().map(|run| width(&run.words, size, run.weight)).sum();
        let narrow = if wide > most { most / wide } else { 1.0 };
        let mut left = x - match anchor {
            Anchor::Start => 0.0,
            Anchor::Middle => wide * narrow / 2.0,
            Anchor::End => wide * narrow,
        };
        for (piece, factor) in pieces.iter().zip(factors) {
            self.piece(piece, (left, y), (size * factor, narrow), content);
            left += piece.wide * factor * size * narrow;
        }
    }

    fn piece(&mut self, piece: &Piece, (x, y): (f64, f64), (size, narrow): (f64, f64), content: &mut Content) {
        let Some(face) = self.typesetter.faces.get(piece.face) else { return };
        let used = self.used.entry(piece.face).or_default();
        let lean = if piece.slanted && !face.is_slanted { LEAN } else { 0.0 };
        content.set_fill_gray(0.0);
        content.begin_text().set_font(Name(font_name(piece.face).as_bytes()), f(size));
        let thick = piece.weight == Weight::Bold && !face.is_bold;
        let mode = if thick { TextRenderingMode::FillStroke } else { TextRenderingMode::Fill };
        content.set_text_rendering_mode(mode);
        if thick {
            content.set_stroke_gray(0.0).set_line_width(f(size * THICKER)).set_dash_pattern([], 0.0);
        }
        let mut from = x;
        let mut rest = piece.glyphs.as_slice();
        while let Some(first) = rest.first() {
            // Glyphs that stand apart, such as marks, begin anew.
            let together =
                rest.iter().skip(1).position(|glyph| glyph.aside != first.aside).map_or(rest.len(), |n| n + 1);
            let (now, later) = rest.split_at(together);
            let (dx, dy) = first.aside;
            let at = (from + dx * size * narrow, y - dy * size);
            content.set_text_matrix([f(narrow), 0.0, f(lean), -1.0, f(at.0), f(at.1)]);
            show(now, face, used, content);
            from += now.iter().map(|glyph| glyph.advance).sum::<f64>() * size * narrow;
            rest = later;
        }
        content.end_text();
    }
}

/// Glyphs one after the other.
fn show(glyphs: &[Glyph], face: &Face, used: &mut UsedFace, content: &mut Content) {
    let mut shown = content.show_positioned();
    let mut items = shown.items();
    for glyph in glyphs {
        let number = used.glyphs.remap(glyph.id);
        if !glyph.text.is_empty() {
            used.texts.entry(number).or_insert_with(|| glyph.text.clone());
        }
        items.show(Str(&number.to_be_bytes()));
        let kerned = glyph.advance - face.width(glyph.id);
        if kerned.abs() > 1e-4 {
            items.adjust(f(-1000.0 * kerned));
        }
    }
}

fn font_name(face: usize) -> String {
    format!("F{face}")
}

fn path(points: &[(f64, f64)], content: &mut Content) {
    for (place, (x, y)) in points.iter().enumerate() {
        if place == 0 {
            content.move_to(f(*x), f(*y))
        } else {
            content.line_to(f(*x), f(*y))
        };
    }
}

fn circle((x, y): (f64, f64), radius: f64, content: &mut Content) {
    let bend = radius * BEND;
    content.move_to(f(x + radius), f(y));
    for (cos, sin) in [(0.0, 1.0), (-1.0, 0.0), (0.0, -1.0), (1.0, 0.0)] {
        // A quarter from the direction before this one, which is at a right angle to it.
        let (from, to) = ((sin, -cos), (cos, sin));
        let first = (x + from.0 * radius + to.0 * bend, y + from.1 * radius + to.1 * bend);
        let second = (x + to.0 * radius + from.0 * bend, y + to.1 * radius + from.1 * bend);
        let end = (x + to.0 * radius, y + to.1 * radius);
        content.cubic_to(f(first.0), f(first.1), f(second.0), f(second.1), f(end.0), f(end.1));
    }
    content.close_path();
}

/// Fills and lines what was drawn.
fn paint(mark: &Mark, content: &mut Content) {
    if let Some(shade) = mark.fill {
        content.set_fill_gray(grey(shade));
    }
    if let Some(Line { shade, thick, dashes }) = mark.line {
        content.set_stroke_gray(grey(shade)).set_line_width(f(thick));
        let dashes = dashes.map(|(drawn, left_out)| [f(drawn), f(left_out)]);
        content.set_dash_pattern(dashes.into_iter().flatten(), 0.0);
    }
    match (mark.fill, mark.line) {
        (Some(_), Some(_)) => content.fill_nonzero_and_stroke(),
        (Some(_), None) => content.fill_nonzero(),
        (None, Some(_)) => content.stroke(),
        (None, None) => content.end_path(),
    };
}

/// A page that is written, and whether a sheet begins there.
struct WrittenPage {
    id: Ref,
    sheet: Option<String>,
}

/// A file of PDF that is written.
struct File {
    pdf: pdf_writer::Pdf,
    next: Ref,
    tree: Ref,
    /// What all pages have in common: the fonts.
    resources: Ref,
    pages: Vec<WrittenPage>,
}

impl File {
    fn new() -> File {
        let mut next = Ref::new(1);
        let (tree, resources) = (next.bump(), next.bump());
        File { pdf: pdf_writer::Pdf::new(), next, tree, resources, pages: Vec::new() }
    }

    fn page(&mut self, content: &[u8], sheet: Option<&str>) {
        let (id, drawn) = (self.next.bump(), self.next.bump());
        self.pdf.stream(drawn, content);
        let mut page = self.pdf.page(id);
        let (wide, high) = PAGE;
        page.media_box(Rect::new(0.0, 0.0, f(wide * POINTS), f(high * POINTS)));
        page.parent(self.tree).contents(drawn).pair(Name(b"Resources"), self.resources);
        page.finish();
        self.pages.push(WrittenPage { id, sheet: sheet.map(str::to_owned) });
    }

    /// The fonts, the list of sheets and what holds all together.
    fn finish(mut self, pen: &Pen, title: &str) -> Result<Vec<u8>, FontError> {
        let mut fonts = Vec::new();
        for (number, used) in &pen.used {
            if let Some(face) = pen.typesetter.faces.get(*number) {
                fonts.push((font_name(*number), self.font(face, used)?));
            }
        }
        let mut resources = self.pdf.indirect(self.resources).start::<pdf_writer::writers::Resources>();
        resources.fonts().pairs(fonts.iter().map(|(name, id)| (Name(name.as_bytes()), *id)));
        resources.finish();
        let pages = self.pages.iter().map(|page| page.id);
        self.pdf.pages(self.tree).kids(pages).count(self.pages.len() as i32);
        let outline = self.outline();
        let (catalog, about) = (self.next.bump(), self.next.bump());
        let mut root = self.pdf.catalog(catalog);
        root.pages(self.tree).outlines(outline).lang(TextStr("en"));
        root.viewer_preferences().display_doc_title(true);
        root.finish();
        self.pdf.document_info(about).title(TextStr(title)).producer(TextStr("handspan"));
        Ok(self.pdf.finish())
    }

    /// The titles of the sheets, to be chosen from.
    fn outline(&mut self) -> Ref {
        let list = self.next.bump();
        let sheets: Vec<(Ref, Ref, String)> =
            self.pages.iter().filter_map(|page| Some((self.next.bump(), page.id, page.sheet.clone()?))).collect();
        for (place, (id, page, title)) in sheets.iter().enumerate() {
            let mut item = self.pdf.outline_item(*id);
            item.title(TextStr(title)).parent(list);
            if let Some((before, ..)) = place.checked_sub(1).and_then(|place| sheets.get(place)) {
                item.prev(*before);
            }
            if let Some((after, ..)) = sheets.get(place + 1) {
                item.next(*after);
            }
            item.dest().page(*page).fit();
        }
        let mut outline = self.pdf.outline(list);
        if let (Some((first, ..)), Some((last, ..))) = (sheets.first(), sheets.last()) {
            outline.first(*first).last(*last).count(sheets.len() as i32);
        }
        list
    }

    /// Puts in what is used of a face.
    fn font(&mut self, face: &Face, used: &UsedFace) -> Result<Ref, FontError> {
        const SYSTEM: SystemInfo = SystemInfo { registry: Str(b"Adobe"), ordering: Str(b"Identity"), supplement: 0 };
        let (font, letters, about) = (self.next.bump(), self.next.bump(), self.next.bump());
        let (data, meaning) = (self.next.bump(), self.next.bump());
        let subset = subsetter::subset(face.data(), face.index(), &used.glyphs);
        let subset = subset.ok().and_then(|subset| face.stripped(subset));
        let subset = subset.ok_or_else(|| FontError::Unembeddable(face.name.clone()))?;
        let tag: String =
            (0..6).map(|place| char::from(b'A' + ((font.get() as u32 / 26_u32.pow(place)) % 26) as u8)).collect();
        let name = format!("{tag}+{}", face.name);
        let name = Name(name.as_bytes());

        let mut parent = self.pdf.type0_font(font);
        parent.base_font(name).encoding_predefined(Name(b"Identity-H")).descendant_font(letters).to_unicode(meaning);
        parent.finish();

        let is_cff = face.outlines == Outlines::Cff;
        let mut descendant = self.pdf.cid_font(letters);
        descendant.subtype(if is_cff { CidFontType::Type0 } else { CidFontType::Type2 });
        descendant.base_font(name).system_info(SYSTEM).font_descriptor(about).default_width(0.0);
        if !is_cff {
            descendant.cid_to_gid_map_predefined(Name(b"Identity"));
        }
        let widths = used.glyphs.remapped_gids().map(|glyph| f(1000.0 * face.width(glyph)));
        descendant.widths().consecutive(0, widths);
        descendant.finish();

        let mut meanings = UnicodeCmap::new(Name(b"Letters"), SYSTEM);
        for (glyph, text) in &used.texts {
            meanings.pair_with_multiple(*glyph, text.chars());
        }
        self.pdf.cmap(meaning, &meanings.finish());

        let mut stream = self.pdf.stream(data, &subset);
        if is_cff {
            stream.pair(Name(b"Subtype"), Name(b"CIDFontType0C"));
        } else {
            stream.pair(Name(b"Length1"), subset.len() as i32);
        }
        stream.finish();

        let measures = face.measures();
        let mut descriptor = self.pdf.font_descriptor(about);
        descriptor.name(name).flags(FontFlags::SYMBOLIC).italic_angle(f(measures.angle)).stem_v(95.0);
        let [left, bottom, right, top] = measures.bounds.map(|bound| f(1000.0 * bound));
        descriptor.bbox(Rect::new(left, bottom, right, top)).cap_height(f(1000.0 * measures.capitals));
        descriptor.ascent(f(1000.0 * measures.ascent)).descent(f(1000.0 * measures.descent));
        if is_cff {
            descriptor.font_file3(data)
        } else {
            descriptor.font_file2(data)
        };
        descriptor.finish();
        Ok(font)
    }
}

impl Face {
    /// So much larger its letters are set, that its capitals are as high as was calculated.
    fn factor(&self) -> f64 {
        let capitals = self.measures().capitals;
        if capitals > 0.0 { (CAPITALS / capitals).clamp(0.8, 1.3) } else { 1.0 }
    }
}
