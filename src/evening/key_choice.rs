//! The twelve keys that a song may be in tonight: what each asks of those who sing and of those who play.

use super::voices::{Melody, Suits, beyond};
use super::{Keys, Order, chords_of};
use crate::map::{Book, Entry, Singer, Song};
use crate::music::note::is_black;
use crate::music::{Chord, Key};

/// What a key asks of one singer, over all of tonight's sections; semitones.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Asked {
    /// The lowest and the highest note that is sung.
    pub heard: (i32, i32),
    /// How far that is below the singer's range, and above it.
    pub outside: (i32, i32),
    /// How far it is below what is comfortable, and above it.
    pub strained: (i32, i32),
    /// How well the key suits.
    pub suits: Suits,
    /// The share of the melody's time that lies beyond what is comfortable, 0 … 1; where a played melody says how long its
    /// notes are.
    pub share: Option<f64>,
}

/// One of the keys.
#[derive(Debug, Clone, PartialEq)]
pub struct KeyChoice {
    /// The song's keys, if this was the room's key on entering it.
    pub keys: Keys,
    /// What it asks of each singer, in their order.
    pub asked: Vec<Asked>,
    /// Black keys in the chords of tonight's order, as the fingers grip them; none where no chords are written.
    pub black: Option<usize>,
}

impl KeyChoice {
    /// Semitones from the chart's key, the nearest way, −5 … +6.
    #[must_use]
    pub fn way(&self) -> i32 {
        self.keys.chart.nearest_way(self.keys.tonight)
    }

    /// How it suits the one whom it suits least.
    #[must_use]
    pub fn suits(&self) -> Suits {
        self.asked.iter().map(|asked| asked.suits).max().unwrap_or(Suits::Well)
    }

    /// By what keys are compared, each only where all before it are equal: how far the melody leaves the range of the one
    /// who reaches it least, how it suits the one whom it suits least, how much of the melody strains, how far it strains,
    /// how far the key is from the chart's, its sharps or flats.
    fn rank(&self) -> (i32, Suits, u32, i32, i32, i32) {
        let most = |of: fn(&Asked) -> (i32, i32)| {
            self.asked.iter().map(|asked| of(asked).0.max(of(asked).1)).max().unwrap_or(0)
        };
        let share = self.asked.iter().filter_map(|asked| asked.share).fold(0.0, f64::max);
        let thousandths = (share * 1000.0).round() as u32;
        let (outside, strained) = (most(|asked| asked.outside), most(|asked| asked.strained));
        (outside, self.suits(), thousandths, strained, self.way().abs(), self.keys.tonight.signature().abs())
    }
}

/// The twelve keys, what suits best first. `singers` sing this melody, the song of this entry.
#[must_use]
pub fn key_choices(
    book: &Book,
    (entry, song): (&Entry, &Song),
    melody: &Melody,
    singers: &[&Singer],
) -> Vec<KeyChoice> {
    let order = Order::of(entry, song);
    let choice = |key: Key| {
        let keys = Keys::tonight_in(book, entry, song, key);
        let asked = singers.iter().map(|singer| asked(melody, key, singer)).collect();
        KeyChoice { keys, asked, black: black_keys(song, &order, |lift| keys.fingers(keys.room_at(lift, 0), 0)) }
    };
    let mut choices: Vec<KeyChoice> = Keys::of(book, entry, song).choices().into_iter().map(choice).collect();
    choices.sort_by_key(KeyChoice::rank);
    choices
}

fn asked(melody: &Melody, key: Key, singer: &Singer) -> Asked {
    let heard = melody.tonight(key);
    let comfortable = singer.comfortable.unwrap_or(singer.range);
    Asked {
        heard,
        outside: beyond(heard, singer.range),
        strained: beyond(heard, comfortable),
        suits: melody.suits(key, singer),
        share: melody.share_beyond(key, comfortable),
    }
}

/// The black keys of all chords of tonight's order, gripped in the key that `fingers` gives for what section keys add; none
/// where no chords are written.
fn black_keys(song: &Song, order: &Order, fingers: impl Fn(i32) -> Key) -> Option<usize> {
    let steps = order.steps.iter().filter_map(|step| Some((step.section?, fingers(step.lift))));
    let chords =
        steps.flat_map(|(section, key)| chords_of(song, section).iter().flatten().map(move |chord| (chord, key)));
    let black = |(chord, key): (&Chord, Key)| {
        chord.moved(song.key.value, key).classes().iter().filter(|class| is_black(*class)).count()
    };
    chords.map(black).reduce(|all, more| all + more)
}

/// The fingers' keys in which the chords of tonight's order lie easiest: each of the twelve with its black keys in all,
/// the fewest first, of equals the nearest to the chart's. Empty where no chords are written.
#[must_use]
pub fn easiest_fingers((entry, song): (&Entry, &Song)) -> Vec<(Key, usize)> {
    let (order, chart) = (Order::of(entry, song), song.key.value);
    let keys = (-5..=6).map(|way| chart.transposed(way));
    let mut counted: Vec<(Key, usize)> =
        keys.filter_map(|key| Some((key, black_keys(song, &order, |_| key)?))).collect();
    counted.sort_by_key(|(key, black)| (*black, chart.nearest_way(*key).abs()));
    counted
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::evening::tests::book;

    const SONG: &str = "title = \"Snow\"\nkey = \"G\"\nmelody_range = [\"D4\", \"E5\"]\n";

    /// A key with its way from the chart's, how it suits, and how far beyond each singer's range it goes.
    type Ranked = (String, i32, Suits, Vec<(i32, i32)>);

    fn ranked(singers: &str, named: &str, song: &str) -> Vec<Ranked> {
        let book = book("", &format!("{singers}[[song]]\nmap = \"0\"\nsinger = {named}\n"), &[song]);
        let (entry, song) = (&book.set.entries[0], &book.songs[0]);
        let singers: Vec<&Singer> = book.set.singers_of(entry).map(|(_, singer)| singer).collect();
        let melody = Melody::of(entry, song).unwrap();
        let choices = key_choices(&book, (entry, song), &melody, &singers);
        let told = |choice: &KeyChoice| {
            let outside = choice.asked.iter().map(|asked| asked.outside).collect();
            (choice.keys.tonight.to_string(), choice.way(), choice.suits(), outside)
        };
        choices.iter().map(told).collect()
    }

    /// Calculated by hand: a melody in G from D4 to E5 (62 to 76), a singer from A3 to C5 (57 to 72). Five and four semitones
    /// lower it fits (57 to 71, 58 to 72), three lower it is one too high, further up more and more.
    #[test]
    fn a_worked_example_of_one_singer() {
        let ranked = ranked("[singers.guest]\nrange = [\"A3\", \"C5\"]\n", "\"guest\"", SONG);
        assert_eq!(ranked.len(), 12);
        let keys: Vec<(&str, i32)> = ranked.iter().map(|(key, way, ..)| (key.as_str(), *way)).collect();
        assert_eq!(keys[..5], [("Eb", -4), ("D", -5), ("E", -3), ("F", -2), ("F#", -1)]);
        assert!(ranked[..2].iter().all(|(_, _, suits, _)| *suits == Suits::Well));
        assert!(ranked[2..].iter().all(|(_, _, suits, _)| *suits == Suits::Not));
        let too_high: Vec<i32> = ranked.iter().map(|(.., outside)| outside[0].1).collect();
        assert_eq!(too_high, [0, 0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10]);
    }

    /// By hand again: an alto whom A3 to C5 suits, and one who reaches A3 to D5. Both can sing what the first one can; where
    /// neither can, the one who is further away decides.
    #[test]
    fn of_two_the_one_for_whom_it_is_tightest_decides() {
        let singers = "[singers.low]\nrange = [\"A3\", \"C5\"]\n[singers.high]\nrange = [\"A3\", \"D5\"]\n";
        let ranked = ranked(singers, "[\"low\", \"high\"]", SONG);
        let expected: [(&str, [(i32, i32); 2]); 4] =
            [("Eb", [(0, 0), (0, 0)]), ("D", [(0, 0), (0, 0)]), ("E", [(0, 1), (0, 0)]), ("F", [(0, 2), (0, 0)])];
        for ((key, .., outside), (wanted, far)) in ranked.iter().zip(expected) {
            assert_eq!((key.as_str(), &outside[..]), (wanted, &far[..]));
        }
    }

    #[test]
    fn a_last_chorus_higher_up_counts() {
        let song = format!("{SONG}[[section]]\nname = \"Verse\"\n[[section]]\nname = \"Last\"\nkey = \"A\"\n");
        let ranked = ranked("[singers.guest]\nrange = [\"A3\", \"E5\"]\n", "\"guest\"", &song);
        // Two more above: 57 to 73, 58 to 74, 59 to 75, 60 to 76 fit; the nearest to the chart's first.
        let fit: Vec<i32> =
            ranked.iter().filter(|(_, _, suits, _)| *suits != Suits::Not).map(|(_, way, ..)| *way).collect();
        assert_eq!(fit, [-2, -3, -4, -5]);
    }

    /// Three chords in D: D (F#), G (none), A (C#): two black keys; in C none, in Gb 3 + 2 + 2: Gb Bb Db, Cb Eb Gb, Db F Ab.
    #[test]
    fn black_keys_are_counted_in_the_chords_as_the_fingers_grip_them() {
        let text = "title = \"Snow\"\nkey = \"D\"\nplay_in = \"room\"\nmelody_range = [\"D4\", \"D5\"]\n\
            [[section]]\nname = \"Verse\"\nchords = \"D | G | A | D\"\n";
        let book = book("", "[[song]]\nmap = \"0\"\n", &[text]);
        let (entry, song) = (&book.set.entries[0], &book.songs[0]);
        let melody = Melody::of(entry, song).unwrap();
        let black = |tonic: &str| {
            let choices = key_choices(&book, (entry, song), &melody, &[]);
            choices.iter().find(|choice| choice.keys.tonight.to_string() == tonic).and_then(|choice| choice.black)
        };
        assert_eq!([black("D"), black("C"), black("F#")], [Some(3), Some(0), Some(10)]);
        let easiest = easiest_fingers((entry, song));
        assert_eq!((easiest.len(), easiest[0].0.to_string(), easiest[0].1), (12, "C".to_owned(), 0));
    }

    #[test]
    fn a_played_melody_says_how_much_of_it_strains() {
        let text = "title = \"Snow\"\nkey = \"C\"\n";
        let set = "[singers.guest]\nrange = [\"C4\", \"C6\"]\ncomfortable = [\"C4\", \"G4\"]\n[[song]]\nmap = \"0\"\nsinger = \"guest\"\n";
        let book = book("", set, &[text]);
        let (entry, song) = (&book.set.entries[0], &book.songs[0]);
        let singers: Vec<&Singer> = book.set.singers_of(entry).map(|(_, singer)| singer).collect();
        let mut times = [0; 128];
        // Three seconds of C4, one of A4.
        (times[60], times[69]) = (3_000_000, 1_000_000);
        let melody = Melody::played(entry, song, times).unwrap();
        assert_eq!(melody.range(), (60, 69));
        let choices = key_choices(&book, (entry, song), &melody, &singers);
        let at = |way: i32| choices.iter().find(|choice| choice.way() == way).unwrap().asked[0];
        assert_eq!((at(0).share, at(0).strained, at(0).outside), (Some(0.25), (0, 2), (0, 0)));
        assert_eq!((at(-2).share, at(-2).outside), (Some(0.75), (2, 0)));
        assert!(Melody::played(entry, song, [0; 128]).is_none());
    }
}
