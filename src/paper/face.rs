//! A face of a font: which letters it has, and which glyphs a text becomes.

use std::collections::BTreeSet;

use harfrust::{BufferClusterLevel, BufferFlags, Direction, ShapeOptions, ShaperData, UnicodeBuffer};
use read_fonts::types::GlyphId;
use read_fonts::{FontRef, TableProvider};

/// How a font draws its letters.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Outlines {
    TrueType,
    Cff,
}

/// A glyph of a text, in letter sizes.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Glyph {
    pub id: u16,
    /// How far the next one stands from this.
    pub advance: f64,
    /// How far it stands to the right and upward of where it would by that.
    pub aside: (f64, f64),
    /// What it means; nothing where the glyph before has it already.
    pub text: String,
}

/// Measures of a face, in letter sizes.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(super) struct Measures {
    pub capitals: f64,
    pub ascent: f64,
    pub descent: f64,
    /// How far letters lean, in degrees.
    pub angle: f64,
    /// Left, bottom, right and top of all glyphs together.
    pub bounds: [f64; 4],
}

/// A face that can be read and embedded.
pub(super) struct Face {
    /// Its name in files, of letters that such a name may have.
    pub name: String,
    pub outlines: Outlines,
    pub is_bold: bool,
    pub is_slanted: bool,
    data: Vec<u8>,
    index: u32,
    shaper: ShaperData,
    measures: Measures,
    units: f64,
    /// How wide each glyph is by itself, in the font's units.
    widths: Vec<u16>,
}

/// What a font forbids altogether (OS/2, fsType): to be embedded.
const NOT_TO_EMBED: u16 = 0x0002;

impl Face {
    /// Reads a face; `None` where it cannot be used.
    pub fn new(data: &[u8], index: u32, name: &str) -> Option<Face> {
        let font = FontRef::from_index(data, index).ok()?;
        let outlines = if font.glyf().is_ok() {
            Outlines::TrueType
        } else if font.cff().is_ok() {
            Outlines::Cff
        } else {
            return None;
        };
        if font.os2().is_ok_and(|table| table.fs_type() & 0x000F == NOT_TO_EMBED) {
            return None;
        }
        let units = f64::from(font.head().ok()?.units_per_em()).max(1.0);
        let measures = measures(&font, units)?;
        let shaper = ShaperData::new(&font);
        let name = name.chars().filter(|letter| letter.is_ascii_alphanumeric() || *letter == '-').collect();
        let (hmtx, count) = (font.hmtx().ok()?, font.maxp().ok()?.num_glyphs());
        let widths = (0..count).map(|glyph| hmtx.advance(GlyphId::from(glyph)).unwrap_or(0)).collect();
        let data = data.to_vec();
        Some(Face { name, outlines, is_bold: false, is_slanted: false, data, index, shaper, measures, units, widths })
    }

    /// The file that it is in.
    pub fn data(&self) -> &[u8] {
        &self.data
    }

    /// Its place in the file.
    pub fn index(&self) -> u32 {
        self.index
    }

    pub fn measures(&self) -> Measures {
        self.measures
    }

    /// Whether it has a letter.
    pub fn has(&self, letter: char) -> bool {
        has(&self.data, self.index, letter)
    }

    /// How wide a glyph is by itself, in letter sizes.
    pub fn width(&self, glyph: u16) -> f64 {
        f64::from(self.widths.get(usize::from(glyph)).copied().unwrap_or(0)) / self.units
    }

    /// A word as glyphs, from left to right; one that runs backward begins with its last letter.
    pub fn glyphs(&self, word: &str, backward: bool) -> Vec<Glyph> {
        let Ok(font) = FontRef::from_index(&self.data, self.index) else { return Vec::new() };
        let mut buffer = UnicodeBuffer::new();
        buffer.push_str(word);
        buffer.guess_segment_properties();
        buffer.set_direction(if backward { Direction::RightToLeft } else { Direction::LeftToRight });
        // Each letter is to be found again by itself, and marks are letters.
        buffer.set_cluster_level(BufferClusterLevel::MonotoneCharacters);
        buffer.set_flags(BufferFlags::REMOVE_DEFAULT_IGNORABLES);
        let shaped = self.shaper.shaper(&font).build().shape(buffer, ShapeOptions::new());
        let starts: BTreeSet<usize> = shaped.glyph_infos().iter().map(|info| info.cluster as usize).collect();
        let mut told = BTreeSet::new();
        let units = |length: i32| f64::from(length) / self.units;
        let glyph = |(info, position): (&harfrust::GlyphInfo, &harfrust::GlyphPosition)| {
            let start = info.cluster as usize;
            let end = starts.range(start + 1..).next().copied().unwrap_or(word.len());
            let text = if told.insert(start) { word.get(start..end).unwrap_or_default() } else { "" };
            Glyph {
                id: u16::try_from(info.glyph_id).unwrap_or(0),
                advance: units(position.x_advance),
                aside: (units(position.x_offset), units(position.y_offset)),
                text: text.to_owned(),
            }
        };
        shaped.glyph_infos().iter().zip(shaped.glyph_positions()).map(glyph).collect()
    }

    /// A subset of it as a PDF wants it: of a font with PostScript outlines only these.
    pub fn stripped(&self, subset: Vec<u8>) -> Option<Vec<u8>> {
        match self.outlines {
            Outlines::TrueType => Some(subset),
            Outlines::Cff => {
                let font = FontRef::new(&subset).ok()?;
                Some(font.table_data(read_fonts::types::Tag::new(b"CFF "))?.as_bytes().to_vec())
            }
        }
    }
}

/// Whether the face of this place in a file has a letter.
pub(super) fn has(data: &[u8], index: u32, letter: char) -> bool {
    let font = FontRef::from_index(data, index).ok();
    font.and_then(|font| font.cmap().ok()?.map_codepoint(letter)).is_some_and(|glyph| glyph.to_u32() != 0)
}

fn measures(font: &FontRef<'_>, units: f64) -> Option<Measures> {
    let of = |length: i16| f64::from(length) / units;
    let (head, hhea) = (font.head().ok()?, font.hhea().ok()?);
    let said = || font.os2().ok().and_then(|table| table.s_cap_height());
    let capitals = height_of(font, 'H').or_else(said).map_or(0.0, of);
    let angle = font.post().map_or(0.0, |table| table.italic_angle().to_f64());
    let (ascent, descent) = (of(hhea.ascender().to_i16()), of(hhea.descender().to_i16()));
    let bounds = [head.x_min(), head.y_min(), head.x_max(), head.y_max()].map(of);
    Some(Measures { capitals, ascent, descent, angle, bounds })
}

/// How high a letter is drawn, in the font's units; not every font says it of its capitals.
fn height_of(font: &FontRef<'_>, letter: char) -> Option<i16> {
    let glyph = font.cmap().ok()?.map_codepoint(letter)?;
    let (loca, glyf) = (font.loca(None).ok()?, font.glyf().ok()?);
    Some(loca.get_glyf(glyph, &glyf).ok()??.y_max())
}
