//! An octave of keys with names on them, drawn with characters: what one finger plays where one key plays a chord (rule
//! R13), and the notes of a chord.

use crate::evening::{Keys, chord_on};
use crate::map::Song;
use crate::music::chord::ChordKind;
use crate::music::note::is_black;

/// Columns of a white key, at least.
const WHITE: usize = 7;

/// An octave, large: black keys with their chords, and below them the white ones; a key that is neither a degree nor a
/// finger has no name. Nothing where it is too wide.
pub(super) fn octave(song: &Song, keys: &Keys, width: usize) -> Vec<String> {
    let name = |key: u8| {
        let chord = chord_on(song, keys.play_in, key);
        // C# with its fifth is written C#5, which looks like a note's name.
        if chord.kind() == ChordKind::Fifth { String::new() } else { chord.to_string() }
    };
    named(name, width)
}

/// An octave with a name on each key that has one, by its pitch class. Nothing where it is too wide.
pub(super) fn named(name: impl Fn(u8) -> String, width: usize) -> Vec<String> {
    let whites: Vec<u8> = (0..12).filter(|key| !is_black(*key)).collect();
    let longest = (0..12).map(|key| name(key).chars().count()).max().unwrap_or(0);
    let white = WHITE.max(longest + 2);
    if white * whites.len() > width {
        return Vec::new();
    }
    let mut below = String::new();
    let mut above = String::new();
    for (place, key) in whites.iter().enumerate() {
        below.push_str(&format!("▏{:1$}", name(*key), white - 1));
        if is_black(key + 1) {
            let column = place * white + white * 2 / 3;
            let gap = column.saturating_sub(above.chars().count());
            above.push_str(&format!("{}█{}", " ".repeat(gap), name(key + 1)));
        }
    }
    vec![above, format!("{below}▏")]
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::map::load;

    fn song(key: &str, fingers: &str) -> (Song, Keys) {
        let text = format!(
            "title = \"Snow\"\nkey = \"{key}\"\n[[zone]]\nsound = \"grand\"\none_key_chord = true\n[fingers]\n{fingers}\n"
        );
        let mut read = |path: &str| match path {
            "set.toml" => Ok(b"title = \"Evening\"\ngear = \"gear.toml\"\n[[song]]\nmap = \"song.toml\"\n".to_vec()),
            "gear.toml" => Ok(b"[inputs.keyboard]\nport = \"piano\"\n[outputs.keys]\nvirtual = true\n\
                [sounds.grand]\noutput = \"keys\"\nchannel = 1\n"
                .to_vec()),
            _ => Ok(text.clone().into_bytes()),
        };
        let book = load("set.toml", &mut read).book.expect("the maps load");
        let keys = Keys::of(&book, &book.set.entries[0], &book.songs[0]);
        (book.songs[0].clone(), keys)
    }

    #[test]
    fn an_octave_stands_in_its_width_or_is_left_out() {
        let (song, keys) = song("C", "");
        let drawn = octave(&song, &keys, 88);
        assert_eq!(drawn.len(), 2);
        assert!(drawn[1].starts_with("▏C     ▏Dm    ▏Em"), "{drawn:?}");
        assert!(drawn.iter().all(|line| line.chars().count() <= 88));
        assert!(octave(&song, &keys, 40).is_empty());
    }
}
