//! Chords as degrees of a key, in the Roman numerals of textbooks of harmony: capitals for a major third, small letters
//! for a minor one, `°` for diminished, `ø` for half-diminished, `+` for augmented. What follows is the chord's own
//! writing, so `I7` is a dominant seventh on the tonic, as `C7` is in C. A bass other than the root is an inversion's
//! figures where the chord is a triad or one of the usual sevenths, else its degree after a slash.

use super::chord::ChordKind;
use super::{Chord, Key, Tone};

/// Numerals of the degrees.
const NUMERALS: [(&str, &str); 7] =
    [("I", "i"), ("II", "ii"), ("III", "iii"), ("IV", "iv"), ("V", "v"), ("VI", "vi"), ("VII", "vii")];
/// Places of the degrees on the line of fifths, counted from the tonic: of major, and of natural minor.
const MAJOR: [i32; 7] = [0, 2, 4, -1, 1, 3, 5];
const MINOR: [i32; 7] = [0, 2, -3, -1, 1, -4, -2];

/// A chord as a degree of a key. In minor the degrees are those of natural minor, but for diminished chords on the sixth and
/// seventh, which are usually the raised ones and need no sign then: `vii°` (common practice).
#[must_use]
pub fn degree(chord: Chord, key: Key) -> String {
    let (kind, root) = (chord.kind(), chord.root_tone());
    let (number, accidental) = place(root, key);
    let classes = kind.classes();
    let is_small = classes.contains(3) && !classes.contains(4);
    let is_diminished = is_small && classes.contains(6) && !classes.contains(7);
    let is_usually_raised = key.is_minor() && is_diminished && number >= 5;
    let sign = signs(if is_usually_raised { accidental - 1 } else { accidental });
    let (capital, small) = NUMERALS[number];
    let numeral = if is_small { small } else { capital };
    let plain = quality(kind, is_small);
    let Some(bass) = chord.slash().filter(|bass| *bass != chord.root()) else {
        return format!("{sign}{numeral}{plain}");
    };
    if let Some((mark, figures)) = inversion(kind, (12 + bass - chord.root()) % 12) {
        return format!("{sign}{numeral}{mark}{figures}");
    }
    let tone = chord.tone(bass).unwrap_or(root);
    let (number, accidental) = place(tone, key);
    format!("{sign}{numeral}{plain}/{}{}", signs(accidental), number + 1)
}

/// Which degree a tone is, from 0, and how many semitones it is raised or lowered.
fn place(tone: Tone, key: Key) -> (usize, i32) {
    let away = tone.fifths() - key.tone().fifths();
    let number = (away * 4).rem_euclid(7) as usize;
    let degrees = if key.is_minor() { MINOR } else { MAJOR };
    (number, (away - degrees[number]) / 7)
}

fn signs(accidental: i32) -> String {
    let sign = if accidental < 0 { "b" } else { "#" };
    sign.repeat(accidental.unsigned_abs() as usize)
}

/// What stands after the numeral.
fn quality(kind: ChordKind, is_small: bool) -> String {
    match kind {
        ChordKind::Diminished => "°".to_owned(),
        ChordKind::DiminishedSeventh => "°7".to_owned(),
        ChordKind::HalfDiminished => "ø7".to_owned(),
        ChordKind::Augmented => "+".to_owned(),
        kind => {
            let written = kind.written();
            written.strip_prefix('m').filter(|_| is_small).unwrap_or(written).to_owned()
        }
    }
}

/// The mark and the figures of an inversion whose bass lies so many semitones above the root.
fn inversion(kind: ChordKind, bass: u8) -> Option<(&'static str, &'static str)> {
    use ChordKind::{Augmented, Diminished, DiminishedSeventh, HalfDiminished, Major, Minor, MinorSeventh, Seventh};
    let mark = match kind {
        Diminished | DiminishedSeventh => "°",
        HalfDiminished => "ø",
        Augmented => "+",
        _ => "",
    };
    let is_triad = matches!(kind, Major | Minor | Diminished | Augmented);
    let is_seventh = matches!(kind, Seventh | MinorSeventh | HalfDiminished | DiminishedSeventh);
    if !kind.classes().contains(bass) {
        return None;
    }
    let figures = match (bass, is_triad, is_seventh) {
        (3 | 4, true, _) => "6",
        (6..=8, true, _) => "64",
        (3 | 4, _, true) => "65",
        (6..=8, _, true) => "43",
        (9 | 10, _, true) => "42",
        _ => return None,
    };
    Some((mark, figures))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn told(chords: &str, key: &str) -> String {
        let key = key.parse().unwrap();
        let each = chords.split(' ').map(|chord| degree(chord.parse().unwrap(), key));
        each.collect::<Vec<_>>().join(" ")
    }

    #[test]
    fn the_chords_of_a_key_have_its_degrees() {
        // The triads and sevenths on the degrees of major and of harmonic minor (common practice).
        assert_eq!(told("C Dm Em F G Am Bdim", "C"), "I ii iii IV V vi vii°");
        assert_eq!(told("Eb7 Fm7 Bb7 Dm7b5", "Eb"), "I7 ii7 V7 viiø7");
        assert_eq!(told("Am Bdim C Dm E F G#dim7", "Am"), "i ii° III iv V VI vii°7");
        assert_eq!(told("G Gm Gdim F#dim", "Am"), "VII vii bvii° vi°");
    }

    #[test]
    fn what_lies_outside_has_a_sign_and_a_bass_its_figures() {
        assert_eq!(told("Bb D7 F#dim Ab Caug", "C"), "bVII II7 #iv° bVI I+");
        assert_eq!(told("C/E C/G G7/B G7/D G7/F Bdim/D", "C"), "I6 I64 V65 V43 V42 vii°6");
        assert_eq!(told("C/D Cmaj7/B Gsus4 Gm(add9) CmMaj7", "C"), "I/2 Imaj7/7 Vsus4 v(add9) iMaj7");
        assert_eq!(told("C/Bb F/F", "C"), "I/b7 IV");
    }
}
