//! What one finger plays where one key plays a chord (rule R13).

use crate::engine::Keys;
use crate::map::{PlayIn, Song};
use crate::music::chord::{self, Kind};
use crate::music::{Chord, Tone, scale};

/// The chord that a key plays, as it is gripped: named in the key that the fingers play in.
pub(crate) fn chord_on(song: &Song, keys: &Keys, key: u8) -> Chord {
    let play_in = keys.play_in;
    let above = (12 + key % 12 - play_in.tonic()) % 12;
    // The table is written in the song's own play-in key, and moves where the set replaces that.
    let written = match song.play_in.as_ref().map(|play_in| play_in.value) {
        Some(PlayIn::Key(key)) => key,
        _ => song.key.value,
    };
    let finger = song.fingers.iter().find(|finger| (12 + finger.key % 12 - written.tonic()) % 12 == above);
    if let Some(finger) = finger {
        return finger.chord.value.moved(written.nearest_way(play_in), play_in);
    }
    let root = play_in.tonic() + above;
    let triad = scale::triad(play_in.is_minor(), above).map(|classes| classes.moved(i32::from(play_in.tonic())));
    let upward = |class: u8| root + (class + 24 - root) % 12;
    let named = triad.and_then(|triad| chord::name(triad.iter().fold(0, |keys, class| keys | 1 << upward(class))));
    // A key off the scale plays its root and fifth.
    named.map_or_else(|| Chord::new(Tone::in_key(root, play_in), Kind::Fifth, None), |named| named.spelled(play_in))
}
