//! Names, keys and sections in the sentences of findings.

pub(super) use crate::map::quoted;
use crate::map::{Book, ClockCommand, Spot, Trigger};
use crate::midi::Note;
use crate::midi::machine_control::Transport;
use crate::music::{Key, Speller, note};

/// The octave number of middle C in the file that a spot lies in: its own `middle_c`, which stands above the first
/// table, or 4.
pub(super) fn middle_c(book: &Book, spot: Spot) -> i32 {
    let Some(source) = book.sources.get(spot.file) else { return 4 };
    let top = source.text.lines().map(str::trim_start).take_while(|line| !line.starts_with('['));
    let mut fields = top.filter_map(|line| line.split_once('='));
    let written = fields.find(|(name, _)| name.trim().trim_matches(['"', '\'']) == "middle_c");
    let octave = written.and_then(|(_, value)| value.chars().find(char::is_ascii_digit)?.to_digit(10));
    octave.map_or(4, |octave| octave as i32)
}

/// A key of the keyboard by name.
pub(super) fn key_name(number: u8, octave: i32) -> String {
    Note::try_from(number & 127).map(|key| note::name(key, octave)).unwrap_or_default()
}

/// A range as a map writes it: `["C3", "B5"]`.
pub(super) fn range(low: u8, high: u8, octave: i32) -> String {
    format!("[\"{}\", \"{}\"]", key_name(low, octave), key_name(high, octave))
}

/// A range in a sentence: `C3 to B5`, or the only key.
pub(super) fn from_to(low: u8, high: u8, octave: i32) -> String {
    match low == high {
        true => key_name(low, octave),
        false => format!("{} to {}", key_name(low, octave), key_name(high, octave)),
    }
}

/// Keys as the subject of a sentence: `the keys C3 to B5`, or `the key C3`.
pub(super) fn the_keys(low: u8, high: u8, octave: i32) -> String {
    format!("the {} {}", if low == high { "key" } else { "keys" }, from_to(low, high, octave))
}

/// A sounding note, spelled as the key asks; a number where MIDI has no such note.
pub(super) fn sounding(number: i32, key: Key, octave: i32) -> String {
    let known = u8::try_from(number).ok().and_then(|number| Note::try_from(number).ok());
    known.map_or_else(|| format!("note {number}"), |known| Speller::from(key).note(known, octave))
}

/// Parts of a sentence: `a`, `a and b`, `a, b and c`; of many the first few.
pub(super) fn joined(parts: &[String]) -> String {
    const MOST: usize = 6;
    match parts {
        _ if parts.len() > MOST => format!("{} and {} more", parts[..MOST].join(", "), parts.len() - MOST),
        _ => joined_by(parts, "and"),
    }
}

/// Parts of a sentence, the last two joined by a word: `a, b or c`.
pub(super) fn joined_by(parts: &[String], word: &str) -> String {
    match parts {
        [] => String::new(),
        [only] => only.clone(),
        [most @ .., last] => format!("{} {word} {last}", most.join(", ")),
    }
}

/// What fires a cue, as the subject of a sentence.
pub(super) fn event(trigger: Trigger, octave: i32) -> String {
    let channel = trigger.channel().map_or(String::new(), |channel| format!(" on channel {}", channel.number()));
    let what = match trigger {
        Trigger::Key { key, .. } => format!("the note {}", key_name(key, octave)),
        Trigger::Control { number, .. } => format!("controller {}", u8::from(number)),
        Trigger::Program { program: Some(program), .. } => format!("program {}", u8::from(program) + 1),
        Trigger::Program { program: None, .. } => "any program".to_owned(),
        Trigger::SongSelect(Some(number)) => format!("song select {}", u8::from(number) + 1),
        Trigger::SongSelect(None) => "any song select".to_owned(),
        Trigger::Clock(ClockCommand::Start) => "the clock's start".to_owned(),
        Trigger::Clock(ClockCommand::Stop) => "the clock's stop".to_owned(),
        Trigger::Clock(ClockCommand::Continue) => "the clock's continue".to_owned(),
        Trigger::Transport(Transport::Play) => "the transport's play".to_owned(),
        Trigger::Transport(_) => "the transport's stop".to_owned(),
    };
    what + &channel
}

/// Milliseconds with one decimal.
pub(super) fn milliseconds(micros: usize) -> String {
    format!("{:.1} ms", micros as f64 / 1000.0)
}
