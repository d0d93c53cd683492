//! Cues that fire at one press, and those that wait for a second or a long one (rule R19).

use super::words::{event, middle_c};
use crate::map::{Book, Cue, Diagnostic, Press, Spot, Trigger};
use crate::midi::Channel;

/// Hint: two cues that fire at the same event. Hint: a single press that waits because a double or a long one shares
/// its key or pedal.
pub(super) fn find(book: &Book, found: &mut Vec<Diagnostic>) {
    let gear: Vec<&Cue> = book.gear.cues.iter().collect();
    let mut late: Vec<Spot> = Vec::new();
    clashes(book, &gear, &gear, found);
    waits(book, &gear, &mut late, found);
    for song in book.songs.iter().filter(|song| !song.cues.is_empty()) {
        let all = book.cues_in(Some(song));
        let own: Vec<&Cue> = song.cues.iter().collect();
        clashes(book, &all, &own, found);
        waits(book, &all, &mut late, found);
    }
}

/// Each of the later ones that fires with one before it.
fn clashes(book: &Book, all: &[&Cue], later: &[&Cue], found: &mut Vec<Diagnostic>) {
    for cue in later {
        let before = all.iter().take_while(|known| known.spot != cue.spot);
        let Some(first) = before.into_iter().find(|known| fire_together(known, cue)) else { continue };
        let octave = middle_c(book, cue.spot);
        let title = format!("{} fires two cues: both act, this one second", event(cue.when.trigger, octave));
        let hint = Diagnostic::hint(cue.spot, title).also(first.spot, "fires first");
        found.push(hint.help("leave it so if both are meant, or take one of them out"));
    }
}

/// Whether one event can fire both.
fn fire_together(one: &Cue, other: &Cue) -> bool {
    use Trigger::{Clock, Control, Key, Program, SongSelect, Transport};
    let pressed = |one: Press, other: Press| one == other || one == Press::Either || other == Press::Either;
    same_source(one, other)
        && match (one.when.trigger, other.when.trigger) {
            (Key { press, .. }, Key { press: other, .. }) | (Control { press, .. }, Control { press: other, .. }) => {
                pressed(press, other)
            }
            (Program { program: one, .. }, Program { program: other, .. }) | (SongSelect(one), SongSelect(other)) => {
                one.is_none() || other.is_none() || one == other
            }
            (Clock(one), Clock(other)) => one == other,
            (Transport(one), Transport(other)) => one == other,
            _ => false,
        }
}

/// Whether both are on the same key, controller or kind of message of one input.
fn same_source(one: &Cue, other: &Cue) -> bool {
    use Trigger::{Control, Key};
    let channels = |one: Option<Channel>, other: Option<Channel>| one.is_none() || other.is_none() || one == other;
    let (first, second) = (one.when.trigger, other.when.trigger);
    let same = match (first, second) {
        (Key { key: one, .. }, Key { key: other, .. }) => one == other,
        (Control { number: one, reversed, .. }, Control { number: other, reversed: back, .. }) => {
            one == other && reversed == back
        }
        _ => std::mem::discriminant(&first) == std::mem::discriminant(&second),
    };
    same && one.when.input.value == other.when.input.value && channels(first.channel(), second.channel())
}

/// Single presses that another cue of the same key or pedal holds up, each once.
fn waits(book: &Book, all: &[&Cue], late: &mut Vec<Spot>, found: &mut Vec<Diagnostic>) {
    for cue in all.iter().filter(|cue| cue.when.trigger.press() == Some(Press::Single)) {
        let shared = |wanted: Press| {
            let pressed = |other: &&&Cue| other.when.trigger.press() == Some(wanted) && same_source(cue, other);
            all.iter().find(pressed).map(|other| other.spot)
        };
        let (double, long) = (shared(Press::Double), shared(Press::Long));
        let (label, with) = match (double, long) {
            (None, None) => continue,
            (Some(_), None) => ("400 ms after the press", "a double press"),
            (None, Some(_)) => ("only as it comes up, up to 700 ms after the press", "a long press"),
            (Some(_), Some(_)) => ("400 to 700 ms after the press", "a double and a long press"),
        };
        if late.contains(&cue.spot) {
            continue;
        }
        late.push(cue.spot);
        let what = event(cue.when.trigger, middle_c(book, cue.spot));
        let hint = Diagnostic::hint(cue.spot, format!("this cue comes late: {what} has {with} too")).label(label);
        let hint = double.into_iter().chain(long).fold(hint, |hint, spot| hint.also(spot, "could still follow"));
        found.push(hint.help("give one of them another key or pedal, or leave it so where a moment does not matter"));
    }
}
