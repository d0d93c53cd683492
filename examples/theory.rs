//! Answers questions about music, one a line, for tests in other languages that hold the answers beside those
//! of other people's libraries. Numbers are MIDI notes or pitch classes (0 = C), separated by spaces.
//!
//!     cargo run --example theory
//!
//! | question | answer |
//! | --- | --- |
//! | `name KEYS` | root, bass and kind of what is held |
//! | `chord SYMBOL` | root, bass and pitch classes |
//! | `root KEYS` | the key that a pad follows |
//! | `fifth ROOT, KEYS` | semitones from that key to the fifth |
//! | `fitting KEY` | the pitch classes that fit a musical key |
//! | `triad KEY, CLASS` | pitch classes of the triad on that class |
//! | `movement NOTES, NOTES` | semitones |
//! | `spell KEY, SYMBOLS, KEYS` | the chord that is held, or `-`, and the names of its notes; in the key, beside a section's chords |
//! | `moved SYMBOL, FROM, KEY` | the chord in the key to which a piece has moved from another one |
//! | `degree SYMBOL, KEY` | the chord as a degree of the key |
//! | `lead FROM, CLASSES, LOW HIGH, BASS` | notes; the bass may be missing |
//!
//! The answer is `none` where there is none, and a question that cannot be read ends the program.

use std::io::{self, BufRead, Write};
use std::process::ExitCode;

use handspan::midi::Note;
use handspan::music::{Chord, Classes, Key, Speller, chord, degree, follow, scale, voicing};

fn main() -> ExitCode {
    let mut out = io::BufWriter::new(io::stdout().lock());
    for line in io::stdin().lock().lines() {
        let Ok(line) = line else { return ExitCode::FAILURE };
        let Some(answer) = answer(&line) else {
            eprintln!("\"{line}\" is no question: see the opening of examples/theory.rs");
            return ExitCode::from(2);
        };
        if writeln!(out, "{answer}").is_err() {
            return ExitCode::FAILURE;
        }
    }
    ExitCode::SUCCESS
}

/// The answer to one question, or `None` where it cannot be read.
fn answer(line: &str) -> Option<String> {
    let (word, rest) = line.split_once(' ').unwrap_or((line, ""));
    let parts: Vec<&str> = rest.split(',').map(str::trim).collect();
    Some(match (word, &parts[..]) {
        ("name", [held]) => said(chord::name(keys(held)?), |named| {
            let kind = named.kind.written();
            format!("{} {} {}", named.root, named.bass, if kind.is_empty() { "maj" } else { kind })
        }),
        ("chord", [symbol]) => said(symbol.parse::<Chord>().ok(), |chord| {
            format!("{} {} {}", chord.root(), chord.bass(), listed(chord.classes().iter()))
        }),
        ("root", [held]) => said(follow::root(keys(held)?), |root| root.to_string()),
        ("fifth", [root, held]) => follow::fifth_above(Classes::from_keys(keys(held)?), root.parse().ok()?).to_string(),
        ("fitting", [key]) => listed(key.parse::<Key>().ok()?.fitting().iter()),
        ("triad", [key, class]) => {
            let key: Key = key.parse().ok()?;
            let class: u8 = class.parse().ok().filter(|class| *class < 12)?;
            let triad = scale::triad(key.is_minor(), class + 12 - key.tonic());
            said(triad, |triad| listed(triad.moved(i32::from(key.tonic())).iter()))
        }
        ("movement", [from, to]) => voicing::movement(&notes(from)?, &notes(to)?).to_string(),
        ("lead", [from, classes, range, bass]) => {
            let [low, high] = notes(range)?[..] else { return None };
            let classes = Classes::all_of(&notes(classes)?);
            let voicing = voicing::lead(&notes(from)?, classes, (low, high), notes(bass)?.first().copied());
            listed(voicing.as_slice().iter().copied())
        }
        ("spell", [key, symbols, held]) => spelled(key.parse().ok()?, symbols, &notes(held)?)?,
        ("moved", [symbol, from, key]) => {
            let chord: Chord = symbol.parse().ok()?;
            chord.moved(from.parse().ok()?, key.parse().ok()?).to_string()
        }
        ("degree", [symbol, key]) => degree(symbol.parse().ok()?, key.parse().ok()?),
        _ => return None,
    })
}

/// The chord of these keys and their names.
fn spelled(key: Key, symbols: &str, held: &[u8]) -> Option<String> {
    let chords: Option<Vec<Chord>> = symbols.split_whitespace().map(|symbol| symbol.parse().ok()).collect();
    let speller = Speller::new(key, chords?);
    let set = held.iter().fold(0, |set, key| set | 1u128 << key);
    let chord = chord::name(set).map(|named| speller.chord(named));
    let named = chord.map_or_else(|| "-".to_owned(), |chord| chord.to_string());
    let names = held.iter().filter_map(|key| Some(speller.note_of(Note::try_from(*key).ok()?, chord, 4)));
    Some(names.fold(named, |words, name| format!("{words} {name}")))
}

fn said<T>(found: Option<T>, how: impl Fn(T) -> String) -> String {
    found.map_or_else(|| "none".to_owned(), how)
}

fn notes(text: &str) -> Option<Vec<u8>> {
    text.split_whitespace().map(|number| number.parse().ok().filter(|number| *number < 128)).collect()
}

fn keys(text: &str) -> Option<u128> {
    Some(notes(text)?.iter().fold(0, |set, key| set | 1 << key))
}

fn listed(numbers: impl Iterator<Item = u8>) -> String {
    let texts: Vec<String> = numbers.map(|number| number.to_string()).collect();
    if texts.is_empty() { "none".to_owned() } else { texts.join(" ") }
}
