//! The values that fields hold: notes, keys, channels, times, curves.

use super::diagnostic::{Diagnostic, FaultKind, did_you_mean, quoted};
use super::names::Known;
use super::reader::{Fields, MapFile, Value};
use super::{At, Curve, KeyRange, PlayIn, ShiftWay, Spot, allowed, words};
use crate::midi::{Channel, Note, U7};
use crate::music::chord::{self, Bar, ChordError, ProgressionError, ProgressionFault};
use crate::music::note::{self, NoteError};
use crate::music::{Chord, German, Key};

const NOTE_HELP: &str = "write a capital letter A to G, then # or b where needed, then the octave, such as \"F#3\"";
const KEY_HELP: &str =
    "write a capital letter A to G, then # or b where needed, then m for minor, such as \"Eb\" or \"C#m\"";
const RANGE: &str = "two notes, the lowest and the highest";

/// Reads the octave by which this file counts its notes, from `middle_c` at its top.
pub(super) fn middle_c(top: &mut Fields<'_>) {
    if let Some(octave) = top.take("middle_c").and_then(|value| value.choice(&allowed::MIDDLE_CS)) {
        top.map_file.middle_c.set(octave);
    }
}

/// A note by name or number.
pub(super) fn note(value: &Value<'_>) -> Option<Note> {
    let Some(text) = value.as_text() else {
        return value.whole::<u8>(0..=127).and_then(|number| Note::try_from(number).ok());
    };
    let fault = |title, help| {
        value.map_file.report(Diagnostic::error(FaultKind::Finding, value.spot, title).help(help));
        None
    };
    match note::parse(text, value.map_file.middle_c.get()) {
        Ok(note) => Some(note),
        Err(NoteError::Name(_)) => {
            let octave = value.map_file.middle_c.get();
            let german =
                German::note(text).and_then(|(german, here)| Some((note::parse(&here, octave).ok()?, german, here)));
            if let Some((note, german, here)) = german {
                fault(format!("{} is not a note", quoted(text)), instead(&german, &here));
                return Some(note);
            }
            let plain = with_capital(text).replace('♭', "b").replace('♯', "#");
            let near = note::parse(&plain, value.map_file.middle_c.get()).ok().map(|_| did_you_mean(&plain));
            fault(format!("{} is not a note", quoted(text)), near.unwrap_or_else(|| NOTE_HELP.to_owned()))
        }
        Err(NoteError::Range { lowest, highest, .. }) => {
            fault(format!("MIDI has no note called {}", quoted(text)), format!("write one from {lowest} to {highest}"))
        }
    }
}

/// What to write instead of a German name; the value is read as it is meant, so that it hides no other fault.
fn instead(german: &German, here: &str) -> String {
    format!("{german}: write {}", quoted(here))
}

/// A text without blanks around it and with a capital letter first, as names of notes and chords begin.
fn with_capital(text: &str) -> String {
    let mut letters = text.trim().chars();
    let first = letters.next().map(|first| first.to_ascii_uppercase());
    first.into_iter().chain(letters).collect()
}

/// A pair of notes, lowest first.
pub(super) fn range(value: &Value<'_>) -> Option<At<KeyRange>> {
    let (low, high) = value.pair(RANGE)?;
    let (low, high) = (note(&low), note(&high));
    let (low, high) = (low?, high?);
    if low > high {
        let octave = value.map_file.middle_c.get();
        let (low, high) = (note::name(low, octave), note::name(high, octave));
        let help = format!("write {} = [\"{high}\", \"{low}\"]", value.name);
        value.finding(format!("{} has its highest note first", quoted(value.name)), help);
        return None;
    }
    Some(value.at((low, high)))
}

/// A musical key.
pub(super) fn key(value: &Value<'_>) -> Option<At<Key>> {
    key_or(value, KEY_HELP)
}

fn key_or(value: &Value<'_>, help: &str) -> Option<At<Key>> {
    let Some(text) = value.as_text() else {
        value.wrong("a key in quotation marks");
        return None;
    };
    let key = text.parse().ok();
    if let Some((german, here)) = German::key(text).filter(|_| key.is_none()) {
        // In German a small letter may stand for a minor key.
        let may_be_minor = text.starts_with(|letter: char| letter.is_ascii_lowercase()) && !says_its_mode(text);
        let minor = if may_be_minor { format!(", or {} in minor", quoted(&format!("{here}m"))) } else { String::new() };
        value.map_file.report(no_key(value.spot, text).help(instead(&german, &here) + &minor));
        return here.parse().ok().filter(|_| !may_be_minor).map(|key| value.at(key));
    }
    if key.is_none() {
        let near = Key::meant(text).map(|key| did_you_mean(&key.to_string()));
        value.map_file.report(no_key(value.spot, text).help(near.unwrap_or_else(|| help.to_owned())));
    }
    key.map(|key| value.at(key))
}

/// Whether a key in German is said to be major or minor.
fn says_its_mode(text: &str) -> bool {
    let text = text.trim().to_ascii_lowercase();
    ["dur", "moll", "m"].iter().any(|mode| text.ends_with(mode))
}

fn no_key(spot: Spot, text: &str) -> Diagnostic {
    Diagnostic::error(FaultKind::Finding, spot, format!("{} is not a key", quoted(text)))
}

/// A chord.
pub(super) fn chord(value: &Value<'_>) -> Option<At<Chord>> {
    let Some(text) = value.as_text() else {
        value.wrong("a chord in quotation marks");
        return None;
    };
    match text.parse() {
        Ok(chord) => Some(value.at(chord)),
        Err(fault) => {
            value.map_file.report(no_chord(value.spot, text, &fault));
            None
        }
    }
}

/// Bars of chords. Each fault is underlined by itself.
pub(super) fn progression(value: &Value<'_>) -> Option<At<Vec<Bar>>> {
    /// Who has written so many chords in a way that is not known here has seen enough.
    const MOST_FAULTS: usize = 12;
    let text = value.text_of_parts()?.value;
    let mut readable = text.clone();
    for fault in 0..MOST_FAULTS {
        let ProgressionError { at, fault } = match chord::progression(&readable) {
            Ok(bars) => return Some(value.at(bars)).filter(|_| fault == 0),
            Err(error) => error,
        };
        let spot = value.part(&text, at.clone());
        value.map_file.report(match &fault {
            ProgressionFault::Chord(fault) => no_chord(spot, text.get(at.clone()).unwrap_or_default(), fault),
            ProgressionFault::EmptyBar => Diagnostic::error(FaultKind::Finding, spot, "this bar has no chord")
                .help("write one, N.C. for none, or % to repeat the bar before"),
            ProgressionFault::Beat => Diagnostic::error(
                FaultKind::Finding,
                spot,
                "/ is one more beat of the chord before it, and there is none",
            )
            .help("write a chord first, such as \"D / / A\""),
            ProgressionFault::Repeat => Diagnostic::error(
                FaultKind::Finding,
                spot,
                "% repeats the bar before: it needs one, and stands by itself",
            )
            .help("write it alone between bar lines, after a bar of chords, such as \"D | % | G\""),
        });
        if at.is_empty() || readable.get(at.clone()).is_none() {
            break;
        }
        // A chord of the same length stands in for what is wrong, so that what is wrong after it is found too.
        let length = at.len();
        readable.replace_range(at, &format!("{:<length$}", "C"));
    }
    None
}

/// A text that is no chord, and what may be meant.
fn no_chord(spot: Spot, text: &str, fault: &ChordError) -> Diagnostic {
    let capital = with_capital(text).parse::<Chord>().is_ok();
    let is_chord = |(_, here): &(German, String)| !capital && here.parse::<Chord>().is_ok();
    if let Some((german, here)) = German::chord(text).filter(is_chord) {
        let title = format!("{} is not a chord", quoted(text));
        return Diagnostic::error(FaultKind::Finding, spot, title).help(instead(&german, &here));
    }
    let (title, help) = match fault {
        ChordError::Root(_) => (
            format!("{} is not a chord", quoted(text)),
            with_capital(text).parse::<Chord>().map_or_else(
                |_| {
                    "write a capital letter A to G, then # or b where needed, then the kind, such as \"F#m7\""
                        .to_owned()
                },
                |meant| did_you_mean(&meant.to_string()),
            ),
        ),
        ChordError::Kind { root, nearest: Some(near), .. } => {
            let bass = text.find('/').map_or("", |slash| &text[slash..]);
            (no_such_chord(text), did_you_mean(&format!("{root}{near}{bass}")))
        }
        ChordError::Kind { root, nearest: None, .. } => {
            (no_such_chord(text), format!("write {root}, or {root} and one of {}", chord::ChordKind::list()))
        }
        ChordError::Bass { .. } => (
            format!("{} has no bass after its slash", quoted(text)),
            "write the bass as a capital letter A to G, then # or b where needed, such as \"G/B\"".to_owned(),
        ),
    };
    Diagnostic::error(FaultKind::Finding, spot, title).help(help)
}

fn no_such_chord(text: &str) -> String {
    format!("there is no chord called {}", quoted(text))
}

/// The key that the fingers play in, or "room".
pub(super) fn play_in(value: &Value<'_>) -> Option<At<PlayIn>> {
    if value.as_text() == Some("room") {
        return Some(value.at(PlayIn::Room));
    }
    if let Some((text, new)) = value.as_text().and_then(|text| Some((text, words::renamed(value.name, text)?))) {
        value.map_file.report(no_key(value.spot, text).help(did_you_mean(new)));
        return None;
    }
    let help = format!("{KEY_HELP}, or \"room\"");
    key_or(value, &help).map(|at| At { value: PlayIn::Key(at.value), spot: at.spot })
}

/// Which way the shift goes.
pub(super) fn shift(value: &Value<'_>) -> Option<ShiftWay> {
    value.choice(&allowed::SHIFTS)
}

/// A channel, from 1 as on a front panel.
pub(super) fn channel(value: &Value<'_>) -> Option<Channel> {
    value.whole::<u8>(1..=16).and_then(|number| Channel::from_index(number - 1).ok())
}

/// A program, from 1 as on a front panel.
pub(super) fn program(value: &Value<'_>) -> Option<U7> {
    value.whole::<u8>(1..=128).and_then(|number| U7::new(number - 1).ok())
}

/// A value from 0 to 127.
pub(super) fn seven_bits(value: &Value<'_>) -> Option<U7> {
    value.whole::<u8>(0..=127).and_then(|number| U7::new(number).ok())
}

/// Bank select, most and least significant byte.
pub(super) fn bank(value: &Value<'_>) -> Option<(U7, U7)> {
    let (most, least) = value.pair("two numbers from 0 to 127, controller 0 and controller 32")?;
    let (most, least) = (seven_bits(&most), seven_bits(&least));
    Some((most?, least?))
}

/// A time in milliseconds, as microseconds.
pub(super) fn milliseconds(value: &Value<'_>, from: f64, to: f64) -> Option<u64> {
    value.number(from..=to).map(|time| (time * 1000.0).round() as u64)
}

/// A list of names, none twice unless that makes sense.
pub(super) fn names(value: &Value<'_>, twice: bool) -> Option<Vec<At<String>>> {
    let names = value.list("a list of names", Value::text)?;
    for (index, name) in names.iter().enumerate() {
        if let Some(first) = names[..index].iter().find(|first| !twice && first.value == name.value) {
            let fault =
                Diagnostic::error(FaultKind::Finding, name.spot, format!("{} is named twice", quoted(&name.value)));
            value.map_file.report(fault.help("take one of the two out").also(first.spot, "first here"));
        }
    }
    Some(names)
}

/// A curve: a table, or the name of one among the gear's.
pub(super) fn curve(value: &Value<'_>, curves: &Known<Option<Curve>>) -> Option<Curve> {
    if value.is_table() {
        return inline_curve(value);
    }
    if value.as_text().is_none() {
        value.wrong("the name of a curve, or a table");
        return None;
    }
    curves.find(value.map_file, &value.text()?)?.clone()
}

/// A curve as a table.
pub(super) fn inline_curve(value: &Value<'_>) -> Option<Curve> {
    let mut fields = value.table("a curve")?;
    let bends = [fields.take("lighter"), fields.take("heavier")];
    let (points, always) = (fields.take("points"), fields.take("always"));
    let (low, high) = (fields.take("low"), fields.take("high"));
    let bent = bends.iter().any(Option::is_some);
    let end = |field: Option<Value<'_>>, default| field.map_or(Some(default), |value| value.number(1.0..=127.0));
    let curve = match (bends, points, always) {
        ([Some(bend), None] | [None, Some(bend)], None, None) => {
            let (amount, low, high) = (bend.whole::<i8>(0..=100), end(low, 1.0), end(high, 127.0));
            let heavier = amount.map(|amount| if bends[0].is_some() { -amount } else { amount });
            heavier.zip(low).zip(high).map(|((heavier, low), high)| Curve::Bent { heavier, low, high })
        }
        ([None, None], Some(list), None) => points_of(&list).map(Curve::Points),
        ([None, None], None, Some(always)) => always.number(1.0..=127.0).map(Curve::Always),
        // What is missing may only be misspelt.
        ([None, None], None, None) if fields.has_others() => None,
        _ => {
            let help =
                "write { lighter = 30 }, { heavier = 30 }, { points = [[1, 40], [127, 110]] } or { always = 90 }";
            value.finding("a curve has exactly one of lighter, heavier, points and always", help);
            None
        }
    };
    if !bent && !fields.has_others() {
        for (name, stray) in [("low", low), ("high", high)] {
            if let Some(stray) = stray {
                stray.finding(format!("{} belongs to lighter and heavier only", quoted(name)), "take it out");
            }
        }
    }
    fields.done();
    curve
}

fn points_of(value: &Value<'_>) -> Option<Vec<(f64, f64)>> {
    let point = |item: &Value<'_>| {
        let (touch, out) = item.pair("pairs, each [velocity in, velocity out]")?;
        let (touch, out) = (touch.number(1.0..=127.0), out.number(1.0..=127.0));
        Some((touch?, out?))
    };
    let points = value.list("a list of points", point)?;
    if points.len() < 2 {
        value.finding("a curve needs at least two points", "write for example [[1, 40], [127, 110]]");
        return None;
    }
    let items = value.items();
    for (index, pair) in points.windows(2).enumerate() {
        if pair[1].0 <= pair[0].0 {
            let help = "sort the points by their first number, each one greater than the one before";
            items[index + 1].finding("the touch of a curve's points must rise", help);
            return None;
        }
        if pair[1].1 < pair[0].1 {
            let help = "a harder touch may not count less: write a second number as high as the one before, or higher";
            items[index + 1].finding("a curve may not fall", help);
            return None;
        }
    }
    Some(points)
}

/// A placeholder for a value that could not be read; the fault is reported, so nothing ever plays it.
pub(super) fn unread<T: Default>(map_file: &MapFile<'_>) -> At<T> {
    At { value: T::default(), spot: map_file.spot(0..0) }
}

/// Every key of a MIDI keyboard.
pub(super) const ALL_KEYS: KeyRange = (Note::LOWEST_NOTE, Note::HIGHEST_NOTE);
