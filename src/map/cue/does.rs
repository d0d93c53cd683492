//! Reads what a cue does.

use super::super::allowed::SEND;
use super::super::diagnostic::{Diagnostic, FaultKind, did_you_mean, quoted};
use super::super::names::Names;
use super::super::nearest::nearest;
use super::super::reader::{Fields, Value};
use super::super::{Action, Does, LONGEST_FADE, SongChoice, USUAL_FADE, With, Word, schema, send, values};

/// What a cue can do.
#[derive(Clone, Copy)]
enum Asked {
    Act(Word),
    Send,
}

/// The fields that belong to some actions only, with those actions.
const HOMES: [(&str, &[&str]); 9] = [
    ("song", &["song", "line-up"]),
    ("section", &["section"]),
    ("key", &["key"]),
    ("zone", &["zone"]),
    ("state", &["zone", "drone"]),
    ("fade_ms", &["fade"]),
    ("to", &["send"]),
    ("message", &["send"]),
    ("off", &["send"]),
];

/// What an action may need, as far as it is written.
struct WrittenAction<'f, 'a> {
    /// Where `do` stands.
    word: Value<'a>,
    fields: &'f Fields<'a>,
    values: [(&'static str, Option<Value<'a>>); 9],
}

/// Reads what a cue does; `song` and `off` are taken from the fields already.
pub(super) fn read<'a>(
    fields: &mut Fields<'a>,
    song: Option<Value<'a>>,
    off: Option<Value<'a>>,
    names: &Names,
) -> Option<Does> {
    let values = HOMES.map(|(field, _)| match field {
        "song" => (field, song),
        "off" => (field, off),
        field => (field, fields.take(field)),
    });
    let word = fields.need("do")?;
    let asked = asked(&word)?;
    let action = match asked {
        Asked::Act(word) => word.row().word,
        Asked::Send => SEND,
    };
    let written = WrittenAction { word, fields, values };
    for ((field, homes), (_, value)) in HOMES.iter().zip(written.values) {
        if let Some(value) = value.filter(|_| !homes.contains(&action)) {
            let title = format!("{} belongs to {} only", quoted(field), actions(homes));
            let help = format!("take it out, or write do = {}", quoted(homes[0]));
            value.finding(title, help);
        }
    }
    does(asked, &written, names)
}

/// Actions in a sentence: `the action "fade"`, or several.
fn actions(words: &[&str]) -> String {
    let quoted: Vec<String> = words.iter().map(|word| quoted(word)).collect();
    format!("the action{} {}", if words.len() == 1 { "" } else { "s" }, quoted.join(" and "))
}

/// What is asked for; reports a word that is unknown.
fn asked(word: &Value<'_>) -> Option<Asked> {
    let Some(text) = word.as_text() else {
        word.wrong("an action in quotation marks");
        return None;
    };
    if text == SEND {
        return Some(Asked::Send);
    }
    if let Some(known) = Word::read(text) {
        return Some(Asked::Act(known));
    }
    let known = || Word::known().chain([SEND]);
    let fault = Diagnostic::error(FaultKind::Finding, word.spot, format!("there is no action called {}", quoted(text)));
    word.map_file.report(fault.help(match Word::renamed(text).or_else(|| nearest(text, known())) {
        Some(near) => did_you_mean(near),
        None => format!("write one of {}", known().collect::<Vec<_>>().join(", ")),
    }));
    None
}

fn does(asked: Asked, written: &WrittenAction<'_, '_>, names: &Names) -> Option<Does> {
    let word = match asked {
        Asked::Send => return send_to(written, names),
        Asked::Act(word) => word,
    };
    Some(Does::Act(match word {
        Word::Plain(plain) => Action::Plain(plain),
        Word::With(With::Song) => Action::Song(song(&written.need("song")?)?),
        Word::With(With::LineUp) => Action::LineUp(song(&written.need("song")?)?),
        Word::With(With::Section) => Action::Section(written.need("section")?.text()?),
        Word::With(With::Key) => Action::Key(values::key(&written.need("key")?)?),
        Word::With(With::Zone) => {
            let (name, on) = (written.need("zone").and_then(|name| name.text()), written.turn());
            Action::Zone { name: name?, on: on? }
        }
        Word::With(With::Drone) => Action::Drone(written.turn()?),
        Word::With(With::Fade) => Action::Fade(match written.get("fade_ms") {
            Some(time) => values::milliseconds(&time, 0.0, (LONGEST_FADE / 1000) as f64)?,
            None => USUAL_FADE,
        }),
    }))
}

fn send_to(written: &WrittenAction<'_, '_>, names: &Names) -> Option<Does> {
    let (to, message) = (written.need("to"), written.need("message"));
    let to = to.and_then(|to| to.text());
    if let Some(to) = &to {
        names.outputs.find(written.word.map_file, to);
    }
    let message = message.and_then(|message| message.table("a message")).and_then(send::message);
    Some(Does::Send { to: to?, message: message? })
}

/// A title, a number, or the number that came in.
fn song(value: &Value<'_>) -> Option<SongChoice> {
    if value.as_text() == Some("received") {
        return Some(SongChoice::Received);
    }
    if value.as_text().is_some() {
        return value.text().map(SongChoice::Titled);
    }
    if value.as_whole().is_some() {
        return value.whole::<u8>(1..=128).map(|number| SongChoice::Number(value.at(number)));
    }
    value.wrong("a title, a number, or \"received\"");
    None
}

impl<'a> WrittenAction<'_, 'a> {
    fn get(&self, field: &str) -> Option<Value<'a>> {
        self.values.iter().find(|(known, _)| *known == field).and_then(|(_, value)| *value)
    }

    /// A field without which the action means nothing.
    fn need(&self, field: &str) -> Option<Value<'a>> {
        let value = self.get(field);
        if value.is_none() && !self.fields.map_file.may_have(field) {
            let action = quoted(self.word.as_text().unwrap_or_default());
            let title = format!("the action {action} needs the field {}", quoted(field));
            let fault = Diagnostic::error(FaultKind::Finding, self.word.spot, title);
            let help = format!("write for example {}", schema::example("a cue", field));
            self.fields.map_file.report(fault.help(help));
        }
        value
    }

    /// On, off, or the other way.
    fn turn(&self) -> Option<Option<bool>> {
        match self.get("state") {
            Some(turn) => turn.choice(&[("on", true), ("off", false)]).map(Some),
            None => Some(None),
        }
    }
}
