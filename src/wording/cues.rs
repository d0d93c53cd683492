//! Cues in the player's words, also in the log: what comes, how it is pressed, what it does (rule R19).

use std::convert::Infallible;

use super::on_off;
use crate::engine::{By, Notice};
use crate::map::{Action, At, ClockCommand, Cue, Does, LookUp, Press, SongChoice, Trigger, WrittenAction, followed};
use crate::midi::machine_control::Transport;
use crate::midi::{Note, U7};
use crate::music::{Key, note};

/// What comes, such as `control 67`; `received` is the number that came in.
pub(crate) fn what(trigger: Trigger, received: Option<u8>) -> String {
    let of = |number: u8| U7::try_from(number).map(Note::from).map(|key| note::name(key, 4)).unwrap_or_default();
    match trigger {
        Trigger::Key { key, .. } => format!("note {}", of(key)),
        Trigger::Control { number, .. } => format!("control {}", u8::from(number)),
        Trigger::Program { program, .. } => numbered("program", received.or(program.map(from_one))),
        Trigger::SongSelect(song) => numbered("song select", received.or(song.map(from_one))),
        Trigger::Clock(ClockCommand::Start) => "clock start".to_owned(),
        Trigger::Clock(ClockCommand::Stop) => "clock stop".to_owned(),
        Trigger::Clock(ClockCommand::Continue) => "clock continue".to_owned(),
        Trigger::Transport(Transport::Play) => "transport play".to_owned(),
        Trigger::Transport(_) => "transport stop".to_owned(),
    }
}

fn from_one(number: U7) -> u8 {
    u8::from(number) + 1
}

fn numbered(what: &str, number: Option<u8>) -> String {
    number.map_or_else(|| what.to_owned(), |number| format!("{what} {number}"))
}

/// What a cue does, where it is drawn or listed.
pub(crate) fn does(does: &Does, received: Option<u8>, name: Option<&str>) -> String {
    match does {
        // How long a fade takes is said apart, where there is room for it.
        Does::Act(fade @ Action::Fade(_)) => fade.word().row().label.to_owned(),
        Does::Act(action) => followed(action.word().row().label, &named(action, received).after()),
        Does::Send { to, .. } => name.map_or_else(|| format!("send to {}", to.value), str::to_owned),
    }
}

/// What a cue has done, in the words that have it done elsewhere too: `next-section`.
pub(crate) fn asks(cue: &Cue, received: Option<u8>) -> String {
    match &cue.does {
        Does::Act(action) => named(action, received).written(),
        send @ Does::Send { .. } => does(send, received, cue.name.as_deref()),
    }
}

/// The action with the names alone.
fn named(action: &WrittenAction, received: Option<u8>) -> Action<String, String, Key> {
    let Ok(named) = action.clone().resolve(&mut SpokenNames { received });
    named
}

/// What a cue names, as one says it.
struct SpokenNames {
    /// The number that came in.
    received: Option<u8>,
}

impl LookUp<SongChoice, At<String>, At<Key>> for SpokenNames {
    type Song = String;
    type Name = String;
    type Key = Key;
    type Error = Infallible;

    fn song(&mut self, song: SongChoice) -> Result<String, Infallible> {
        Ok(match song {
            SongChoice::Titled(title) => title.value,
            SongChoice::Number(number) => number.value.to_string(),
            SongChoice::Received => {
                self.received.map_or_else(|| "of that number".to_owned(), |number| number.to_string())
            }
        })
    }

    fn section(&mut self, name: At<String>) -> Result<String, Infallible> {
        Ok(name.value)
    }

    fn zone(&mut self, name: At<String>, on: Option<bool>) -> Result<(String, Option<bool>), Infallible> {
        Ok((name.value, on))
    }

    fn key(&mut self, key: At<Key>) -> Key {
        key.value
    }
}

/// What the press that fired a cue was; nothing for a single one that was known at once, and for messages.
pub(crate) fn pressed(trigger: Trigger, by: By) -> &'static str {
    match (trigger.press(), by) {
        (Some(Press::Double), _) => press(trigger),
        (Some(Press::Long), _) => press(trigger),
        (Some(Press::Single), By::Time) => "once, 0.4 s ago",
        (Some(_), By::Release) => "comes up",
        _ => "",
    }
}

/// What a cue did that fired, by what the engine noticed then.
pub(crate) fn did(cue: &Cue, received: Option<u8>, noticed: &[Notice]) -> String {
    let mut words = does(&cue.does, received, cue.name.as_deref());
    if cue.off.is_some() {
        let on = noticed.iter().any(|notice| matches!(notice, Notice::Cue(_, true)));
        words.push_str(&format!(" {}", on_off(on)));
    }
    if noticed.contains(&Notice::NothingThere) {
        words.push_str(": nothing changes");
    }
    words
}

/// A cue as who asks for something, for the log: `cue control 66`.
pub(crate) fn name(cue: &Cue, received: Option<u8>) -> String {
    format!("cue {}", what(cue.when.trigger, received))
}

/// How a key or pedal is pressed; nothing for a single press, and for messages.
pub(crate) fn press(trigger: Trigger) -> &'static str {
    match trigger.press() {
        Some(Press::Double) => "twice",
        Some(Press::Long) => "held for 0.7 s",
        Some(Press::Either) => "down or up",
        Some(Press::Single) | None => "",
    }
}
