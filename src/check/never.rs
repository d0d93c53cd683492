//! Cues that can never fire, and those that have nothing to do.

use super::keyboard;
use super::tonight::Tonight;
use super::words::{self, event, from_to, middle_c, quoted};
use crate::map::{Action, Book, Cue, Diagnostic, Does, FaultKind, Input, Song, Spot, Trigger};

/// Error: a cue on a key that its keyboard does not have, on a channel that its input does not hear, or on a controller
/// that its input hears as another. Error: a cue whose `off` is its message once more. Hint: one whose `off` goes to
/// another channel. Hint: a cue of the gear that every song replaces. Hint: a cue for a drone where no song has one.
pub(super) fn find(tonight: &Tonight<'_>, found: &mut Vec<Diagnostic>) {
    let book = tonight.book;
    for cue in book.cues() {
        let input = book.gear.inputs.iter().find(|input| input.name.value == cue.when.input.value);
        found.extend(input.and_then(|input| unheard(book, cue, input)));
        found.extend(pointless_off(cue));
        let is_drone = matches!(cue.does, Does::Act(Action::Drone(_)));
        if is_drone && book.songs.iter().all(|song| song.drone.is_none()) {
            let hint = Diagnostic::hint(cue.spot, "this cue has nothing to do: no song of the set has a drone");
            found.push(hint.help("give a song a [drone], or take the cue out"));
        }
    }
    for cue in &book.gear.cues {
        found.extend(replaced(book, cue));
    }
}

/// A cue whose `off` turns nothing off.
fn pointless_off(cue: &Cue) -> Option<Diagnostic> {
    let (Does::Send { message, .. }, Some(off)) = (&cue.does, &cue.off) else { return None };
    if *message == off.message {
        let title = "this cue never turns anything off: off is the message once more";
        let fault = Diagnostic::error(FaultKind::Finding, cue.spot, title);
        return Some(fault.help("write in off what ends it, such as off = { control = [80, 0], channel = 1 }"));
    }
    let (on, off) = (message.channel()?, off.message.channel()?);
    (on != off).then(|| {
        let (on, off) = (on.number(), off.number());
        let title = format!("\"off\" goes to channel {off}, but the message to channel {on}");
        Diagnostic::hint(cue.spot, title).help(format!("write channel = {on} in off"))
    })
}

fn unheard(book: &Book, cue: &Cue, input: &Input) -> Option<Diagnostic> {
    let octave = middle_c(book, cue.spot);
    let name = quoted(&input.name.value);
    let never =
        |why: String| Diagnostic::error(FaultKind::Finding, cue.spot, format!("this cue can never fire: {why}"));
    if let (Some(wanted), Some(heard)) = (cue.when.trigger.channel(), input.channel)
        && wanted != heard
    {
        let why = format!("the input {name} receives channel {} only, not {}", heard.number(), wanted.number());
        let help = format!("write channel = {}, or take the input's channel out: then it receives all", heard.number());
        return Some(never(why).help(help).also(input.name.spot, "this input"));
    }
    match cue.when.trigger {
        Trigger::Key { key, .. } => {
            let (low, high) = keyboard::keys(input);
            if (low..=high).contains(&key) {
                return None;
            }
            let why = format!("the input {name} has no key {}", words::key_name(key, octave));
            let help = format!("write a note from {}", from_to(low, high, octave));
            Some(never(why).help(help).also(input.name.spot, "its keys are given here"))
        }
        Trigger::Control { number, .. } => {
            let (_, other) = input.renumber.iter().find(|(from, _)| *from == number)?;
            if input.renumber.iter().any(|(_, to)| *to == number) {
                return None;
            }
            let (number, other) = (u8::from(number), u8::from(*other));
            let why = format!("controller {number} of the input {name} counts as {other}");
            let help = format!("write control = {other}");
            Some(never(why).help(help).also(input.name.spot, "renumbered here"))
        }
        _ => None,
    }
}

fn replaced(book: &Book, cue: &Cue) -> Option<Diagnostic> {
    let own = |song: &Song| song.cues.iter().find(|own| own.when.is_same(&cue.when)).map(|own| own.spot);
    let by: Vec<Spot> = book.songs.iter().map_while(own).collect();
    let first = *by.first().filter(|_| by.len() == book.songs.len())?;
    let what = event(cue.when.trigger, middle_c(book, cue.spot));
    let title = format!("this cue never fires in a song: {what} has another cue in every one");
    let hint = Diagnostic::hint(cue.spot, title);
    let hint = hint.also(first, if by.len() == 1 { "by this one" } else { "by this one, and so in all others" });
    Some(hint.help("take it out, or the song's own where this one will do"))
}
