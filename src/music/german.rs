//! German names of notes, keys and chords, and what they are here: H is B, and the German B is Bb.
//!
//! Nothing is read by them, for a `B` would mean two notes; but who writes one is told what to write instead.

use std::fmt;

/// A German name, and what it is here.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct German {
    name: String,
    here: String,
}

impl fmt::Display for German {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let also = match self.here.as_str() {
            "B" => ", and B is Bb",
            "Bb" if self.name == "B" => ", and H is B",
            _ => "",
        };
        write!(f, "{} is {} here{also}", self.name, self.here)
    }
}

impl German {
    /// The German name of a note with which a text begins, and what follows it. A `B` by itself is one of ours.
    fn read(text: &str) -> Option<(German, &str)> {
        let lower = text.to_ascii_lowercase();
        let letter = lower.chars().next().filter(|letter| ('a'..='h').contains(letter))?;
        let after = &lower[1..];
        let ours = if letter == 'h' { 'B' } else { letter.to_ascii_uppercase() };
        let (here, length) = match letter {
            'a' | 'e' if after.starts_with('s') && !after.starts_with("sus") => (format!("{ours}b"), 2),
            'b' => return None,
            'h' if after.starts_with(['#', 'b']) => return None,
            _ if after.starts_with("is") => (format!("{ours}#"), 3),
            _ if after.starts_with("es") => (format!("{ours}b"), 3),
            'h' => (ours.to_string(), 1),
            _ => return None,
        };
        let (name, rest) = (text.get(..length)?, text.get(length..)?);
        let name = name[..1].to_ascii_uppercase() + &name[1..].to_ascii_lowercase();
        Some((German { name, here }, rest))
    }

    /// A text that may name a note in German, with its octave: as it is written here.
    #[must_use]
    pub fn note(text: &str) -> Option<(German, String)> {
        let (german, octave) = German::read(text.trim())?;
        let here = format!("{}{octave}", german.here);
        Some((german, here))
    }

    /// A text that names a key in German, `H`, `es`, `h-Moll`, `B-Dur`, `Fism`: as it is written here. It is a minor key
    /// only where the text says so.
    #[must_use]
    pub fn key(text: &str) -> Option<(German, String)> {
        let text = text.trim();
        let lower = text.to_ascii_lowercase();
        let (length, minor, in_words) = match [lower.ends_with("dur"), lower.ends_with("moll"), text.ends_with('m')] {
            [true, ..] => ("dur".len(), "", true),
            [_, true, _] => ("moll".len(), "m", true),
            [.., minor] => (usize::from(minor), if minor { "m" } else { "" }, false),
        };
        let tonic = text[..text.len() - length].trim_end_matches([' ', '-']);
        let german = match German::read(tonic) {
            Some((german, "")) => german,
            None if in_words && tonic.eq_ignore_ascii_case("b") => German { name: "B".into(), here: "Bb".into() },
            _ => return None,
        };
        let here = format!("{}{minor}", german.here);
        Some((german, here))
    }

    /// A text that may name a chord whose root, or bass, has a German name: as it is written here.
    #[must_use]
    pub fn chord(text: &str) -> Option<(German, String)> {
        let (above, bass) = match text.trim().rsplit_once('/') {
            Some((above, bass)) => (above, Some(bass)),
            None => (text.trim(), None),
        };
        let here = |text: &str| match German::read(text) {
            Some((german, rest)) => (format!("{}{rest}", german.here), Some(german)),
            None => (text.to_owned(), None),
        };
        let (above, of_root) = here(above);
        let Some(bass) = bass else { return Some((of_root?, above)) };
        let (bass, of_bass) = here(bass);
        Some((of_root.or(of_bass)?, format!("{above}/{bass}")))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn keys() {
        for (text, key, says) in [
            ("H", "B", "H is B here, and B is Bb"),
            ("h-Moll", "Bm", "H is B here, and B is Bb"),
            ("B-Dur", "Bb", "B is Bb here, and H is B"),
            ("b moll", "Bbm", "B is Bb here, and H is B"),
            ("es", "Eb", "Es is Eb here"),
            ("As-Dur", "Ab", "As is Ab here"),
            ("Fis", "F#", "Fis is F# here"),
            ("Fism", "F#m", "Fis is F# here"),
            ("cis-moll", "C#m", "Cis is C# here"),
            ("Des", "Db", "Des is Db here"),
        ] {
            let (german, read) = German::key(text).unwrap_or_else(|| panic!("{text}"));
            assert_eq!((read.as_str(), german.to_string().as_str()), (key, says), "{text}");
        }
        for text in ["", "B", "Bb", "eb", "C-Dur", "a-moll", "C major", "hello", "é", "Hé", "m", "Eses", "moll"] {
            assert_eq!(German::key(text), None, "{text}");
        }
    }

    #[test]
    fn notes_and_chords() {
        let note = |text: &str| German::note(text).map(|(_, here)| here);
        assert_eq!(note("H5").as_deref(), Some("B5"));
        assert_eq!(note("es3").as_deref(), Some("Eb3"));
        assert_eq!(note("Fis-1").as_deref(), Some("F#-1"));
        assert_eq!([note("B3"), note("C4"), note("H#3"), note("")], [None, None, None, None]);
        let chord = |text: &str| German::chord(text).map(|(_, here)| here);
        for (text, here) in [
            ("H7", "B7"),
            ("Es", "Eb"),
            ("Fism7", "F#m7"),
            ("G/H", "G/B"),
            ("Hm/Fis", "Bm/F#"),
            ("As6/9", "Ab6/9"),
            ("Essus4", "Ebsus4"),
        ] {
            assert_eq!(chord(text).as_deref(), Some(here), "{text}");
        }
        assert_eq!([chord("Asus4"), chord("B7"), chord("G/X"), chord("6/9")], [None, None, None, None]);
    }
}
