//! What one finger plays where one key plays a chord.

use crate::map::{PlayIn, Song};
use crate::music::chord::{self, ChordKind};
use crate::music::{Chord, Key, Speller, scale};

/// The chord that a key plays where the fingers play in `fingers` (rule R13): the one that `[fingers]` has for it, else
/// the triad on its degree, else root and fifth. It is named as it is gripped, in that key; a bass of its own is its
/// slash.
#[must_use]
pub fn chord_on(song: &Song, fingers: Key, key: u8) -> Chord {
    let tonic = fingers.tonic();
    let above = (12 + key % 12 - tonic) % 12;
    let written = written_in(song);
    let finger = song.fingers.iter().find(|finger| (12 + finger.key % 12 - written.tonic()) % 12 == above);
    if let Some(finger) = finger {
        return finger.chord.value.moved(written, fingers);
    }
    let root = tonic + above;
    let triad = scale::triad(fingers.is_minor(), above).map(|classes| classes.moved(i32::from(tonic)));
    let upward = |class: u8| root + (class + 24 - root) % 12;
    let named = triad.and_then(|triad| chord::name(triad.iter().fold(0, |keys, class| keys | 1 << upward(class))));
    // A key off the scale plays its root and fifth.
    let speller = Speller::from(fingers);
    named.map_or_else(|| Chord::new(speller.tone(root), ChordKind::Fifth, None), |named| speller.chord(named))
}

/// The key that `[fingers]` is written in: the song's own play-in key, so that the table moves where the set replaces
/// that.
fn written_in(song: &Song) -> Key {
    match song.play_in.as_ref().map(|play_in| play_in.value) {
        Some(PlayIn::Key(key)) => key,
        _ => song.key.value,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::evening::Keys;
    use crate::evening::tests::one_song;
    use crate::music::Classes;

    fn chords(tonight: &str, song: &str, fingers: &str) -> Vec<Chord> {
        let text = format!(
            "title = \"Snow\"\n{song}[[zone]]\nsound = \"grand\"\none_key_chord = true\n[fingers]\n{fingers}\n"
        );
        let book = one_song(tonight, &text);
        let song = &book.songs[0];
        let keys = Keys::of(&book, &book.set.entries[0], song);
        (0..12).map(|class| chord_on(song, keys.play_in, class)).collect()
    }

    fn names(chords: &[Chord]) -> Vec<String> {
        chords.iter().map(ToString::to_string).collect()
    }

    #[test]
    fn each_key_has_the_chord_of_its_degree_or_its_finger() {
        // R13; the triads as in the tests of `music::scale`.
        let c = ["C", "Db5", "Dm", "Eb5", "C/E", "F", "D7", "G", "Ab5", "Am", "Bb5", "G/B"];
        assert_eq!(names(&chords("", "key = \"C\"\n", "E = \"C/E\"\nB = \"G/B\"\n\"F#\" = \"D7\"")), c);
        let am = names(&chords("", "key = \"Am\"\n", ""));
        assert_eq!([am[9].as_str(), am[4].as_str(), am[8].as_str()], ["Am", "E", "G#dim"]);
    }

    #[test]
    fn the_table_moves_with_a_replaced_play_in_key() {
        // R13: the table moves with a replaced play-in key.
        let song = "key = \"Eb\"\nplay_in = \"C\"\n";
        let moved = names(&chords("play_in = \"D\"\n", song, "E = \"C/E\"\n"));
        assert_eq!((moved[6].as_str(), moved[2].as_str(), moved[4].as_str()), ("D/F#", "D", "Em"));
    }

    #[test]
    fn named_or_not_a_chord_holds_the_notes_of_its_degree() {
        for key in ["C", "F#", "Eb", "Am", "D#m", "Bbm"] {
            let tonic: Key = key.parse().expect("a key");
            for (class, chord) in (0u8..).zip(chords("", &format!("key = \"{key}\"\n"), "")) {
                let above = (12 + class - tonic.tonic()) % 12;
                let open = Classes::of(above).with(above + 7);
                let expected = scale::triad(tonic.is_minor(), above).unwrap_or(open);
                assert_eq!(chord.classes(), expected.moved(i32::from(tonic.tonic())), "{key} {class}");
                assert_eq!((chord.root(), chord.slash()), (class, None), "{key} {class}");
            }
        }
    }
}
