//! Tests of keys against tables of common practice.

use super::*;
use crate::music::{Speller, note};

fn key(text: &str) -> Key {
    text.parse().unwrap()
}

/// Every key that a map can say.
fn all() -> Vec<Key> {
    let mut keys = Vec::new();
    for letter in LETTERS {
        for accidental in ["", "#", "b"] {
            for minor in ["", "m"] {
                keys.push(key(&format!("{letter}{accidental}{minor}")));
            }
        }
    }
    keys
}

/// The circle of fifths: signature, major scale, relative minor (common practice, as in any primer).
const CIRCLE: [(i32, &str, &str); 15] = [
    (0, "C D E F G A B", "A"),
    (1, "G A B C D E F#", "E"),
    (2, "D E F# G A B C#", "B"),
    (3, "A B C# D E F# G#", "F#"),
    (4, "E F# G# A B C# D#", "C#"),
    (5, "B C# D# E F# G# A#", "G#"),
    (6, "F# G# A# B C# D# E#", "D#"),
    (7, "C# D# E# F# G# A# B#", "A#"),
    (-1, "F G A Bb C D E", "D"),
    (-2, "Bb C D Eb F G A", "G"),
    (-3, "Eb F G Ab Bb C D", "C"),
    (-4, "Ab Bb C Db Eb F G", "F"),
    (-5, "Db Eb F Gb Ab Bb C", "Bb"),
    (-6, "Gb Ab Bb Cb Db Eb F", "Eb"),
    (-7, "Cb Db Eb Fb Gb Ab Bb", "Ab"),
];

#[test]
fn circle_of_fifths() {
    for (signature, scale, minor) in CIRCLE {
        let names: Vec<&str> = scale.split(' ').collect();
        let major = key(names[0]);
        let minor = key(&format!("{minor}m"));
        assert_eq!(major.signature(), signature, "{major}");
        assert_eq!(minor.signature(), signature, "{minor}");
        assert_eq!(major.relative(), minor);
        assert_eq!(minor.relative(), major);
        assert_eq!(major.scale(), [0, 1, 2, 3, 4, 5, 6].map(|degree: usize| key(names[degree]).tonic()), "{major}");
        assert_eq!(minor.scale(), [5, 6, 0, 1, 2, 3, 4].map(|degree: usize| key(names[degree]).tonic()), "{minor}");
        for name in names {
            let written = note::parse(&format!("{name}4"), 4).unwrap();
            assert_eq!(Speller::from(major).note(written, 4), format!("{name}4"), "in {major}");
            assert_eq!(Speller::from(minor).note(written, 4), format!("{name}4"), "in {minor}");
        }
    }
}

#[test]
fn notes_outside_the_scale_as_in_the_harmonic_chromatic_scale() {
    // Common practice.
    for (tonic, scale) in [
        ("C", "C Db D Eb E F F# G Ab A Bb B"),
        ("Am", "C C# D D# E F F# G G# A Bb B"),
        ("Eb", "C Db D Eb Fb F Gb G Ab A Bb Cb"),
        ("Em", "C C# D D# E F F# G G# A A# B"),
    ] {
        for (pitch_class, name) in scale.split(' ').enumerate() {
            let expected = key(name).letter;
            assert_eq!(key(tonic).letter_of(pitch_class as u8), expected, "{name} in {tonic}");
        }
    }
}

#[test]
fn a_double_sharp_is_written_plain() {
    // The raised seventh of D# minor is C double sharp.
    let d = note::parse("D4", 4).unwrap();
    assert_eq!(Speller::from(key("D#m")).note(d, 4), "D4");
}

#[test]
fn ways_stay_in_their_ranges_and_arrive() {
    for from in all() {
        for to in all() {
            let (near, up, down) = (from.nearest_way(to), from.way_up(to), from.way_down(to));
            assert!((-5..=6).contains(&near) && (0..=11).contains(&up) && (-11..=0).contains(&down));
            for way in [near, up, down] {
                assert_eq!((i32::from(from.tonic()) + way).rem_euclid(12), i32::from(to.tonic()), "{from} {to}");
            }
        }
    }
    assert_eq!(key("G").nearest_way(key("Eb")), -4);
    assert_eq!(key("C").nearest_way(key("F#")), 6);
    assert_eq!(key("F#").nearest_way(key("C")), 6);
    assert_eq!(key("C").way_down(key("D")), -10);
    assert_eq!(key("C").way_down(key("C")), 0);
}

#[test]
fn transposed_with_the_fewest_accidentals() {
    for (from, way, to) in [
        ("C", 1, "Db"),
        ("C", -1, "B"),
        ("Am", -1, "G#m"),
        ("Am", 1, "Bbm"),
        ("C", 6, "F#"),
        ("C", -6, "Gb"),
        ("G", -1, "F#"),
        ("F", 1, "Gb"),
        ("Em", -1, "D#m"),
        ("Dm", 1, "Ebm"),
        ("Am", 6, "D#m"),
        ("Am", -6, "Ebm"),
        ("G", -4, "Eb"),
        ("C#", 0, "C#"),
        ("C#", 12, "C#"),
        ("C#", 2, "Eb"),
        ("G#", 12, "G#"),
    ] {
        assert_eq!(key(from).transposed(way), key(to), "{from} {way:+}");
    }
    for from in all() {
        for way in -24..=24 {
            let to = from.transposed(way);
            assert_eq!(to.tonic(), (i32::from(from.tonic()) + way).rem_euclid(12) as u8);
            assert_eq!(to.is_minor(), from.is_minor());
            assert!(way % 12 == 0 || to.sharps().abs() <= 6, "{from} {way:+} {to}");
        }
    }
}

#[test]
fn keys_that_no_signature_can_write() {
    for (theoretical, written) in
        [("G#", "Ab"), ("D#", "Eb"), ("A#", "Bb"), ("E#", "F"), ("B#", "C"), ("Fb", "E"), ("E#m", "Fm"), ("B#m", "Cm")]
    {
        assert_eq!(key(theoretical).written(), key(written));
        assert_eq!(key(theoretical).signature(), key(written).signature());
        assert_eq!(key(theoretical).to_string(), theoretical);
    }
    for (theoretical, written) in [("Dbm", "C#m"), ("Gbm", "F#m"), ("Cbm", "Bm"), ("Fbm", "Em")] {
        assert_eq!(key(theoretical).written(), key(written));
    }
    let g_sharp = note::parse("G#3", 4).unwrap();
    assert_eq!(Speller::from(key("G#")).note(g_sharp, 4), "Ab3");
    for key in all() {
        assert!((-7..=7).contains(&key.signature()), "{key}");
        assert_eq!(key.written().tonic(), key.tonic(), "{key}");
        assert_eq!(key.relative().signature(), key.signature(), "{key}");
    }
}

#[test]
fn every_key_reads_back_and_nothing_else_is_read() {
    for key in all() {
        assert_eq!(key.to_string().parse(), Ok(key));
    }
    for text in ["", "c", "H", "C##", "Cbb", "Cmin", "CM", "C m", " C", "m", "#", "C#b", "Cmm", "C♯", "é", "mC"] {
        assert_eq!(text.parse::<Key>(), Err(KeyError(text.to_owned())));
    }
    assert_eq!(
        "h-Moll".parse::<Key>().unwrap_err().to_string(),
        "\"h-Moll\" is no key: H is B here, and B is Bb, write \"Bm\""
    );
    assert_eq!(
        "x".parse::<Key>().unwrap_err().to_string(),
        "\"x\" is no key: write a letter A to G, then # or b where needed, then m for minor, such as \"Eb\" or \"C#m\""
    );
}

#[test]
fn a_key_as_one_says_it_is_meant() {
    let meant = |text: &str| Key::meant(text).map(|key| key.to_string());
    for (said, key) in [
        ("eb", "Eb"),
        ("E♭", "Eb"),
        ("Eb major", "Eb"),
        ("E flat", "Eb"),
        ("F♯ Minor", "F#m"),
        ("c# minor", "C#m"),
        ("g moll", "Gm"),
        ("G-Dur", "G"),
        ("am", "Am"),
        ("CM", "C"),
        ("Dmin", "Dm"),
        (" D ", "D"),
    ] {
        assert_eq!(meant(said).as_deref(), Some(key), "{said}");
    }
    for text in ["", "H", "ü", "İ major", "major", "-", "room", "Ebb"] {
        assert_eq!(meant(text), None, "{text}");
    }
}
