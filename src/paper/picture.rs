//! Pages of SVG as pictures, in the fonts that the system has.

use std::sync::Arc;

use resvg::tiny_skia::{Color, Pixmap, Transform};
use resvg::usvg::fontdb::{Database, Family, Query};
use resvg::usvg::{Options, Tree};

/// Width of a picture of an A4 page, in dots: 200 to the inch.
const DOTS: u32 = 1654;

/// Fonts with an upright face for letters, tried in this order; else whatever there is.
const USUAL: [&str; 9] = [
    "DejaVu Sans",
    "Noto Sans",
    "Liberation Sans",
    "Arial",
    "Helvetica",
    "Segoe UI",
    "Open Sans",
    "FreeSans",
    "Ubuntu",
];

/// Why there is no picture.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum PictureError {
    /// Nothing can write letters.
    #[error("the system has no font: install one, such as DejaVu Sans (Debian: fonts-dejavu-core)")]
    NoFont,
    /// The page could not be drawn.
    #[error("the page could not be drawn: {0}")]
    Undrawn(String),
}

/// The system's fonts.
#[derive(Debug, Clone)]
pub struct Fonts {
    database: Arc<Database>,
}

impl Fonts {
    /// Looks for the system's fonts, which may take some tenths of a second.
    ///
    /// # Errors
    /// There is none.
    pub fn of_system() -> Result<Fonts, PictureError> {
        let mut database = Database::new();
        database.load_system_fonts();
        Fonts::among(database)
    }

    /// Chooses among these.
    fn among(mut database: Database) -> Result<Fonts, PictureError> {
        let has =
            |name: &&&str| database.query(&Query { families: &[Family::Name(name)], ..Query::default() }).is_some();
        let first = || database.faces().find_map(|face| face.families.first().map(|(name, _)| name.clone()));
        let family =
            USUAL.iter().find(has).map(|name| (*name).to_owned()).or_else(first).ok_or(PictureError::NoFont)?;
        database.set_sans_serif_family(family.clone());
        // What a family lacks is looked for here.
        database.set_serif_family(family);
        Ok(Fonts { database: Arc::new(database) })
    }

    /// A page as a PNG file, black on white.
    ///
    /// # Errors
    /// The SVG cannot be read, or the picture not made.
    pub fn png(&self, svg: &str) -> Result<Vec<u8>, PictureError> {
        let undrawn = |error: &dyn std::fmt::Display| PictureError::Undrawn(error.to_string());
        let options = Options { fontdb: Arc::clone(&self.database), ..Options::default() };
        let tree = Tree::from_str(svg, &options).map_err(|error| undrawn(&error))?;
        let scale = DOTS as f32 / tree.size().width();
        let high = (tree.size().height() * scale).round() as u32;
        let mut picture = Pixmap::new(DOTS, high).ok_or_else(|| undrawn(&"it has no size"))?;
        picture.fill(Color::WHITE);
        resvg::render(&tree, Transform::from_scale(scale, scale), &mut picture.as_mut());
        picture.encode_png().map_err(|error| undrawn(&error))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn without_a_font_there_is_no_picture() {
        assert_eq!(Fonts::among(Database::new()).map(|_| ()), Err(PictureError::NoFont));
    }
}
