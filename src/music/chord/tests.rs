//! Symbols, the notes they stand for, and what is said of those that stand for none.

use super::*;

fn chord(text: &str) -> Chord {
    text.parse().unwrap_or_else(|error| panic!("{error}"))
}

fn classes(text: &str) -> Vec<u8> {
    chord(text).classes().iter().collect()
}

#[test]
fn every_symbol_reads_back_on_every_root() {
    for root in ["C", "C#", "Db", "D", "Eb", "E", "F", "F#", "Gb", "G", "Ab", "A", "Bb", "B", "Cb", "E#"] {
        for kind in ChordKind::all() {
            for slash in ["", "/B", "/Eb", "/F#"] {
                let text = format!("{root}{kind}{slash}");
                assert_eq!(chord(&text).to_string(), text);
                assert_eq!(chord(&text).kind(), kind);
            }
        }
    }
}

#[test]
fn usual_spellings_are_one_chord() {
    let same = [
        ("Cmaj7", "CM7"),
        ("Cmaj7", "CΔ"),
        ("Cmaj7", "CΔ7"),
        ("Cm", "Cmin"),
        ("Cm", "C-"),
        ("Cdim", "C°"),
        ("Cdim7", "C°7"),
        ("Cm7b5", "Cø"),
        ("Cm7b5", "Cm7(b5)"),
        ("Caug", "C+"),
        ("Csus4", "Csus"),
        ("C7sus4", "C7sus"),
        ("CmMaj7", "Cm(maj7)"),
        ("Cm(add9)", "Cmadd9"),
        ("C", "CM"),
        ("C", "Cmaj"),
        ("Bb", "B♭"),
        ("F#m7b5/E", "F♯ø/E"),
        ("Bdim", "Bo"),
        ("Bbmaj7", "Bbma7"),
        ("C7b9", "C7(b9)"),
        ("C7b9", "C7(♭9)"),
        ("C7b9", "C7-9"),
        ("C7#5", "C7(#5)"),
        ("C7#5", "C+7"),
        ("C7#5", "C7+"),
        ("Caug", "C(#5)"),
        ("C(b5)", "C(♭5)"),
        ("Cadd9", "C(add9)"),
        ("Cadd9", "Cadd2"),
        ("C6/9", "C69"),
        ("C6/9", "C6(9)"),
        ("C6/9/E", "C69/E"),
        ("Cm6/9", "C-6/9"),
        ("Cmaj9", "CΔ9"),
        ("Cmaj13", "CM13"),
        ("Cmaj7#11", "CΔ7(#11)"),
        ("CmMaj9", "Cm(maj9)"),
        ("C7b5b9", "C7(b9, b5)"),
        ("C7b5b9/E", "C7(b9/b5)/E"),
        ("C7#5#9", "C7alt"),
        ("C9sus4", "C9sus"),
        ("C7sus4(b9)", "C7sus4b9"),
        ("Csus2sus4", "Csus4(add9)"),
        ("Cm9b5", "Cø9"),
        ("Cm7b5", "Cm7-5"),
        ("Bb13#11", "B♭13(♯11)"),
    ];
    for (ours, theirs) in same {
        assert_eq!(chord(ours), chord(theirs), "{theirs}");
        assert_eq!(chord(theirs).to_string(), ours);
    }
}

#[test]
fn notes_of_a_chord_are_written_by_their_interval() {
    for (text, tones) in [
        ("C7b9", vec!["C", "Db", "E", "G", "Bb"]),
        ("C7#9", vec!["C", "D#", "E", "G", "Bb"]),
        ("C7#11", vec!["C", "E", "F#", "G", "Bb"]),
        ("C7b5", vec!["C", "E", "Gb", "Bb"]),
        ("C7b13", vec!["C", "E", "G", "Ab", "Bb"]),
        ("C7#5", vec!["C", "E", "G#", "Bb"]),
        ("D13", vec!["D", "E", "F#", "A", "B", "C"]),
    ] {
        let chord = chord(text);
        let written: Vec<String> =
            chord.classes().iter().filter_map(|class| chord.tone(class)).map(|t| t.to_string()).collect();
        let mut written = written;
        written.sort_by_key(|tone| (12 + Tone::read(tone).unwrap().0.class() - chord.root()) % 12);
        assert_eq!(written, tones, "{text}");
    }
}

#[test]
fn slash_chords() {
    // As music21 10.5.1 reads them: a bass that is no chord tone is one note more.
    for (text, notes, root, bass) in [
        ("C/E", vec![0, 4, 7], 0, 4),
        ("C/G", vec![0, 4, 7], 0, 7),
        ("D/F#", vec![2, 6, 9], 2, 6),
        ("D/C", vec![0, 2, 6, 9], 2, 0),
    ] {
        assert_eq!(classes(text), notes, "{text}");
        assert_eq!((chord(text).root(), chord(text).bass(), chord(text).slash()), (root, bass, Some(bass)));
    }
    assert_eq!((chord("G").bass(), chord("G").slash()), (7, None));
    assert_eq!(classes("Bdim7"), [2, 5, 8, 11]);
    assert_eq!(classes("F#7"), [1, 4, 6, 10]);
}

#[test]
fn the_same_notes_may_have_several_names() {
    // npm tonal 6.3.0: C6 = Am7, Csus2 = Gsus4, Cm6 = Am7b5; four roots for dim7, three for aug.
    for (one, other) in [("C6", "Am7"), ("Csus2", "Gsus4"), ("Cm6", "Am7b5")] {
        assert_eq!(classes(one), classes(other));
    }
    for other in ["Ebdim7", "F#dim7", "Adim7"] {
        assert_eq!(classes("Cdim7"), classes(other));
    }
    for other in ["Eaug", "G#aug"] {
        assert_eq!(classes("Caug"), classes(other));
    }
}

#[test]
fn a_move_spells_as_the_new_key_does() {
    // G Em C D from G to Eb are Eb Cm Ab Bb: computed by hand from the key's scale.
    let key = |text: &str| -> Key { text.parse().unwrap() };
    let (g, e_flat) = (key("G"), key("Eb"));
    let moved: Vec<String> = ["G", "Em7", "C/E", "D7"].map(|text| chord(text).moved(g, e_flat).to_string()).to_vec();
    assert_eq!(moved, ["Eb", "Cm7", "Ab/C", "Bb7"]);
    // A way of whole octaves leaves the chart's own spelling.
    assert_eq!(chord("A#dim7").moved(key("D#"), e_flat).to_string(), "A#dim7");
    // A chart in seven flats, by its own signature: its leading note stays one.
    assert_eq!(chord("Gdim").moved(key("Abm"), key("Am")).to_string(), "G#dim");
    assert_eq!(chord("Bbdim/Db").moved(key("Abm"), key("Em")).to_string(), "F#dim/A");
    for tonic in ["C", "C#", "Db", "D", "D#", "Eb", "E", "F", "F#", "Gb", "G", "G#", "Ab", "A", "Bb", "B", "Cb"] {
        let moved = chord("Dm7b5/C").moved(key(tonic), e_flat);
        assert_eq!(moved.classes(), chord("Dm7b5/C").classes().moved(key(tonic).nearest_way(e_flat)));
    }
}

#[test]
fn what_is_no_chord_says_why() {
    let said = |text: &str| text.parse::<Chord>().unwrap_err().to_string();
    assert_eq!(
        said("H7"),
        "\"H7\" is no chord: begin with a capital letter A to G, then # or b where needed, such as \"F#m7\""
    );
    assert_eq!(
        said("Cmajj7"),
        "\"Cmajj7\" is no chord: \"majj7\" after the root is not known; did you mean \"Cmaj7\"?"
    );
    assert_eq!(
        said("Bbxyz!"),
        "\"Bbxyz!\" is no chord: \"xyz!\" after the root is not known; write nothing or one of m, 7, m7, maj7, dim, \
         aug, m7b5, dim7, mMaj7, 6, m6, sus4, sus2, 7sus4, 9, m9, maj9, add9, m(add9), 5, 6/9, m6/9, 11, m11, maj11, \
         13, m13, maj13, mMaj9, 9sus4, 13sus4, 7sus4(b9), sus2sus4, add11, m(add11), m7(add11), 7(add13), (b5), 7b5, \
         7#5, maj7b5, maj7#5, m7#5, 7b9, 7#9, 7b5b9, 7b5#9, 7#5b9, 7#5#9, 7#11, 7b13, maj7#11, 9b5, 9#5, m9b5, 9#11, \
         maj9#11, 13b9, 13#11"
    );
    // What is near has other numbers, and so is another chord.
    for text in ["D7b10", "D7(b10)", "Dm8", "Dmaj15", "D7#9b"] {
        assert!(said(text).contains("not known; write nothing or one of"), "{}", said(text));
    }
    assert!(said("Dsuus4").ends_with("did you mean \"Dsus4\"?"));
    assert_eq!(
        said("G/9"),
        "\"G/9\" is no chord: \"9\" after the slash is no bass; write a capital letter A to G, then # or b where \
         needed, such as \"G/B\""
    );
    for text in [
        "",
        "c",
        "m",
        "C/",
        "C/E/G",
        "C//E",
        "Cbb",
        "C##",
        " C",
        "C ",
        "Cm7b",
        "É",
        "Cé",
        "C(",
        "C()",
        "C7(b9",
        "C7b9)",
        "C7((b9))",
        "C6/9/",
        "C/6/9",
        &"C".repeat(9999),
    ] {
        assert!(text.parse::<Chord>().is_err(), "{text}");
    }
}
