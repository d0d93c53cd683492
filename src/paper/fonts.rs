//! The fonts of the system: which of them letters are written with.

use std::collections::BTreeSet;

use fontdb::{Database, Family, ID, Query, Style, Weight};

use super::face::Face;
use super::text_width;
use crate::wording::paper::NO_FONT;

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

/// Fonts that have a box for every letter, to show that there is no font for it.
const BOXES: [&str; 3] = ["LastResort", "Last Resort", "Adobe Blank"];

/// Why there is no PDF.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum FontError {
    /// Nothing can write letters.
    #[error("{NO_FONT}")]
    NoFont,
    /// A font that is needed cannot be put into the file.
    #[error("the font {0} cannot be embedded")]
    Unembeddable(String),
}

/// The system's fonts.
#[derive(Debug)]
pub struct Fonts {
    database: Database,
    /// Upright letters as usual.
    usual: ID,
}

impl Fonts {
    /// Looks for the system's fonts, which may take seconds where there are thousands.
    ///
    /// # Errors
    /// There is none.
    pub fn of_system() -> Result<Fonts, FontError> {
        let mut database = Database::new();
        database.load_system_fonts();
        Fonts::among(database)
    }

    /// Chooses among these.
    fn among(database: Database) -> Result<Fonts, FontError> {
        let loads = |id: &ID| load(&database, *id).is_some();
        let named = |name: &&str| database.query(&Query { families: &[Family::Name(name)], ..Query::default() });
        let any =
            || database.faces().map(|face| face.id).find(|id| load(&database, *id).is_some_and(|face| face.has('A')));
        let usual = USUAL.iter().filter_map(named).find(loads).or_else(any).ok_or(FontError::NoFont)?;
        Ok(Fonts { database, usual })
    }

    /// A face of the usual family, or the nearest to it.
    pub(super) fn face(&self, weight: text_width::Weight, slanted: bool) -> Option<Face> {
        self.alike(self.usual, weight, slanted)
    }

    /// The face of this one's family that is so strong and slanted.
    fn alike(&self, id: ID, weight: text_width::Weight, slanted: bool) -> Option<Face> {
        let weight = if weight == text_width::Weight::Bold { Weight::BOLD } else { Weight::NORMAL };
        let style = if slanted { Style::Italic } else { Style::Normal };
        let family = self.database.face(id).and_then(|face| face.families.first()).map(|(name, _)| name.as_str());
        let family = [Family::Name(family.unwrap_or_default())];
        let found = self.database.query(&Query { families: &family, weight, style, ..Query::default() });
        found.and_then(|id| load(&self.database, id)).or_else(|| load(&self.database, id))
    }

    /// Faces for letters that the usual one lacks: each with what it is the first to have. The database is gone through
    /// once, whatever is wanted: mapping a thousand files takes its time.
    pub(super) fn others(&self, mut wanted: BTreeSet<char>) -> Vec<Face> {
        let mut faces: Vec<&fontdb::FaceInfo> = self.database.faces().collect();
        // Upright letters of usual strength first; those as wide as all others last.
        faces.sort_by_key(|face| (face.monospaced, face.style != Style::Normal, face.weight.0.abs_diff(400)));
        let mut chosen = Vec::new();
        for info in faces {
            if wanted.is_empty() {
                break;
            }
            if info.families.iter().any(|(name, _)| BOXES.contains(&name.as_str())) {
                continue;
            }
            let has = |data: &[u8], index: u32| {
                let has = |letter: &char| super::face::has(data, index, *letter);
                wanted.iter().copied().filter(has).collect::<Vec<char>>()
            };
            let found = self.database.with_face_data(info.id, has).unwrap_or_default();
            let face = if found.is_empty() { None } else { load(&self.database, info.id) };
            if let Some(face) = face {
                found.iter().for_each(|letter| _ = wanted.remove(letter));
                chosen.push(face);
            }
        }
        chosen
    }
}

/// A face that can be embedded.
fn load(database: &Database, id: ID) -> Option<Face> {
    let info = database.face(id)?;
    let is_bold = info.weight >= Weight::SEMIBOLD;
    let is_slanted = info.style != Style::Normal;
    let name = info.post_script_name.clone();
    let mut face = database.with_face_data(id, |data, index| Face::new(data, index, &name)).flatten()?;
    face.is_bold = is_bold;
    face.is_slanted = is_slanted;
    Some(face)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn without_a_font_there_is_no_pdf() {
        assert_eq!(Fonts::among(Database::new()).map(|_| ()), Err(FontError::NoFont));
    }

    #[test]
    fn a_face_of_the_usual_family_has_letters_of_europe() {
        let fonts = Fonts::of_system().expect("the system has a font");
        let face = fonts.face(text_width::Weight::Plain, false).expect("a face");
        assert!("Aéßż♩".chars().filter(|letter| face.has(*letter)).count() >= 4);
        assert!(fonts.others(['\u{F8FF5}'].into()).is_empty(), "nothing has a letter of private use");
    }
}
