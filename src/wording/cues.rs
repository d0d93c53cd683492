//! Cues in the player's words: what comes, how it is pressed, what it does (rule R19).

use super::on_off;
use crate::engine::{By, Notice};
use crate::map::{Clock, Cue, Does, Press, SongChoice, Trigger};
use crate::midi::machine_control::Transport;
use crate::midi::{Note, U7};
use crate::music::note;

/// What comes, such as `control 67`; `received` is the number that came in.
pub(crate) fn what(trigger: Trigger, received: Option<u8>) -> String {
    let of = |number: u8| U7::try_from(number).map(Note::from).map(|key| note::name(key, 4)).unwrap_or_default();
    match trigger {
        Trigger::Key { key, .. } => format!("note {}", of(key)),
        Trigger::Control { number, .. } => format!("control {}", u8::from(number)),
        Trigger::Program { program, .. } => numbered("program", received.or(program.map(from_one))),
        Trigger::SongSelect(song) => numbered("song select", received.or(song.map(from_one))),
        Trigger::Clock(Clock::Start) => "clock start".to_owned(),
        Trigger::Clock(Clock::Stop) => "clock stop".to_owned(),
        Trigger::Clock(Clock::Continue) => "clock continue".to_owned(),
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

/// What a cue does.
pub(crate) fn does(does: &Does, received: Option<u8>, name: Option<&str>) -> String {
    let song = |choice: &SongChoice| match choice {
        SongChoice::Titled(title) => title.value.clone(),
        SongChoice::Number(number) => number.value.to_string(),
        SongChoice::Received => received.map_or_else(|| "of that number".to_owned(), |number| number.to_string()),
    };
    let turned = |turn: Option<bool>| match turn {
        None => "",
        Some(true) => " on",
        Some(false) => " off",
    };
    match does {
        Does::NextSong => "next song".to_owned(),
        Does::PreviousSong => "previous song".to_owned(),
        Does::Song(choice) => format!("song {}", song(choice)),
        Does::LineUp(choice) => format!("line up song {}", song(choice)),
        Does::NextSection => "next section".to_owned(),
        Does::PreviousSection => "previous section".to_owned(),
        Does::Section(section) => format!("section {}", section.value),
        Does::RaiseKey => "a semitone up".to_owned(),
        Does::LowerKey => "a semitone down".to_owned(),
        Does::Key(key) => format!("key {}", key.value),
        Does::TonightsKey => "tonight's key".to_owned(),
        Does::FromTheTop => "from the top".to_owned(),
        Does::Drone(turn) => format!("drone{}", turned(*turn)),
        Does::Zone { name, state } => format!("zone {}{}", name.value, turned(*state)),
        Does::Fade(_) => "fade".to_owned(),
        Does::Send { to, .. } => name.map_or_else(|| format!("send to {}", to.value), str::to_owned),
        Does::ResendMessages => "send again".to_owned(),
        Does::ResendSounds => "all sounds again".to_owned(),
        Does::Tap => "a beat".to_owned(),
        Does::Panic => "panic".to_owned(),
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
