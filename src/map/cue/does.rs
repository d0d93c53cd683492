//! Reads what a cue does.

use super::super::diagnostic::{Diagnostic, Kind, did_you_mean, quoted};
use super::super::names::Names;
use super::super::nearest::nearest;
use super::super::reader::{Fields, Value};
use super::super::{Does, SongChoice, send, values, words};

/// The words for what a cue can do.
pub(super) const ACTIONS: [&str; 20] = [
    "next-song",
    "previous-song",
    "song",
    "line-up",
    "next-section",
    "previous-section",
    "section",
    "raise-key",
    "lower-key",
    "key",
    "tonights-key",
    "from-the-top",
    "drone",
    "zone",
    "fade",
    "send",
    "resend-messages",
    "resend-sounds",
    "tap",
    "panic",
];

/// How long a fade takes unless told otherwise, in microseconds, and at the most, in milliseconds.
const USUAL_FADE: u64 = 2_000_000;
const LONGEST_FADE: f64 = 60_000.0;

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
struct Written<'f, 'a> {
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
    let action = action(&word)?;
    let written = Written { word, fields, values };
    for ((field, homes), (_, value)) in HOMES.iter().zip(written.values) {
        if let Some(value) = value.filter(|_| !homes.contains(&action)) {
            let title = format!("{} belongs to {} only", quoted(field), actions(homes));
            let help = format!("take it out, or write do = {}", quoted(homes[0]));
            value.finding(title, help);
        }
    }
    does(action, &written, names)
}

/// Actions in a sentence: `the action "fade"`, or several.
fn actions(words: &[&str]) -> String {
    let quoted: Vec<String> = words.iter().map(|word| quoted(word)).collect();
    format!("the action{} {}", if words.len() == 1 { "" } else { "s" }, quoted.join(" and "))
}

/// The word for the action; reports one that is unknown.
fn action<'a>(word: &Value<'a>) -> Option<&'a str> {
    let Some(text) = word.as_text() else {
        word.wrong("an action in quotation marks");
        return None;
    };
    if ACTIONS.contains(&text) {
        return Some(text);
    }
    let fault = Diagnostic::error(Kind::Finding, word.spot, format!("there is no action called {}", quoted(text)));
    word.page.report(fault.help(
        match words::renamed(word.name, text).or_else(|| nearest(text, ACTIONS.into_iter())) {
            Some(near) => did_you_mean(near),
            None => format!("write one of {}", ACTIONS.join(", ")),
        },
    ));
    None
}

fn does(action: &str, written: &Written<'_, '_>, names: &Names) -> Option<Does> {
    Some(match action {
        "next-song" => Does::NextSong,
        "previous-song" => Does::PreviousSong,
        "song" => Does::Song(song(&written.need("song")?)?),
        "line-up" => Does::LineUp(song(&written.need("song")?)?),
        "next-section" => Does::NextSection,
        "previous-section" => Does::PreviousSection,
        "section" => Does::Section(written.need("section")?.text()?),
        "raise-key" => Does::RaiseKey,
        "lower-key" => Does::LowerKey,
        "key" => Does::Key(values::key(&written.need("key")?)?),
        "tonights-key" => Does::TonightsKey,
        "from-the-top" => Does::FromTheTop,
        "drone" => Does::Drone(written.turn()?),
        "zone" => {
            let (name, turn) = (written.need("zone").and_then(|name| name.text()), written.turn());
            Does::Zone { name: name?, state: turn? }
        }
        "fade" => Does::Fade(match written.get("fade_ms") {
            Some(time) => values::milliseconds(&time, 0.0, LONGEST_FADE)?,
            None => USUAL_FADE,
        }),
        "send" => {
            let (to, message) = (written.need("to"), written.need("message"));
            let to = to.and_then(|to| to.text());
            if let Some(to) = &to {
                names.outputs.find(written.word.page, to);
            }
            let message = message.and_then(|message| message.table("a message")).and_then(send::message);
            Does::Send { to: to?, message: message? }
        }
        "resend-messages" => Does::ResendMessages,
        "resend-sounds" => Does::ResendSounds,
        "tap" => Does::Tap,
        _ => Does::Panic,
    })
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

impl<'a> Written<'_, 'a> {
    fn get(&self, field: &str) -> Option<Value<'a>> {
        self.values.iter().find(|(known, _)| *known == field).and_then(|(_, value)| *value)
    }

    /// A field without which the action means nothing.
    fn need(&self, field: &str) -> Option<Value<'a>> {
        let value = self.get(field);
        if value.is_none() && !self.fields.page.broken {
            let action = quoted(self.word.as_text().unwrap_or_default());
            let title = format!("the action {action} needs the field {}", quoted(field));
            let fault = Diagnostic::error(Kind::Finding, self.word.spot, title);
            let help = format!("write for example {}", words::example("a cue", field));
            self.fields.page.report(fault.help(help));
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
