//! What inputs receive, in the player's words, and how a cue of the maps is written that fires on it.

use toml_edit::Value;

use crate::map::{Gear, Input};
use crate::midi::{Channel, Message, Note, U7, decode, machine_control};
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

/// How the messages of an input are heard.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Hearing {
    /// The only channel that it receives, where one is given.
    pub channel: Option<Channel>,
    /// Controllers that count as others: (from, to).
    pub renumber: Vec<(U7, U7)>,
    /// The octave of middle C in the gear file.
    pub middle_c: i32,
}

impl Hearing {
    /// How an input of the gear is heard.
    pub(crate) fn of(gear: &Gear, input: &Input) -> Hearing {
        Hearing { channel: input.channel, renumber: input.renumber.clone(), middle_c: gear.middle_c }
    }

    /// The controller that this one counts as.
    fn counts_as(&self, number: U7) -> U7 {
        self.renumber.iter().find(|(from, _)| *from == number).map_or(number, |(_, to)| *to)
    }

    /// Whether something on this channel, from 1, is received.
    fn receives(&self, channel: u8) -> bool {
        self.channel.is_none_or(|only| only.index() + 1 == channel)
    }
}

/// What a player calls a controller, where it has a name: `the left pedal`.
pub(crate) fn controller(number: U7) -> Option<&'static str> {
    CONTROLLERS.iter().find(|(known, _)| *known == u8::from(number)).map(|(_, name)| *name)
}

/// A message of an input in a line: `keyboard: control 64 is 127: the right pedal`. None for what comes all the time and
/// says nothing, ends of notes among it.
pub(crate) fn received(input: &str, bytes: &[u8], hearing: &Hearing) -> Option<String> {
    let named = |key: Note| note::name(key, hearing.middle_c);
    let words = match decode(bytes).ok()? {
        Message::NoteOn { note, velocity, .. } => format!("note {}, velocity {}", named(note), u8::from(velocity)),
        Message::PolyPressure { note, value, .. } => format!("pressure {} on note {}", u8::from(value), named(note)),
        Message::Control { number, value, .. } => {
            let name = controller(number).map_or_else(String::new, |name| format!(": {name}"));
            let counts_as = hearing.counts_as(number);
            let counts_as =
                if counts_as == number { String::new() } else { format!(", counts as {}", u8::from(counts_as)) };
            format!("control {} is {}{name}{counts_as}", u8::from(number), u8::from(value))
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
    let channel = match crate::midi::words::channel(bytes) {
        Some(channel) if !hearing.receives(channel) => {
            format!(" (channel {channel}, which this input does not receive)")
        }
        None | Some(1) => String::new(),
        Some(channel) => format!(" (channel {channel})"),
    };
    Some(format!("{input}: {words}{channel}"))
}

/// The line of a cue that fires on this message: `when = { input = "keyboard", control = 64 }`; none where no cue can.
pub(crate) fn trigger(input: &str, bytes: &[u8], hearing: &Hearing) -> Option<String> {
    if crate::midi::words::channel(bytes).is_some_and(|channel| !hearing.receives(channel)) {
        return None;
    }
    let event = match decode(bytes).ok()? {
        // By number: the line may go into a song's map, which counts octaves by itself.
        Message::NoteOn { note, .. } => format!("note = {}", u8::from(note)),
        // From 120 on they are messages about the channel.
        Message::Control { number, .. } if u8::from(number) < 120 => {
            format!("control = {}", u8::from(hearing.counts_as(number)))
        }
        Message::Program { program, .. } => format!("program = {}", from_one(program)),
        Message::SongSelect(song) => format!("song_select = {}", from_one(song)),
        Message::Clock(status) => format!("clock = \"{}\"", clock(status)?),
        Message::Exclusive(bytes) => format!("transport = \"{}\"", transport(bytes)?),
        _ => return None,
    };
    Some(format!("when = {{ input = {}, {event} }}", toml_text(input)))
}

/// The lines of a gear file for an input that it does not have yet.
pub(crate) fn input_lines(name: &str, port: &str, serial: Option<&str>) -> String {
    let serial = serial.map_or_else(String::new, |serial| format!("\nserial = {}", toml_text(serial)));
    format!("[inputs.{}]\nport = {}{serial}", toml_edit::Key::new(name), toml_text(port))
}

/// A text as TOML writes it.
pub(crate) fn toml_text(text: &str) -> String {
    Value::from(text).to_string()
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

/// The gear file was saved meanwhile, and its inputs are not what is listened to.
pub(crate) fn other_inputs(gear: &str) -> String {
    format!("{gear} has other inputs now than when listening began: start it again.")
}

/// What arrived is in the gear file already, and nothing is to be made of it.
pub(crate) fn known_already(input: &str) -> String {
    format!(
        "The gear file has {input} already. To have something done by what arrives: --write next-section, for example."
    )
}
