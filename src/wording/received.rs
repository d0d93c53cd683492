//! What inputs receive, in the player's words, and how a cue of the maps is written that fires on it.

use toml_edit::Value;

use crate::midi::{Message, Note, U7, decode, machine_control};
use crate::music::note;

/// Controllers that have a name (MIDI 1.0, table 3), as a player calls them.
const CONTROLLERS: [(u8, &str); 17] = [
    (0, "the bank, first part"),
    (1, "the modulation wheel"),
    (2, "the breath controller"),
    (4, "the foot controller"),
    (5, "the portamento time"),
    (7, "the volume"),
    (8, "the balance"),
    (10, "the pan"),
    (11, "the expression"),
    (32, "the bank, second part"),
    (64, "the right pedal"),
    (65, "the portamento switch"),
    (66, "the middle pedal"),
    (67, "the left pedal"),
    (120, "all sound off"),
    (121, "all controllers back"),
    (123, "all notes off"),
];

/// Numbers of MIDI Machine Control that a cue may wait for.
const TRANSPORTS: [(u8, &str); 2] = [(0x01, "stop"), (0x02, "play")];

/// A message of an input in a line: `keyboard: control 64 is 127: the right pedal`. None for what comes all the time and
/// says nothing, ends of notes among it.
pub(crate) fn received(input: &str, bytes: &[u8]) -> Option<String> {
    let words = match decode(bytes).ok()? {
        Message::NoteOn { note, velocity, .. } => format!("note {}, velocity {}", named(note), u8::from(velocity)),
        Message::PolyPressure { note, value, .. } => format!("pressure {} on note {}", u8::from(value), named(note)),
        Message::Control { number, value, .. } => {
            let name = CONTROLLERS.iter().find(|(known, _)| *known == u8::from(number));
            let name = name.map_or_else(String::new, |(_, name)| format!(": {name}"));
            format!("control {} is {}{name}", u8::from(number), u8::from(value))
        }
        Message::Program { program, .. } => format!("program {}", from_one(program)),
        Message::Pressure { value, .. } => format!("pressure {}", u8::from(value)),
        Message::Bend { value, .. } => format!("pitch bend {}", i32::from(u16::from(value)) - 8192),
        Message::SongSelect(song) => format!("song select {}", from_one(song)),
        Message::Clock(status) => format!("clock {}", clock(status)?),
        Message::Exclusive(bytes) => match transport(bytes) {
            Some(word) => format!("transport {word}"),
            None => format!("a system exclusive message of {} bytes", bytes.len()),
        },
        Message::NoteOff { .. } | Message::SongPosition(_) | Message::Sensing | Message::Other(_) => return None,
    };
    let channel = crate::midi::words::channel(bytes).filter(|channel| *channel != 1);
    let channel = channel.map_or_else(String::new, |channel| format!(" (channel {channel})"));
    Some(format!("{input}: {words}{channel}"))
}

/// The line of a cue that fires on this message: `when = { input = "keyboard", control = 64 }`; none where no cue can.
pub(crate) fn trigger(input: &str, bytes: &[u8]) -> Option<String> {
    let event = match decode(bytes).ok()? {
        Message::NoteOn { note, .. } => format!("note = \"{}\"", named(note)),
        // From 120 on they are messages about the channel.
        Message::Control { number, .. } if u8::from(number) < 120 => format!("control = {}", u8::from(number)),
        Message::Program { program, .. } => format!("program = {}", from_one(program)),
        Message::SongSelect(song) => format!("song_select = {}", from_one(song)),
        Message::Clock(status) => format!("clock = \"{}\"", clock(status)?),
        Message::Exclusive(bytes) => format!("transport = \"{}\"", transport(bytes)?),
        _ => return None,
    };
    Some(format!("when = {{ input = {}, {event} }}", written(input)))
}

/// The lines of a gear file for an input that it does not have yet.
pub(crate) fn input_lines(name: &str, port: &str, serial: Option<&str>) -> String {
    let serial = serial.map_or_else(String::new, |serial| format!("\nserial = {}", written(serial)));
    format!("[inputs.{}]\nport = {}{serial}", toml_edit::Key::new(name), written(port))
}

/// A text as TOML writes it.
fn written(text: &str) -> String {
    Value::from(text).to_string()
}

fn named(key: Note) -> String {
    note::name(key, 4)
}

fn from_one(number: U7) -> u8 {
    u8::from(number) + 1
}

/// Start, continue and stop; a tick says nothing.
fn clock(status: u8) -> Option<&'static str> {
    match status {
        0xFA => Some("start"),
        0xFB => Some("continue"),
        0xFC => Some("stop"),
        _ => None,
    }
}

fn transport(bytes: &[u8]) -> Option<&'static str> {
    let command = machine_control::command(bytes)?;
    TRANSPORTS.iter().find(|(known, _)| *known == command).map(|(_, word)| *word)
}

/// A port that sends something has no input in the gear file.
pub(crate) fn not_in_the_gear(port: &str) -> String {
    format!("The gear file has no input for \"{port}\". It would be:")
}

/// There is nothing to listen to.
pub(crate) const NO_INPUTS: &str =
    "No input is connected at present: plug a keyboard in and try again; `handspan ports` shows what there is.";
/// Nothing is to be opened.
pub(crate) const NO_PORTS: &str =
    "Without ports nothing can arrive: leave --no-ports out. What you play on the page is told by the page itself.";
/// It goes on until it is ended.
pub(crate) const BEGINS: &str = "Play, press a pedal, send something. Ctrl-C ends it.";

/// Two ports that have the same name.
pub(crate) fn alike(port: &str) -> String {
    format!("Two ports are called \"{port}\" and cannot be told apart: neither is listened to. Take one out.")
}

/// What arrived is in the gear file already, and nothing is to be made of it.
pub(crate) fn known_already(input: &str) -> String {
    format!(
        "The gear file has {input} already. To have something done by what arrives: --write next-section, for example."
    )
}
