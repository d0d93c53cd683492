//! The keys of a song: the chart's, the fingers' and the room's.

use super::{Standing, chords_of};
use crate::map::{Book, Entry, PlayIn, ShiftWay, Song};
use crate::music::{Chord, Key, Speller, nearest_way};

/// `raise-key` and `lower-key` go no further from tonight's key, in semitones.
pub const FURTHEST: i32 = 12;

/// The keys of one entry of a set, and the shift between them (rule R5).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Keys {
    /// The chart's key: what is printed.
    pub chart: Key,
    /// The fingers' key on entering the song.
    pub play_in: Key,
    /// The room's key on entering the song.
    pub tonight: Key,
    /// Whether the fingers play in whatever the room hears.
    pub sounding: bool,
    /// Semitones from the fingers' key to the room's on entering the song.
    pub shift: i32,
}

impl Keys {
    /// The keys of `entry`, which is `song`'s.
    #[must_use]
    pub fn of(book: &Book, entry: &Entry, song: &Song) -> Keys {
        Keys::tonight_in(book, entry, song, entry.key.as_ref().map_or(song.key.value, |key| key.value))
    }

    /// The keys of `entry` as they would be if this was the room's key on entering the song.
    #[must_use]
    pub fn tonight_in(book: &Book, entry: &Entry, song: &Song, tonight: Key) -> Keys {
        let chosen = entry.play_in.as_ref().or(song.play_in.as_ref()).or(book.set.play_in.as_ref());
        let (play_in, sounding) = match chosen.map(|chosen| chosen.value) {
            None => (song.key.value, false),
            Some(PlayIn::Key(key)) => (key, false),
            Some(PlayIn::Room) => (tonight, true),
        };
        let shift = match entry.shift.unwrap_or(song.shift) {
            ShiftWay::Nearest => play_in.nearest_way(tonight),
            ShiftWay::Up => play_in.way_up(tonight),
            ShiftWay::Down => play_in.way_down(tonight),
        };
        Keys { chart: song.key.value, play_in, tonight, sounding, shift }
    }

    /// The room's key on entering the entry of this index; none for a pause.
    #[must_use]
    pub fn on_entering(book: &Book, entry: usize) -> Option<Key> {
        let entry = book.set.entries.get(entry)?;
        Some(Keys::of(book, entry, book.songs.get(entry.song?)?).tonight)
    }

    /// The twelve keys that the song may be in tonight, from the one on C upward, as they are usually written; the one
    /// that it is in as the set has it.
    #[must_use]
    pub fn choices(&self) -> [Key; 12] {
        std::array::from_fn(|tonic| self.room(tonic as u8))
    }

    /// From the keys that are pressed to the notes that sound, in semitones (rule R5): the shift, what section keys
    /// add, and what was transposed by hand. Fingers that play in the room's key are moved by the last alone *(playing)*.
    #[must_use]
    pub fn shift_at(&self, lift: i32, transposed: i32) -> i32 {
        if self.sounding { transposed } else { self.shift + lift + transposed }
    }

    /// Pitch class of the room's tonic under what section keys add and what was transposed by hand *(playing)*.
    #[must_use]
    pub fn tonic_at(&self, lift: i32, transposed: i32) -> u8 {
        (i32::from(self.tonight.tonic()) + lift + transposed).rem_euclid(12) as u8
    }

    /// The room's key under what section keys add and what was transposed by hand.
    #[must_use]
    pub fn room_at(&self, lift: i32, transposed: i32) -> Key {
        self.room(self.tonic_at(lift, transposed))
    }

    /// The room's key on a tonic, such as that of a [`Standing`], spelled from tonight's.
    #[must_use]
    pub fn room(&self, tonic: u8) -> Key {
        self.tonight.transposed(nearest_way(self.tonight.tonic(), tonic))
    }

    /// The fingers' key where `room` is the room's. Fingers that play in the room's key are left behind only by what was
    /// transposed by hand (rule R5).
    #[must_use]
    pub fn fingers(&self, room: Key, transposed: i32) -> Key {
        if self.sounding { room.transposed(-transposed) } else { self.play_in }
    }

    /// The fingers' key where the set stands.
    #[must_use]
    pub fn fingers_at(&self, standing: &Standing) -> Key {
        self.fingers(self.room(standing.tonic), standing.transposed)
    }

    /// How chords and notes are written in a section, in one of the song's keys: the room's or the fingers'.
    #[must_use]
    pub fn speller(&self, key: Key, song: &Song, section: usize) -> Speller {
        let chords = chords_of(song, section).iter().flatten();
        Speller::new(key, chords.map(|chord| self.chord_in(key, *chord)))
    }

    /// A chord of the chart in another of the song's keys: as the fingers grip it, or as the room hears it.
    #[must_use]
    pub fn chord_in(&self, key: Key, chord: Chord) -> Chord {
        chord.moved(self.chart, key)
    }
}

/// What is transposed by hand once `key` has gone to the key on `tonic` (rule R5): the nearest way from what sounds, or the
/// other way, where that would lead further than [`FURTHEST`] *(playing)*.
#[must_use]
pub fn transposed_for(tonic: u8, standing: &Standing) -> i32 {
    within_an_octave(standing.transposed + nearest_way(standing.tonic, tonic))
}

/// The same key within [`FURTHEST`] semitones of tonight's *(playing)*.
#[must_use]
pub fn within_an_octave(transposed: i32) -> i32 {
    if transposed.abs() > FURTHEST { transposed - 12 * transposed.signum() } else { transposed }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::evening::tests::one_song;

    fn keys(tonight: &str, song: &str) -> Keys {
        let book = one_song(tonight, &format!("title = \"Snow\"\n{song}"));
        Keys::of(&book, &book.set.entries[0], &book.songs[0])
    }

    #[test]
    fn the_shift_goes_from_the_fingers_key_to_the_rooms_in_its_way() {
        // R5: tonight's tonic minus play-in tonic, modulo 12, in −5 … +6 (up: 0 … 11, down: −11 … 0).
        let song = "key = \"D\"\nplay_in = \"C\"\n";
        let shift = |tonight: &str| keys(tonight, song).shift;
        assert_eq!([shift(""), shift("key = \"F#\"\n"), shift("key = \"G\"\n")], [2, 6, -5]);
        assert_eq!([shift("key = \"G\"\nshift = \"up\"\n"), shift("shift = \"down\"\n")], [7, -10]);
        assert_eq!([shift("key = \"C\"\nshift = \"up\"\n"), shift("key = \"C\"\nshift = \"down\"\n")], [0, 0]);
        let keys = keys("key = \"F\"\nplay_in = \"G\"\n", song);
        assert_eq!([keys.chart, keys.play_in, keys.tonight].map(|key| key.to_string()), ["D", "G", "F"]);
    }

    #[test]
    fn a_song_may_be_in_twelve_keys_tonight() {
        let names = |tonight: &str, song: &str| keys(tonight, song).choices().map(|key| key.to_string()).join(" ");
        assert_eq!(names("", "key = \"D\"\n"), "C Db D Eb E F F# G Ab A Bb B");
        assert_eq!(names("key = \"Gb\"\n", "key = \"D\"\n"), "C Db D Eb E F Gb G Ab A Bb B");
        assert_eq!(names("key = \"C#\"\n", "key = \"D\"\n"), "C C# D Eb E F F# G Ab A Bb B");
        assert_eq!(names("", "key = \"Dm\"\n"), "Cm C#m Dm Ebm Em Fm F#m Gm G#m Am Bbm Bm");
        // R5: each with the shift that it would have.
        let book = one_song("", "title = \"Snow\"\nkey = \"D\"\nplay_in = \"C\"\nshift = \"up\"\n");
        let (entry, song) = (&book.set.entries[0], &book.songs[0]);
        let shifts = Keys::of(&book, entry, song).choices().map(|key| Keys::tonight_in(&book, entry, song, key).shift);
        assert_eq!(shifts, [0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11]);
    }

    #[test]
    fn section_keys_and_what_is_added_by_hand_move_room_and_fingers() {
        let keys = keys("key = \"F\"\n", "key = \"D\"\nplay_in = \"C\"\n");
        assert_eq!((keys.shift_at(2, -1), keys.tonic_at(2, -1)), (6, 6));
        assert_eq!((keys.room_at(2, 0).to_string().as_str(), keys.room(10).to_string().as_str()), ("G", "Bb"));
        assert_eq!(keys.room_at(0, 12), keys.tonight);
        assert_eq!(keys.fingers(keys.room_at(2, 1), 1), keys.play_in);
    }

    #[test]
    fn fingers_in_the_rooms_key_follow_section_keys_but_not_what_is_added() {
        // R5: with play_in = "room" the fingers follow section keys themselves, and the shift is only what was transposed.
        let keys = keys("", "key = \"D\"\nplay_in = \"room\"\n");
        assert_eq!((keys.shift_at(2, 0), keys.shift_at(2, 3)), (0, 3));
        assert_eq!(keys.fingers(keys.room_at(2, 3), 3).to_string(), "E");
    }

    #[test]
    fn a_chord_of_the_chart_is_gripped_in_the_fingers_key_and_heard_in_the_rooms() {
        let keys = keys("key = \"Eb\"\n", "key = \"D\"\nplay_in = \"C\"\n");
        let chord: Chord = "A7/C#".parse().expect("a chord");
        let named = |key: Key| keys.chord_in(key, chord).to_string();
        assert_eq!([keys.chart, keys.play_in, keys.tonight].map(named), ["A7/C#", "G7/B", "Bb7/D"]);
    }

    #[test]
    fn a_standing_tells_the_fingers_tonic_by_tonic_and_shift() {
        for (song, tonight) in
            [("key = \"D\"\nplay_in = \"C\"\n", "key = \"A\"\n"), ("key = \"D\"\nplay_in = \"room\"\n", "")]
        {
            let keys = keys(tonight, song);
            for (lift, transposed) in [(0, 0), (2, 0), (-5, 3), (6, -12)] {
                let (shift, tonic) = (keys.shift_at(lift, transposed), keys.tonic_at(lift, transposed));
                let standing = Standing { transposed, shift, tonic, ..Standing::default() };
                let fingers = keys.fingers_at(&standing);
                assert_eq!(
                    fingers,
                    keys.fingers(keys.room_at(lift, transposed), transposed),
                    "{song} {lift} {transposed}"
                );
                assert_eq!(standing.finger_tonic(), fingers.tonic(), "{song} {lift} {transposed}");
            }
        }
    }

    #[test]
    fn a_key_is_gone_to_the_nearest_way_but_never_beyond_an_octave() {
        // R5: `key` adds the nearest way from what sounds (the other way, where that would lead beyond 12).
        let from = |tonic: u8, transposed: i32| Standing { tonic, transposed, ..Standing::default() };
        assert_eq!(
            [transposed_for(7, &from(2, 0)), transposed_for(8, &from(2, 0)), transposed_for(9, &from(2, 0))],
            [5, 6, -5]
        );
        assert_eq!([transposed_for(4, &from(1, 11)), transposed_for(0, &from(3, -11))], [2, -2]);
        assert_eq!([13, 12, -12, -14].map(within_an_octave), [1, 12, -12, -2]);
    }
}
