//! What the output hears that only cues send to (see `cues`): which cues stand on, and that none speaks out of turn.

use std::collections::BTreeSet;

use handspan::engine::{Engine, Out};
use handspan::map::{Book, Cue, Rest};

use crate::cues::{LAMPS, is_id};
use crate::maps::INPUTS;

/// No cue fires so soon after its input appeared, in microseconds.
const DEAF: u64 = 500_000;

/// Follows the lamps.
#[derive(Debug, Default)]
pub struct Lamps {
    /// Cues that stand on, by their controllers.
    lit: BTreeSet<u8>,
    appeared: [u64; INPUTS],
}

impl Lamps {
    /// Hears what one step said: a cue that can stand on says on, off, on, off, strictly, where its map calls neither its
    /// rest, and none speaks for an input
    /// that only just appeared. `books`: cues of what was played last, and of what was saved over it.
    pub fn hear(&mut self, out: &Out, books: &[&Book]) {
        for said in out.said().filter(|said| said.output == LAMPS) {
            let [0xB0, id, value] = *said.bytes else { continue };
            if !is_id(id) {
                continue;
            }
            let named = |cue: &&Cue| says(cue) == Some(id);
            let cue = books.iter().flat_map(|book| all(book)).map(|(_, cue)| cue).find(named).expect("a cue's");
            let input = usize::from(cue.when.input.value == "i1");
            let is_rest = (value > 0) == (cue.rest == Some(Rest::On));
            // What a map calls the rest is sent again and again, and an output that is back is told how it stands.
            let strict = cue.rest.is_none();
            let late = said.at.0 >= self.appeared[input] + DEAF;
            assert!(is_rest || late || !strict, "a cue fires too soon: {cue:?}");
            if cue.off.is_some() {
                let fits = if is_rest { self.lit.remove(&id) } else { self.lit.insert(id) };
                assert!(fits || !strict, "said twice: {value} of {cue:?}");
            }
        }
    }

    pub fn appear(&mut self, input: usize, now: u64) {
        self.appeared[input] = now;
    }

    /// What the engine says of itself is what the lamps heard, and what a song left behind is held.
    pub fn assert_as(&self, engine: &Engine, book: &Book) {
        let cues: Vec<_> = all(book).collect();
        let mut standing = BTreeSet::new();
        for number in engine.cues_on() {
            let (song, cue) = cues[number.index()];
            standing.extend(says(cue));
            let here = engine.standing();
            let entered = here.song.filter(|entry| *entry == here.entry);
            let current = entered.and_then(|entry| book.set.entries[entry].song);
            assert!(cue.while_down || song.is_none() || song == current, "its song was left: {cue:?}");
        }
        assert_eq!(standing, self.lit, "what is on");
    }

    /// Nothing is on, of this input or of any.
    pub fn assert_dark(&self, book: &Book, input: Option<usize>) {
        let of_it = |cue: &Cue| input.is_none_or(|input| cue.when.input.value == format!("i{input}"));
        let mut lit = all(book).filter(|(_, cue)| of_it(cue) && says(cue).is_some_and(|id| self.lit.contains(&id)));
        assert!(lit.next().is_none() && (input.is_some() || self.lit.is_empty()), "is on: {:?}", self.lit);
    }
}

/// All cues in the order of their numbers, with the songs that they belong to.
fn all(book: &Book) -> impl Iterator<Item = (Option<usize>, &Cue)> {
    let songs = book.songs.iter().enumerate();
    let own = songs.flat_map(|(number, song)| song.cues.iter().map(move |cue| (Some(number), cue)));
    book.gear.cues.iter().map(|cue| (None, cue)).chain(own)
}

/// The controller by which a cue speaks, where it sends.
fn says(cue: &Cue) -> Option<u8> {
    use handspan::map::{Does, SendMessage};
    match &cue.does {
        Does::Send { message: SendMessage::Control { number, .. }, .. } => Some(u8::from(*number)),
        _ => None,
    }
}
