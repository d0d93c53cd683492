//! What takes long on a DIN cable: 31,250 baud and ten bits a byte make 320 µs a byte (MIDI 1.0 Detailed Specification
//! 4.2.1, p. 1). Running status is not counted on.

use std::collections::BTreeSet;
use std::sync::Arc;

use super::part::ResolvedZone;
use super::tonight::{Scene, SongTonight, Tonight};
use super::words::{milliseconds, quoted};
use crate::engine::{Action, Engine, Event, Micros, Plain, Plan};
use crate::evening::title_of;
use crate::map::{Book, Cable, Diagnostic, Linger, Plays, Spot};

/// One byte on the cable, in microseconds.
const BYTE: usize = 320;
/// Keys that two hands strike at once.
const FINGERS: usize = 10;
/// A chord may take so long before it is worth a hint, in microseconds: one zone under ten fingers takes 9,600.
const CHORD: usize = 10_000;
/// A change of song may take so long, in microseconds.
const CHANGE: usize = 20_000;
/// Between two changes everything that waits is said, in microseconds.
const LONG: Micros = Micros::from_millis(24 * 3600 * 1000);

/// Hint: ten keys struck at once, or as many as there are, that take more than 10 ms on a DIN cable through all
/// layers that lead there, with the ends of what lingers there until then. Notes that are derived after gather come
/// when the cable is free again, and are not counted. Hint: a change of song whose messages take more than 20 ms on one. Each is told once for
/// an output, of the longest.
pub(super) fn find(tonight: &Tonight<'_>, found: &mut Vec<Diagnostic>) {
    let outputs = tonight.book.gear.outputs.iter().enumerate();
    let slow: Vec<usize> = outputs.filter(|(_, output)| output.cable == Cable::Din).map(|(number, _)| number).collect();
    for output in &slow {
        found.extend(chords(tonight, *output));
    }
    if !slow.is_empty() {
        let changes = changes(tonight.book);
        found.extend(slow.iter().filter_map(|output| longest_change(tonight, &changes, *output)));
    }
}

/// The most notes that ten fingers can strike at one output.
#[derive(Default)]
struct StruckKeys {
    notes: usize,
    /// Notes of as many keys before that linger, and end first.
    ends: usize,
    keys: usize,
    /// A zone of each layer where the layers are thickest.
    layers: Vec<usize>,
}

impl StruckKeys {
    /// Time on the cable, in microseconds.
    fn time(&self) -> usize {
        3 * BYTE * (self.notes + self.ends)
    }
}

fn chords(tonight: &Tonight<'_>, output: usize) -> Option<Diagnostic> {
    let mut worst: Option<(&SongTonight<'_>, usize, StruckKeys)> = None;
    let mut songs = 0;
    for piece in &tonight.pieces {
        let chords = piece.scenes.iter().enumerate().map(|(number, scene)| (number, thickest(piece, scene, output)));
        let Some((scene, chord)) = chords.max_by_key(|(number, chord)| (chord.time(), std::cmp::Reverse(*number)))
        else {
            continue;
        };
        songs += usize::from(chord.time() > CHORD);
        if worst.as_ref().is_none_or(|(.., known)| known.time() < chord.time()) {
            worst = Some((piece, scene, chord));
        }
    }
    let (piece, scene, chord) = worst.filter(|_| songs > 0)?;
    let time = milliseconds(chord.time());
    let StruckKeys { notes, ends, keys, layers } = chord;
    let output = &tonight.book.gear.outputs[output];
    let (name, song) = (quoted(&output.name.value), quoted(&piece.song.title.value));
    let place = piece.in_sections(&[scene]);
    let more = match songs - 1 {
        0 => String::new(),
        1 => "; one more song has such layers".to_owned(),
        more => format!("; {more} more songs have such layers"),
    };
    let ends = if ends == 0 { String::new() } else { format!(" and the ends of {ends} that linger") };
    let title = format!(
        "{keys} keys struck at once in {song}{place} make {notes} notes{ends} on the cable to {name}, which take {time}{more}"
    );
    let hint = Diagnostic::hint(output.name.spot, title).label("3 bytes a note, 0.32 ms a byte");
    let hint =
        layers.iter().take(4).fold(hint, |hint, zone| hint.also(piece.parts[*zone].zone.sound.spot, "one layer"));
    Some(hint.help("lead a layer to another output, or connect this one by USB and write cable = \"usb\""))
}

fn thickest(piece: &SongTonight<'_>, scene: &Scene, output: usize) -> StruckKeys {
    let stretches = scene.keyboards.iter().flat_map(|keyboard| &keyboard.stretches);
    let layers = stretches.map(|stretch| {
        let there = stretch.taken.iter().filter(|(zone, _)| piece.parts[*zone].place.0 == output);
        (notes_of_a_key(piece, &there.copied().collect::<Vec<_>>()), usize::from(stretch.high - stretch.low) + 1)
    });
    let mut layers: Vec<(Vec<usize>, usize)> = layers.filter(|(zones, _)| !zones.is_empty()).collect();
    layers.sort_by_key(|(zones, _)| std::cmp::Reverse(messages(piece, zones)));
    let mut chord = StruckKeys::default();
    let mut handfuls: BTreeSet<usize> = BTreeSet::new();
    for (zones, keys) in &layers {
        let struck = (FINGERS - chord.keys).min(*keys);
        if struck == 0 {
            break;
        }
        let before = chord.notes;
        for zone in zones {
            let part = &piece.parts[*zone];
            let notes = match notes_of_a_handful(piece, part) {
                Some(_) if !handfuls.insert(*zone) => 0,
                Some(notes) => notes,
                None => struck,
            };
            chord.notes += notes;
            chord.ends += if lingers(part) { notes } else { 0 };
        }
        // Keys that give nothing at once need no finger here.
        chord.keys += if chord.notes > before { struck } else { 0 };
    }
    chord.layers = layers.into_iter().next().map(|(zones, _)| zones).unwrap_or_default();
    chord
}

/// Notes that a zone gives at once for a whole handful, however many its keys; `None` where each key gives its own.
fn notes_of_a_handful(piece: &SongTonight<'_>, part: &ResolvedZone<'_>) -> Option<usize> {
    /// Notes of a triad.
    const TRIAD: usize = 3;
    match part.zone.plays {
        _ if part.zone.one_key_chord => {
            let fingers = piece.song.fingers.iter().map(|finger| finger.chord.value.classes().len());
            Some(fingers.max().map_or(TRIAD, |most| most.max(TRIAD)))
        }
        Plays::AsPressed => None,
        Plays::Lowest | Plays::Highest => Some(1),
        // Decided after gather.
        Plays::Root | Plays::RootFifth | Plays::Chord => Some(0),
    }
}

/// Whether the notes before ring on until the strike that ends them.
fn lingers(part: &ResolvedZone<'_>) -> bool {
    part.zone.linger == Linger::Next && !part.zone.plays.derives()
}

/// What a key costs through these layers: a message for each note, and one for each end that comes with it.
fn messages(piece: &SongTonight<'_>, zones: &[usize]) -> usize {
    let each = zones.iter().map(|zone| &piece.parts[*zone]).filter(|part| notes_of_a_handful(piece, part).is_none());
    each.map(|part| 1 + usize::from(lingers(part))).sum()
}

/// The zones that give a note each when one key is struck, with the velocity that reaches the most; two that give the
/// same note on the same channel count once (rule R2).
fn notes_of_a_key(piece: &SongTonight<'_>, taken: &[(usize, u128)]) -> Vec<usize> {
    let at = |velocity: u32| {
        let mut notes = BTreeSet::new();
        let reached = taken.iter().filter(|(_, velocities)| velocities & 1 << velocity != 0).map(|(zone, _)| *zone);
        let distinct = reached.filter(|zone| {
            let part = &piece.parts[*zone];
            part.zone.within.is_some()
                || !part.is_literal()
                || notes.insert((part.place, part.zone.follow_key, part.offset()))
        });
        distinct.collect::<Vec<_>>()
    };
    // Most windows overlap where one of them begins.
    let begin = |velocities: u128| velocities & !(velocities << 1);
    let begins = taken.iter().fold(0, |begins, (_, velocities)| begins | begin(*velocities));
    let velocities = (0..128).filter(|velocity| begins & 1 << velocity != 0);
    velocities.map(at).max_by_key(Vec::len).unwrap_or_default()
}

/// A change from one entry of the set to the next.
struct SongChange {
    /// Index of the entry that is entered.
    to: usize,
    /// Bytes that each output gets at once.
    bytes: Vec<usize>,
}

/// What the engine says at each change of song, going through the set in tonight's order with no hand on the keys.
fn changes(book: &Book) -> Vec<SongChange> {
    let plan = Arc::new(Plan::new(book));
    let mut engine = Engine::new(plan);
    let mut out = engine.out();
    let mut now = Micros::ZERO;
    engine.step(Event::Start { entry: 0, order_step: 0 }, now, &mut out);
    let mut changes = Vec::new();
    for to in 1..book.set.entries.len() {
        loop {
            now = now + LONG;
            let before = engine.standing().order_step;
            out.clear();
            engine.step(Event::Action(Action::Plain(Plain::NextSection)), now, &mut out);
            if engine.standing().order_step == before {
                break;
            }
        }
        now = now + LONG;
        out.clear();
        engine.step(Event::Action(Action::Plain(Plain::NextSong)), now, &mut out);
        let mut bytes = vec![0; book.gear.outputs.len()];
        for said in out.said().filter(|said| said.at == now) {
            if let Some(bytes) = bytes.get_mut(said.output) {
                *bytes += said.bytes.len();
            }
        }
        changes.push(SongChange { to, bytes });
    }
    changes
}

fn longest_change(tonight: &Tonight<'_>, changes: &[SongChange], output: usize) -> Option<Diagnostic> {
    let bytes = |change: &SongChange| change.bytes.get(output).copied().unwrap_or(0);
    let too_long = changes.iter().filter(|change| BYTE * bytes(change) > CHANGE);
    let more = too_long.clone().count().saturating_sub(1);
    // Of equals the first.
    let longest = too_long.rev().max_by_key(|change| bytes(change))?;
    let entries = &tonight.book.set.entries;
    let title = |entry: usize| quoted(title_of(tonight.book, entry));
    let name = &tonight.book.gear.outputs[output].name;
    let more = match more {
        0 => String::new(),
        1 => "; one more change takes so long".to_owned(),
        more => format!("; {more} more changes take so long"),
    };
    let (from, to, time) = (title(longest.to - 1), title(longest.to), milliseconds(BYTE * bytes(longest)));
    let hint = format!("going from {from} to {to} takes {time} on the cable to {}{more}", quoted(&name.value));
    let entered: Spot = entries[longest.to].spot;
    let hint = Diagnostic::hint(name.spot, hint).label(format!("{} bytes at once, 0.32 ms a byte", bytes(longest)));
    Some(
        hint.also(entered, "entered here").help("spread some of the messages by after_ms = 20, or lead them elsewhere"),
    )
}
