//! `handspan explain`: what a word means, in the maps, as an action, as a chord and in handspan's own speech.

use clap::Command;

use super::console::{Failure, tell};
use super::fingers;
use crate::map::{Meaning, Word, followed, known_words, meanings, nearest};
use crate::music::chord::ChordKind;
use crate::music::{Chord, Key, Speller};
use crate::wording::glossary;

pub(super) const HELP: &str = "Without a word: all words that it knows.

Examples:
  handspan explain linger           a field of a zone
  handspan explain zone             all fields of a zone
  handspan explain next-section     an action, for cues and `handspan do`
  handspan explain m7b5             a kind of chord; Ebm7b5 names its notes too

Exit codes: 0 done, 2 there is no such word.";

/// Columns of a line at most.
const COLUMNS: usize = 100;

/// Says what a word means, or which words there are; `all` is the command line with its commands.
///
/// # Errors
/// Nobody uses the word.
pub(super) fn run(words: &[String], all: &Command) -> Result<(), Failure> {
    let word = words.join(" ");
    if word.is_empty() {
        tell(&index());
        return Ok(());
    }
    let mut told = of_speech(&word);
    let action = Word::read(&word);
    // An action says itself where it may stand.
    let in_maps = meanings(&word).into_iter().filter(|meaning| action.is_none() || meaning.stands_in != "do");
    told.extend(in_maps.map(|meaning| of_maps(&word, &meaning)));
    told.extend(action.map(of_action));
    told.extend(of_command(&word, all));
    if told.is_empty() {
        told.extend(of_chord(&word));
    }
    if told.is_empty() {
        return Err(Failure::Wrong(unknown(&word)));
    }
    tell(&told.join("\n\n"));
    Ok(())
}

/// One meaning: what is explained, then its lines.
fn paragraph(subject: &str, lines: &[String]) -> String {
    let lines = lines.iter().filter(|line| !line.is_empty()).flat_map(|line| wrapped(line));
    [subject.to_owned()].into_iter().chain(lines.map(|line| format!("  {line}"))).collect::<Vec<_>>().join("\n")
}

/// A line broken between words where it is too long.
fn wrapped(line: &str) -> Vec<String> {
    let mut lines = vec![String::new()];
    for word in line.split_inclusive(' ') {
        let is_full = lines.last().is_some_and(|last| last.chars().count() + word.trim_end().chars().count() > COLUMNS);
        if is_full {
            lines.push(String::new());
        }
        lines.last_mut().into_iter().for_each(|last| last.push_str(word));
    }
    lines.iter().map(|line| line.trim_end().to_owned()).collect()
}

fn of_speech(word: &str) -> Vec<String> {
    let known = glossary::WORDS.iter().filter(|(known, _)| *known == word);
    known.map(|(word, text)| paragraph(word, &[(*text).to_owned()])).collect()
}

fn of_maps(word: &str, meaning: &Meaning) -> String {
    let mut lines = vec![meaning.about.to_owned()];
    if !meaning.holds.is_empty() {
        lines.push(format!("It holds {}.", meaning.holds));
        lines.push(format!("For example: {}", meaning.example));
    }
    let width = meaning.fields.iter().map(|(name, _)| name.len()).max().unwrap_or(0);
    let mut text = paragraph(&format!("{word}: {}", meaning.subject), &lines);
    for (name, about) in &meaning.fields {
        text.push_str(&format!("\n    {name:width$}  {about}"));
    }
    text
}

fn of_action(word: Word) -> String {
    let row = word.row();
    let words = followed(row.word, row.after);
    let cue = format!("In a cue: do = \"{}\". From another terminal: handspan do {words}", row.word);
    paragraph(&format!("{words}: an action"), &[format!("What it does: {}.", row.help), cue])
}

fn of_command(word: &str, all: &Command) -> Option<String> {
    let command = all.find_subcommand(word)?;
    let about = command.get_about().map(ToString::to_string).unwrap_or_default();
    Some(paragraph(&format!("handspan {word}: a command"), &[about, format!("More: handspan {word} --help")]))
}

/// A chord by its symbol, or a kind by what stands after the root.
fn of_chord(word: &str) -> Option<String> {
    let chord = word.parse::<Chord>().or_else(|_| format!("C{word}").parse()).ok()?;
    let speller = Speller::from(Key::usual(0, false, false));
    let called = |class: u8| speller.tone_of(class, Some(chord)).to_string();
    let name = |class: u8| if chord.classes().contains(class) { called(class) } else { String::new() };
    let tones = (0..12).map(|step| name((chord.root() + step) % 12)).filter(|name| !name.is_empty());
    let notes = format!("Its notes are {}, from the root up.", tones.collect::<Vec<_>>().join(" "));
    let drawn = fingers::named(name, COLUMNS);
    let kind = chord.kind().also().collect::<Vec<_>>();
    let also = if kind.is_empty() {
        String::new()
    } else {
        format!("After the root it may be written {} too.", kind.join(", "))
    };
    Some(paragraph(&format!("{chord}: a chord"), &[vec![notes], drawn, vec![also]].concat()))
}

/// All words, by what they are.
fn index() -> String {
    let group = |title: &str, words: Vec<&str>| paragraph(title, &[words.join("  ")]);
    let mut groups = vec![group("handspan's own words", glossary::WORDS.iter().map(|(word, _)| *word).collect())];
    groups.extend(known_words().map(|(what, fields)| group(&format!("fields of {what}"), fields.collect())));
    groups.push(group("actions", Word::known().collect()));
    let kinds = ChordKind::all().map(ChordKind::written).filter(|written| !written.is_empty());
    groups.push(group("kinds of chords", kinds.collect()));
    groups.join("\n\n")
}

/// That a word is not known, with the nearest that is.
fn unknown(word: &str) -> String {
    let fields: Vec<&str> = known_words().flat_map(|(_, fields)| fields).collect();
    let speech = glossary::WORDS.iter().map(|(known, _)| *known);
    match nearest(word, fields.into_iter().chain(speech).chain(Word::known())) {
        Some(near) => format!("\"{word}\" is no word of the maps, no action and no chord: did you mean \"{near}\"?"),
        None => {
            format!(
                "\"{word}\" is no word of the maps, no action and no chord: `handspan explain` lists those that are."
            )
        }
    }
}
