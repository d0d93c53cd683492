//! Ten thousand wrong notes (rule R12): each sounds as one that fits, no further than two semitones away, and ends where
//! it began, whatever song, section or key is current by then (R1).

use std::collections::BTreeSet;
use std::fmt::Write as _;
use std::io;
use std::sync::Arc;

use handspan::engine::{Action, Engine, Event, Micros, Plan};
use handspan::map::{self, Book};
use handspan::midi::decode;
use handspan::music::Key;
use proptest::prelude::*;

use crate::config;
use crate::hands::chord;
use crate::listener::Listener;
use crate::voices::fits;

const CASES: u32 = 100;
const NOTES: usize = 100;
/// What may happen between a note-on and its note-off.
const CHANGES: [&str; 8] = [
    "next-song",
    "previous-song",
    "next-section",
    "section Verse",
    "raise-key",
    "lower-key",
    "tonights-key",
    "resend-sounds",
];
/// Keys of songs, of both modes: chart, tonight, play-in.
const SONGS: [[&str; 3]; 3] = [["D", "Eb", "C"], ["Am", "F#m", "Em"], ["Ab", "B", "Ab"]];

/// Three songs with two sections each; the first section of each has chords.
fn book(chords: [usize; 3]) -> Book {
    let mut read = |path: &str| {
        let mut text = String::new();
        match path {
            "set.toml" => {
                text.push_str("title = \"Drawn\"\ngear = \"gear.toml\"\n");
                for (number, [_, tonight, play_in]) in SONGS.iter().enumerate() {
                    let _ = writeln!(text, "[[song]]\nmap = \"{number}.toml\"");
                    let _ = writeln!(text, "key = \"{tonight}\"\nplay_in = \"{play_in}\"");
                }
            }
            "gear.toml" => text.push_str(
                "[inputs.keyboard]\nport = \"piano\"\n[outputs.keys]\nvirtual = true\n\
                 [sounds.grand]\noutput = \"keys\"\nchannel = 1\n",
            ),
            song => {
                let number: usize = song.trim_end_matches(".toml").parse().map_err(|_| io::ErrorKind::NotFound)?;
                let _ = writeln!(text, "title = \"{number}\"\nkey = \"{}\"", SONGS[number][0]);
                let _ = writeln!(text, "[[zone]]\nsound = \"grand\"\nstay_in_key = \"nearest\"");
                let _ = writeln!(text, "[[section]]\nname = \"Verse\"\nchords = \"{}\"", chord(chords[number]));
                let _ = writeln!(text, "[[section]]\nname = \"Chorus\"\nkey = \"{}\"", SONGS[number][1]);
            }
        }
        Ok(text.into_bytes())
    };
    map::load("set.toml", &mut read).book.expect("a sound set")
}

struct Hand {
    book: Book,
    engine: Engine,
    listener: Listener,
    now: u64,
}

impl Hand {
    fn new(chords: [usize; 3]) -> Hand {
        let book = book(chords);
        let engine = Engine::new(Arc::new(Plan::new(&book)));
        let mut hand = Hand { book, engine, listener: Listener::default(), now: 0 };
        hand.step(Event::Start { entry: 0, order_step: 0 });
        hand
    }

    fn step(&mut self, event: Event<'_>) {
        let mut out = self.engine.out();
        self.now += 1000;
        self.engine.step(event, Micros(self.now), &mut out);
        self.listener.hear(&out);
    }

    /// The note that begins by a key.
    fn strike(&mut self, key: u8) -> u8 {
        let before = self.listener.sounding.clone();
        self.step(Event::Message { input: 0, message: decode(&[0x90, key, 90]).expect("a message") });
        let begun: Vec<_> = self.listener.sounding.difference(&before).collect();
        assert_eq!(begun.len(), 1, "one note for a key");
        begun[0].2
    }

    fn lift(&mut self, key: u8) {
        self.step(Event::Message { input: 0, message: decode(&[0x80, key, 64]).expect("a message") });
    }

    fn act(&mut self, change: usize) {
        let action = Action::parse(CHANGES[change], self.engine.plan()).expect("an action");
        self.step(Event::Action(action));
    }

    /// Pitch classes that fit where we stand.
    fn fits(&self) -> BTreeSet<u8> {
        let standing = self.engine.standing();
        let entry = standing.song.expect("a song");
        let play_in: Key = SONGS[entry][2].parse().expect("a key");
        fits(&self.book.songs[entry], standing.section, play_in)
    }
}

proptest! {
    #![proptest_config(config(CASES))]

    #[test]
    fn ten_thousand_wrong_notes_fit(
        chords in prop::array::uniform3(0..10usize),
        notes in prop::collection::vec((0..60usize, prop::option::of(30..100u8), 0..CHANGES.len()), NOTES),
    ) {
        let mut hand = Hand::new(chords);
        for (wrong, held, change) in notes {
            let fits = hand.fits();
            let shift = hand.engine.standing().shift;
            let wrong_keys: Vec<u8> = (24..104).filter(|key| !fits.contains(&(key % 12))).collect();
            let key = wrong_keys[wrong % wrong_keys.len()];
            // Another key of the hand, which may decide between two that are as near.
            let held = held.filter(|held| fits.contains(&(held % 12)) && held % 12 != key % 12);
            held.iter().for_each(|held| assert_eq!(i32::from(hand.strike(*held)), i32::from(*held) + shift));
            let heard = |key: u8| i32::from(key) + shift;
            let sounded = held.map(heard);
            let (lower, upper) = (key - 1, key + 1);
            let has = |near: u8| fits.contains(&(near % 12));
            let is_held = |near: u8| held.is_some_and(|held| held % 12 == near % 12);
            // Every gap in a scale is of one key.
            let nearest = match (has(lower), has(upper)) {
                (true, true) if is_held(upper) => upper,
                (true, _) => lower,
                _ => upper,
            };
            if sounded != Some(heard(nearest)) {
                let note = hand.strike(key);
                let chosen = i32::from(note) - shift;
                prop_assert!(fits.contains(&(chosen.rem_euclid(12) as u8)), "{chosen} does not fit");
                prop_assert!((chosen - i32::from(key)).abs() <= 2, "{key} sounds as {chosen}");
                prop_assert_eq!(chosen, i32::from(nearest));
                hand.act(change);
                let before = hand.listener.sounding.clone();
                hand.lift(key);
                let ended: Vec<u8> = before.difference(&hand.listener.sounding).map(|wire| wire.2).collect();
                prop_assert_eq!(ended, [note]);
            }
            held.iter().for_each(|held| hand.lift(*held));
            prop_assert!(hand.listener.sounding.is_empty());
        }
    }
}
