//! What the hand played beside what each output got, as a table.

use super::cueing::{self, Fired};
use crate::engine::By;
use crate::engine::{Cause, Line, Notice, Rehearsal, ReplayStep as Step};
use crate::evening::{Keys, Standing, chord_on, fits, plays_in};
use crate::map::{Book, Input, Linger, Song, StayInKey, Zone};
use crate::midi::Note;
use crate::midi::file::{Take, TakeKind};
use crate::midi::words::channel;
use crate::music::{chord, note};
use crate::wording::messages::spoken;

/// Columns of the hand's part, and of an output's at most.
const COLUMN: usize = 20;
/// What is said of a key that does not sound.
const SILENT: &str = "(silent)";
/// Columns of a whole row.
const ROW: usize = 100;
/// A take's times are whole ticks, no longer than this, in microseconds.
const TICK: u64 = 2_000;

/// A moment of a take in which something was played, asked for or due.
pub(super) struct Moment<'a> {
    /// When, in microseconds.
    pub at: u64,
    /// What it is, for choosing those that tell.
    pub kind: Kind,
    /// What the hand did, in words; in several lines where a cue fired.
    hand: String,
    /// What the outputs got.
    pub said: Vec<&'a Line>,
    /// What the player would have been told.
    pub notices: &'a [Notice],
    /// Where the set stood afterwards.
    pub standing: Standing,
}

/// What a moment is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Kind {
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

/// The keys that are down, and when each was struck last.
struct Hand {
    down: u128,
    struck: [Option<u64>; 128],
}

/// All moments of a take, in order.
pub(super) fn moments<'a>(book: &Book, rehearsal: &'a Rehearsal, take: &Take) -> Vec<Moment<'a>> {
    let mut moments = Vec::new();
    let mut hand = Hand { down: 0, struck: [None; 128] };
    let mut standing = rehearsal.steps.first().map(|step| step.standing).unwrap_or_default();
    let from = cueing::inputs_of(book, take, 0);
    let fired = cueing::fired(book, rehearsal);
    for (number, step) in rehearsal.steps.iter().enumerate() {
        let (late, at_once): (Vec<&Fired<'_>>, Vec<&Fired<'_>>) =
            fired.iter().filter(|fired| fired.step == number).partition(|fired| fired.by == By::Time);
        let begin = moments.len();
        let tick = match step.cause {
            Cause::Start => 0,
            Cause::Event(event) => take.events.get(event).map_or(0, |event| event.tick),
            Cause::End => take.end_tick,
        };
        let (due, own): (Vec<&Line>, Vec<&Line>) = step.said.iter().partition(|line| line.tick < tick);
        for said in due.chunk_by(|one, other| one.tick == other.tick) {
            let at = said.first().map_or(0, |line| take.micros(line.tick));
            let named = decided(book, &hand, &standing, at, said);
            let kind = match named {
                Some(_) => Kind::Decision,
                None if said.iter().any(|line| is_expression(&line.bytes)) => Kind::Fade,
                None => Kind::Other,
            };
            let fades = if kind == Kind::Fade { "(fading)" } else { "" };
            let hand = named.unwrap_or_else(|| fades.to_owned());
            moments.push(Moment { at, kind, hand, said: said.to_vec(), notices: &[], standing });
        }
        standing = step.standing;
        for fired in late {
            let hand = told(book, rehearsal, fired);
            // What is said in that moment is the cue's.
            match moments[begin..].iter_mut().find(|moment| moment.at.abs_diff(fired.at) <= TICK) {
                Some(moment) => (moment.kind, moment.hand) = (Kind::Cue, hand),
                None => {
                    let (at, notices) = (fired.at, &step.notices[..]);
                    moments.push(Moment { at, kind: Kind::Cue, hand, said: Vec::new(), notices, standing });
                }
            }
        }
        moments[begin..].sort_by_key(|moment| moment.at);
        let other = match step.cause {
            Cause::Event(event) => from.get(event).and_then(|input| book.gear.inputs.get(*input)),
            Cause::Start | Cause::End => None,
        };
        let mut own = own_moment(book, &mut hand, (step, own), take, other.filter(|input| !input.play));
        for fired in at_once {
            own.kind = Kind::Cue;
            own.hand = format!("{}\n{}", own.hand, told(book, rehearsal, fired)).trim().to_owned();
        }
        moments.push(own);
    }
    moments
}

/// A cue that fired, a line for each thing that there is to say.
fn told(book: &Book, rehearsal: &Rehearsal, fired: &Fired<'_>) -> String {
    let (does, title) = fired.does(book, rehearsal);
    let how = match (fired.by, fired.how()) {
        (By::Time, how) => format!("{}\n({how})\n", fired.what()),
        (_, "") => String::new(),
        (_, how) => format!("({how})\n"),
    };
    let title = title.map_or_else(String::new, |title| format!("\n  {title}"));
    format!("{how}→ {does}{title}")
}

/// Whether a message is controller 11, by which fades go down.
fn is_expression(bytes: &[u8]) -> bool {
    matches!(bytes, [status, 11, _] if status & 0xF0 == 0xB0)
}

/// What an event of the take itself did.
/// `other`: the input that it came from, where nobody plays on it.
fn own_moment<'a>(
    book: &Book,
    hand: &mut Hand,
    (step, said): (&'a Step, Vec<&'a Line>),
    take: &Take,
    other: Option<&Input>,
) -> Moment<'a> {
    let standing = step.standing;
    let (mut kind, mut words) = (Kind::Other, String::new());
    match step.cause {
        Cause::Start => (kind, words) = (Kind::Begins, "(the song begins)".to_owned()),
        Cause::End => words = "(the end)".to_owned(),
        Cause::Event(event) => match take.events.get(event).map(|event| &event.kind) {
            Some(TakeKind::Marker(text)) => {
                words = format!("({text})");
                kind = if step.notices.contains(&Notice::Section) { Kind::Begins } else { Kind::Asked };
            }
            Some(TakeKind::Message(bytes)) if let Some(input) = other => {
                let key = playing(book, &standing).map(|(_, keys)| keys.play_in);
                words = key.map_or_else(String::new, |key| format!("{}: {}", input.name.value, spoken(bytes, key)));
            }
            Some(TakeKind::Message(bytes)) => (kind, words) = played(book, hand, bytes, step, &said),
            None => {}
        },
    }
    Moment { at: step.at, kind, hand: words, said, notices: &step.notices, standing }
}

fn played(book: &Book, hand: &mut Hand, bytes: &[u8], step: &Step, said: &[&Line]) -> (Kind, String) {
    let standing = step.standing;
    let Some((song, keys)) = playing(book, &standing) else { return (Kind::Other, String::new()) };
    let words = spoken(bytes, keys.play_in);
    match *bytes {
        [status, key, velocity] if status & 0xF0 == 0x90 && velocity > 0 && key < 128 => {
            hand.down |= 1 << key;
            hand.struck[usize::from(key)] = Some(step.at);
            let zones = || zones_with(song, &standing, key);
            if let Some(as_what) = zones().find_map(|zone| wrong(book, (song, &keys, &standing), zone, key, said)) {
                let kind = if as_what == SILENT { Kind::SilentKey } else { Kind::WrongKey };
                return (kind, format!("{words} {as_what}"));
            }
            let lets_go = |zone: &Zone| zone.linger == Linger::Toggle && struck_at(book, zone, said).next().is_none();
            if zones().any(lets_go) {
                return (Kind::Key, format!("{words} (lets go)"));
            }
            if zones().any(|zone| zone.one_key_chord && struck_at(book, zone, said).next().is_some()) {
                return (Kind::Key, format!("{words} ({})", chord_on(song, keys.play_in, key)));
            }
            (Kind::Key, words)
        }
        [status, key, _] if matches!(status & 0xF0, 0x80 | 0x90) && key < 128 => {
            hand.down &= !(1 << key);
            match decided(book, hand, &standing, step.at, said) {
                Some(_) => (Kind::LateFinger, format!("{words} (late)")),
                None => (Kind::Other, words),
            }
        }
        _ => (Kind::Other, words),
    }
}

/// The song that the keys play, and its keys tonight.
fn playing<'a>(book: &'a Book, standing: &Standing) -> Option<(&'a Song, Keys)> {
    let (entry, song) = standing.playing(book)?;
    Some((song, Keys::of(book, entry, song)))
}

/// The zones of the section where we stand that have this key.
fn zones_with<'a>(song: &'a Song, standing: &Standing, key: u8) -> impl Iterator<Item = &'a Zone> {
    let section = standing.section;
    let has = move |zone: &Zone| (zone.keys.value.0 as u8..=zone.keys.value.1 as u8).contains(&key);
    song.zones.iter().filter(move |zone| has(zone) && plays_in(song, zone, section))
}

/// The notes that begin where a zone goes.
fn struck_at<'a>(book: &'a Book, zone: &'a Zone, said: &'a [&'a Line]) -> impl Iterator<Item = u8> + 'a {
    let sound = book.gear.sound(&zone.sound.value);
    let place = sound.and_then(|sound| Some((book.gear.output_of(sound)?, sound.channel.index())));
    said.iter().filter_map(move |line| match line.bytes[..] {
        [status, note, _] if status & 0xF0 == 0x90 && place == Some((line.output, status & 15)) => Some(note),
        _ => None,
    })
}

/// What became of a key that does not fit, where it does not.
fn wrong(
    book: &Book,
    (song, keys, standing): (&Song, &Keys, &Standing),
    zone: &Zone,
    key: u8,
    said: &[&Line],
) -> Option<String> {
    if zone.stay_in_key == StayInKey::Off || fits(song, standing.section, standing.finger_tonic()).contains(key) {
        return None;
    }
    let moved = 12 * zone.octave + zone.transpose + if zone.follow_key { standing.shift } else { 0 };
    let chosen = struck_at(book, zone, said).find_map(|note| u8::try_from(i32::from(note) - moved).ok());
    match chosen.and_then(|key| Note::try_from(key).ok()) {
        Some(key) if zone.within.is_none() => Some(format!("(as {})", note::name_in(key, keys.play_in, 4))),
        Some(_) => Some("(moved)".to_owned()),
        None => Some(SILENT.to_owned()),
    }
}

/// The name of the handful from which a zone has just decided what it plays, as the fingers grip it.
fn decided(book: &Book, hand: &Hand, standing: &Standing, at: u64, said: &[&Line]) -> Option<String> {
    let (song, keys) = playing(book, standing)?;
    let zone = song.zones.iter().find(|zone| zone.plays.derives() && struck_at(book, zone, said).next().is_some())?;
    let range = zone.keys.value.0 as usize..=zone.keys.value.1 as usize;
    // A tick more.
    let gathered =
        |key: usize| hand.struck[key].is_some_and(|struck| at.saturating_sub(struck) <= book.gear.gather + TICK);
    let held = range.filter(|key| *key < 128 && (hand.down & 1 << key != 0 || gathered(*key)));
    let name = chord::name(held.fold(0, |keys, key| keys | 1 << key));
    Some(name.map_or_else(|| "(decided)".to_owned(), |name| format!("({})", name.spelled(keys.play_in))))
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
pub(super) fn rows(book: &Book, moment: &Moment<'_>, used: &[usize]) -> Vec<String> {
    let width = column(used);
    let tonight = playing(book, &moment.standing).map(|(_, keys)| keys.tonight);
    let got = |output: usize| moment.said.iter().filter(move |line| line.output == output);
    let cell = |line: &Line| {
        let channel = channel(&line.bytes).map_or_else(String::new, |channel| format!("{channel:2}: "));
        let words = tonight.map_or_else(String::new, |tonight| spoken(&line.bytes, tonight));
        format!("{channel}{words}")
    };
    let hand: Vec<&str> = moment.hand.lines().collect();
    let height = used.iter().map(|output| got(*output).count()).max().unwrap_or(0).max(hand.len());
    let row = |row: usize| {
        let time = if row == 0 { format!("{:7.3} s", moment.at as f64 / 1e6) } else { String::new() };
        let hand = hand.get(row).copied().unwrap_or_default();
        let cells: String = used
            .iter()
            .map(|output| format!("{:width$}", got(*output).nth(row).map_or_else(String::new, |line| cell(line))))
            .collect();
        format!("  {time:>9}  {hand:COLUMN$}{cells}").trim_end().to_owned()
    };
    (0..height.max(1)).map(row).collect()
}
