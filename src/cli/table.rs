//! What the hand played beside what each output got, as a table. What became of a key is what the engine gave as its
//! reason; nothing is concluded from the messages.

#[cfg(test)]
mod tests;

use std::collections::HashMap;

use super::cueing::{self, FiredCue};
use crate::engine::By;
use crate::engine::{Cause, Line, Notice, Reason, Rehearsal, ReplayStep};
use crate::evening::{Keys, Standing, chord_on};
use crate::map::{Book, Input, Song};
use crate::midi::Note;
use crate::midi::file::{Take, TakeKind};
use crate::midi::words::channel;
use crate::music::{Speller, chord};
use crate::wording::messages::spoken;

/// Columns of the hand's part, and of an output's at most.
const COLUMN: usize = 20;
/// Columns of a whole row.
const ROW: usize = 100;

/// A moment of a take in which something was played, asked for or due.
pub(super) struct Moment<'a> {
    /// When, in microseconds.
    pub at: u64,
    /// What it is, for choosing those that tell.
    pub kind: MomentKind,
    /// What the hand did, in words; in several lines where a cue fired.
    hand: String,
    /// What the outputs got.
    pub said: Vec<&'a Line>,
    /// The same in words.
    words: Vec<String>,
    /// What the player would have been told.
    pub notices: &'a [Notice],
    /// Where the set stood afterwards.
    pub standing: Standing,
}

/// What a moment is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum MomentKind {
    /// The set, or a section, begins.
    Begins,
    /// A key was struck.
    Key,
    /// A key was struck that does not fit, and another sounds.
    WrongKey,
    /// A key was struck that does not fit, and nothing sounds.
    SilentKey,
    /// A key came up late, and a chord was decided again without it.
    LateFinger,
    /// Notes of a handful were decided.
    Decision,
    /// A fade went on.
    Fade,
    /// Somebody asked for something.
    Asked,
    /// A cue fired.
    Cue,
    /// Anything else.
    Other,
}

/// How notes are written: an end as its beginning was, though the key has changed meanwhile.
#[derive(Default)]
struct Written {
    /// The spelling of each note that sounds, by where it does, its channel and its number.
    begun: HashMap<(usize, u8, u8), Speller>,
}

impl Written {
    /// A message at a place, in words.
    fn words(&mut self, at: usize, bytes: &[u8], speller: &Speller) -> String {
        let &[status @ 0x80..=0xAF, note, value] = bytes else { return spoken(bytes, speller) };
        let known = (at, status & 15, note);
        match status & 0xF0 {
            0x90 if value > 0 => {
                self.begun.insert(known, speller.clone());
                spoken(bytes, speller)
            }
            _ => spoken(bytes, self.begun.get(&known).unwrap_or(speller)),
        }
    }
}

/// All moments of a take that `input` plays, in order.
pub(super) fn moments<'a>(book: &Book, rehearsal: &'a Rehearsal, take: &Take, input: usize) -> Vec<Moment<'a>> {
    let mut moments = Vec::new();
    let mut standing = rehearsal.steps.first().map(|step| step.standing).unwrap_or_default();
    let from = cueing::inputs_of(book, take, input);
    let fired = cueing::fired(book, rehearsal);
    let mut written = Written::default();
    for (number, step) in rehearsal.steps.iter().enumerate() {
        let (late, at_once): (Vec<&FiredCue<'_>>, Vec<&FiredCue<'_>>) =
            fired.iter().filter(|fired| fired.step == number).partition(|fired| fired.by == By::Time);
        let begin = moments.len();
        let (due, own): (Vec<&Line>, Vec<&Line>) = step.said.iter().partition(|line| line.at < step.at);
        for said in due.chunk_by(|one, other| one.at == other.at) {
            let at = said.first().map_or(0, |line| line.at);
            let (kind, hand) = due_words(book, step, &standing, at);
            moments.push(Moment { at, kind, hand, said: said.to_vec(), words: Vec::new(), notices: &[], standing });
        }
        standing = step.standing;
        for fired in late {
            let hand = told(book, rehearsal, fired);
            // What is said in that moment is the cue's.
            match moments[begin..].iter_mut().find(|moment| moment.at == fired.at) {
                Some(moment) => (moment.kind, moment.hand) = (MomentKind::Cue, hand),
                None => {
                    let (at, notices, kind) = (fired.at, &step.notices[..], MomentKind::Cue);
                    moments.push(Moment { at, kind, hand, said: Vec::new(), words: Vec::new(), notices, standing });
                }
            }
        }
        moments[begin..].sort_by_key(|moment| moment.at);
        let other = match step.cause {
            Cause::Event(event) => from.get(event).and_then(|input| book.gear.inputs.get(*input)),
            Cause::Start | Cause::End => None,
        };
        let other = other.filter(|input| !input.play);
        let mut own = own_moment(book, (step, own), take, other, &mut written);
        for fired in at_once {
            own.kind = MomentKind::Cue;
            own.hand = format!("{}\n{}", own.hand, told(book, rehearsal, fired)).trim().to_owned();
        }
        moments.push(own);
    }
    put_into_words(book, &mut moments);
    moments
}

/// Puts what the outputs got into words, from the first moment to the last.
fn put_into_words(book: &Book, moments: &mut [Moment<'_>]) {
    let mut written = Written::default();
    for moment in moments.iter_mut().filter(|moment| !moment.said.is_empty()) {
        let standing = &moment.standing;
        let room =
            playing(book, standing).map(|(song, keys)| keys.speller(keys.room(standing.tonic), song, standing.section));
        let words = moment.said.iter().map(|line| {
            let channel = channel(&line.bytes).map_or_else(String::new, |channel| format!("{channel:2}: "));
            let words = room.as_ref().map(|room| written.words(line.output, &line.bytes, room));
            format!("{channel}{}", words.unwrap_or_default())
        });
        moment.words = words.collect();
    }
}

/// Why a step said what it said at one time.
fn reasons(step: &ReplayStep, at: u64) -> impl Iterator<Item = Reason> {
    step.reasons.iter().filter(move |(then, _)| *then == at).map(|(_, reason)| *reason)
}

/// What became due at a time of its own.
fn due_words(book: &Book, step: &ReplayStep, standing: &Standing, at: u64) -> (MomentKind, String) {
    let decided = reasons(step, at).find_map(|reason| match reason {
        Reason::Decided { keys, root } => Some((keys, root)),
        _ => None,
    });
    match decided.zip(playing(book, standing)) {
        Some(((keys, root), (song, tonight))) => {
            (MomentKind::Decision, format!("({})", decided_from(keys, root, &gripped(song, &tonight, standing))))
        }
        None if reasons(step, at).any(|reason| reason == Reason::Fading) => (MomentKind::Fade, "(fading)".to_owned()),
        None => (MomentKind::Other, String::new()),
    }
}

/// The chord of the keys that a zone decided from, as the fingers grip it, and the root that it took where that says
/// more.
fn decided_from(keys: u128, root: Option<u8>, speller: &Speller) -> String {
    let (named, root) = (chord::name(keys), root.map(|root| root % 12));
    let chord = named.map(|named| speller.chord(named));
    let root = root.filter(|root| named.is_none_or(|named| named.root != *root));
    let root = root.map(|root| format!("root {}", speller.tone_of(root, chord)));
    let words: Vec<String> = chord.map(|chord| chord.to_string()).into_iter().chain(root).collect();
    if words.is_empty() { "decided".to_owned() } else { words.join(", ") }
}

/// A cue that fired, a line for each thing that there is to say.
fn told(book: &Book, rehearsal: &Rehearsal, fired: &FiredCue<'_>) -> String {
    let (does, title) = fired.does(book, rehearsal);
    let how = match (fired.by, fired.how()) {
        (By::Time, how) => format!("{}\n({how})\n", fired.what()),
        (_, "") => String::new(),
        (_, how) => format!("({how})\n"),
    };
    let title = title.map_or_else(String::new, |title| format!("\n  {title}"));
    format!("{how}→ {does}{title}")
}

/// What an event of the take itself did.
/// `other`: the input that it came from, where nobody plays on it.
fn own_moment<'a>(
    book: &Book,
    (step, said): (&'a ReplayStep, Vec<&'a Line>),
    take: &Take,
    other: Option<&Input>,
    written: &mut Written,
) -> Moment<'a> {
    let standing = step.standing;
    let (mut kind, mut words) = (MomentKind::Other, String::new());
    match step.cause {
        Cause::Start => (kind, words) = (MomentKind::Begins, "(the song begins)".to_owned()),
        Cause::End => words = "(the end)".to_owned(),
        Cause::Event(event) => match take.events.get(event).map(|event| &event.kind) {
            Some(TakeKind::Marker(text)) => {
                words = format!("({text})");
                kind = if step.notices.contains(&Notice::Section) { MomentKind::Begins } else { MomentKind::Asked };
            }
            Some(TakeKind::Message(bytes)) if let Some(input) = other => {
                let speller = playing(book, &standing).map(|(song, keys)| gripped(song, &keys, &standing));
                words = speller
                    .map_or_else(String::new, |speller| format!("{}: {}", input.name.value, spoken(bytes, &speller)));
            }
            Some(TakeKind::Message(bytes)) => (kind, words) = played(book, bytes, step, written),
            None => {}
        },
    }
    Moment { at: step.at, kind, hand: words, said, words: Vec::new(), notices: &step.notices, standing }
}

/// What was played, and what became of a key.
fn played(book: &Book, bytes: &[u8], step: &ReplayStep, written: &mut Written) -> (MomentKind, String) {
    let Some((song, keys)) = playing(book, &step.standing) else { return (MomentKind::Other, String::new()) };
    let (fingers, speller) = (keys.fingers_at(&step.standing), gripped(song, &keys, &step.standing));
    let words = written.words(0, bytes, &speller);
    let said = |kind, as_what: &str| (kind, format!("{words} ({as_what})"));
    let mut reasons = reasons(step, step.at);
    match *bytes {
        [status, struck, velocity] if status & 0xF0 == 0x90 && velocity > 0 => {
            let became = reasons.find_map(|reason| match reason {
                Reason::Moved { key, chosen } if key == struck => {
                    let chosen = Note::try_from(chosen).map(|chosen| speller.note(chosen, 4));
                    Some(said(MomentKind::WrongKey, &format!("as {}", chosen.unwrap_or_default())))
                }
                Reason::Silent(key) if key == struck => Some(said(MomentKind::SilentKey, "silent")),
                Reason::LetsGo(key) if key == struck => Some(said(MomentKind::Key, "lets go")),
                Reason::Chord(key) if key == struck => {
                    Some(said(MomentKind::Key, &chord_on(song, fingers, key).to_string()))
                }
                _ => None,
            });
            became.unwrap_or((MomentKind::Key, words))
        }
        [status, lifted, _] if matches!(status & 0xF0, 0x80 | 0x90) => {
            let is_late = reasons.any(|reason| reason == Reason::LateFinger(lifted));
            match reasons.any(|reason| matches!(reason, Reason::Decided { .. })) {
                true if is_late => said(MomentKind::LateFinger, "late"),
                _ => (MomentKind::Other, words),
            }
        }
        _ => (MomentKind::Other, words),
    }
}

/// The song that the keys play, and its keys tonight.
fn playing<'a>(book: &'a Book, standing: &Standing) -> Option<(&'a Song, Keys)> {
    let (entry, song) = standing.playing(book)?;
    Some((song, Keys::of(book, entry, song)))
}

/// How the fingers' chords and notes are written where the set stands.
fn gripped(song: &Song, keys: &Keys, standing: &Standing) -> Speller {
    keys.speller(keys.fingers_at(standing), song, standing.section)
}

/// The table's heading, for the outputs that it shows.
pub(super) fn heading(book: &Book, used: &[usize], first: &str) -> String {
    let width = column(used);
    let names: String = used.iter().map(|output| format!("{:width$}", book.gear.outputs[*output].name.value)).collect();
    format!("  {:>9}  {:COLUMN$}{}", "", first, names.trim_end())
}

/// A row that stands for what is left out.
pub(super) fn gap() -> String {
    format!("  {:>9}  …", "")
}

fn column(used: &[usize]) -> usize {
    ((ROW - 13 - COLUMN) / used.len().max(1)).min(COLUMN)
}

/// A moment with what each output got of it, as many lines as the fullest needs.
pub(super) fn rows(moment: &Moment<'_>, used: &[usize]) -> Vec<String> {
    let width = column(used);
    let got = |output: usize| {
        let said = moment.said.iter().zip(&moment.words);
        said.filter(move |(line, _)| line.output == output).map(|(_, words)| words.as_str())
    };
    let hand: Vec<&str> = moment.hand.lines().collect();
    let height = used.iter().map(|output| got(*output).count()).max().unwrap_or(0).max(hand.len());
    let row = |row: usize| {
        let time = if row == 0 { format!("{:7.3} s", moment.at as f64 / 1e6) } else { String::new() };
        let hand = hand.get(row).copied().unwrap_or_default();
        let cells: String =
            used.iter().map(|output| format!("{:width$}", got(*output).nth(row).unwrap_or_default())).collect();
        format!("  {time:>9}  {hand:COLUMN$}{cells}").trim_end().to_owned()
    };
    (0..height.max(1)).map(row).collect()
}
