//! What every field of every map takes.

use serde_json::{Value, json};

use super::shape::{Field, Home, Shape};
use Shape::{
    Action, Either, Flag, Form, Key, List, Named, NamedValues, Note, Number, Parts, Row, Table, Text, Whole, Words,
};

/// The most letters of a title or a name,
pub(super) const NAME: usize = 200;
/// and of a remark or a path.
const REMARK: usize = 1_000;

const TITLE: Shape = Text(NAME);
const BITS: Shape = Whole(0, 127);
const CHANNEL: Shape = Whole(1, 16);
const PROGRAM: Shape = Whole(1, 128);
const RANGE: Shape = Row(&[Note, Note]);
const BANK: Shape = Row(&[BITS, BITS]);
const FADE: Shape = Number(0.0, 60_000.0);
const CURVE: Shape = Either(&[TITLE, Table("a curve")]);
const PLAY_IN: Shape = Either(&[Words(&["room"]), Key]);
const SHIFT: Shape = Words(&["nearest", "up", "down"]);
const MIDDLE_C: Shape = Words(&["C3", "C4", "C5"]);
const STATE: Shape = Words(&["on", "off"]);
const NAMES: Shape = List(&TITLE, 1);

const fn field(name: &'static str, takes: Shape, about: &'static str) -> Field {
    Field { name, takes, needed: false, about }
}

const fn needed(name: &'static str, takes: Shape, about: &'static str) -> Field {
    Field { name, takes, needed: true, about }
}

/// All kinds of table.
pub(super) const ALL: &[Home] = &[
    ("the gear file", GEAR),
    ("an input", INPUT),
    ("an output", OUTPUT),
    ("a sound", SOUND),
    ("a curve", BENT),
    ("the stand", STAND),
    ("a cue", CUE),
    ("\"when\"", WHEN),
    ("a message", MESSAGE),
    ("the song", SONG),
    ("a zone", ZONE),
    ("a section", SECTION),
    ("the drone", DRONE),
    ("a send", SEND),
    ("the set", SET),
    ("a singer", SINGER),
    ("an entry of the set", ENTRY),
];

const GEAR: &[Field] = &[
    field("middle_c", MIDDLE_C, "How this file calls the note 60."),
    field("gather_ms", Number(0.0, 1000.0), "Notes struck within this time of the first are struck together."),
    field(
        "early_ms",
        Number(0.0, 1000.0),
        "Keys struck so shortly before a change also sound in the zones that are new.",
    ),
    field("reconnect", Flag, "Whether programs that were connected to our ports are connected again."),
    field("inputs", Named("an input"), "What is played on; the names are yours."),
    field("outputs", Named("an output"), "Where it goes; the names are yours."),
    field("sounds", Named("a sound"), "The sounds; the names are yours."),
    field("curves", NamedValues(&Table("a curve")), "Touch; the names are yours."),
    field("stand", Table("the stand"), "The page for a tablet or phone."),
    field(
        "cue",
        List(&Table("a cue"), 0),
        "A pedal, a spare key or a message that does something to the set, in every song.",
    ),
];

const INPUT: &[Field] = &[
    needed("port", TITLE, "Part of the port's name, any case."),
    field("serial", TITLE, "To tell two equal keyboards apart."),
    field("channel", CHANNEL, "Only this channel is received."),
    field("keys", RANGE, "The keys that it has."),
    field("curve", CURVE, "This keyboard under this hand."),
    field("renumber", NamedValues(&BITS), "Controllers that count as others."),
    field("play", Flag, "Whether its keys play; must be written where there are several inputs."),
    field("optional", Flag, "No complaint when it is not connected."),
];

const OUTPUT: &[Field] = &[
    field("virtual", Flag, "A port of our own that other programs connect to."),
    field("port", TITLE, "Part of an existing port's name, any case."),
    field("optional", Flag, "No complaint when it is not connected."),
    field("cable", Words(&["din", "usb"]), "How fast its cable is."),
    field("pass_clock", Flag, "Passes on real-time clock from inputs."),
    field("send_clock", Flag, "Sends our own clock; not with pass_clock."),
    field("pass_sysex", Flag, "Passes on system exclusive messages from inputs."),
];

const SOUND: &[Field] = &[
    needed("output", TITLE, "The output that leads to it."),
    needed("channel", CHANNEL, "Its channel."),
    field("program", PROGRAM, "Its program, counted from 1."),
    field("bank", BANK, "Controllers 0 and 32."),
    field("volume", BITS, "Controller 7."),
    field("pan", BITS, "Controller 10."),
    field("label", TITLE, "What the desk calls it."),
];

const BENT: &[Field] = &[
    field("lighter", Whole(0, 100), "A soft touch counts more."),
    field("heavier", Whole(0, 100), "A soft touch counts less."),
    field("points", List(&Row(&[Number(1.0, 127.0), Number(1.0, 127.0)]), 2), "A rising curve through these points."),
    field("always", Number(1.0, 127.0), "The same for every touch."),
    field("low", Number(1.0, 127.0), "What the softest touch counts."),
    field("high", Number(1.0, 127.0), "What the hardest touch counts."),
];

const STAND: &[Field] = &[
    field("listen", TITLE, "Address and port, or off; in the network only with a passcode."),
    field("passcode", Text(64), "Who knows it can control the set."),
    field("viewing_passcode", Text(64), "Who knows it can view only."),
    field("input", TITLE, "The input that the page's keyboard plays as."),
];

const CUE: &[Field] = &[
    needed("when", Table("\"when\""), "What fires it."),
    needed("do", Action, "What it does."),
    field("song", Either(&[TITLE, Whole(1, 128)]), "A title, a number, or the number that was received."),
    field("section", TITLE, "Where section goes."),
    field("key", Key, "The room's key."),
    field("zone", TITLE, "The zones that are turned."),
    field("state", STATE, "On or off, instead of the other way."),
    field("fade_ms", FADE, "How long held notes take to fade out."),
    field("to", TITLE, "The output that gets the message."),
    field("message", Table("a message"), "What is sent."),
    field("off", Table("a message"), "What is sent at every second press."),
    field("while_down", Flag, "Sends off as the key or pedal comes up."),
    field("name", TITLE, "What is shown while it is on."),
];

const WHEN: &[Field] = &[
    needed("input", TITLE, "The input that is listened to."),
    field("note", Note, "As this key is struck."),
    field("control", Whole(0, 119), "As this controller rises through 64."),
    field("program", Either(&[Words(&["any"]), PROGRAM]), "On a Program Change."),
    field("song_select", Either(&[Words(&["any"]), PROGRAM]), "On a Song Select."),
    field("clock", Words(&["start", "stop", "continue"]), "On the clock's start, stop or continue."),
    field("transport", Words(&["play", "stop"]), "On MIDI Machine Control's play or stop."),
    field("channel", CHANNEL, "Only on this channel."),
    field("press", Words(&["single", "double", "long", "either"]), "How it is pressed."),
    field("reversed", Flag, "A pedal that rests at 127."),
];

const MESSAGE: &[Field] = &[
    field("program", PROGRAM, "A Program Change."),
    field("control", Row(&[BITS, BITS]), "A controller and its value."),
    field("note", Row(&[Note, Whole(1, 127)]), "A note and its velocity."),
    field("transport", Words(&["stop", "play", "pause", "record", "rewind", "forward"]), "MIDI Machine Control."),
    field("locate", Form(r"^\S+$"), "Hours, minutes, seconds and frames."),
    field("clock", Words(&["start", "continue", "stop"]), "The clock's start, stop or continue."),
    field("song_select", PROGRAM, "A Song Select."),
    field("bytes", Parts, "A whole system message in hexadecimal digits."),
    field("channel", CHANNEL, "The channel of a program, control or note."),
    field("bank", BANK, "Before the program: controllers 0 and 32."),
    field("length_ms", Number(1.0, 600_000.0), "How long the note is."),
];

const SONG: &[Field] = &[
    field("middle_c", MIDDLE_C, "How this file calls the note 60."),
    needed("title", TITLE, "Its title."),
    needed("key", Key, "The chart's key."),
    field("play_in", PLAY_IN, "The fingers' key, or room."),
    field("shift", SHIFT, "Which way the shift goes."),
    field("tempo", Number(10.0, 400.0), "Quarter notes a minute."),
    field("meter", Form("^\\+?[0-9]+/\\+?[0-9]+$"), "Beats and their note value."),
    field("number", PROGRAM, "By which other machines choose it."),
    field("melody_range", RANGE, "Lowest and highest melody note, in the chart's key."),
    field("order", NAMES, "The sections in the order in which they are played."),
    field("zone", List(&Table("a zone"), 0), "Keys that play a sound."),
    field("section", List(&Table("a section"), 0), "A part of the song."),
    field("fingers", NamedValues(&TITLE), "What a key plays instead where one key plays a chord."),
    field("drone", Table("the drone"), "What goes on by itself."),
    field("send", List(&Table("a send"), 0), "What is sent to other machines."),
    field("cue", List(&Table("a cue"), 0), "A cue in this song only."),
];

const ZONE: &[Field] = &[
    field("name", TITLE, "Its name; the sound's if none."),
    needed("sound", TITLE, "The sound that it plays."),
    field("input", TITLE, "The input that it listens to; every one that plays if none."),
    field("pedals_from", TITLE, "Whose pedals and controllers it follows."),
    field("keys", RANGE, "Its keys, as pressed."),
    field("velocity", Row(&[Whole(1, 127), Whole(1, 127)]), "Its window of velocities."),
    field(
        "velocity_by",
        Words(&["note", "handful"]),
        "Whether one note in the window lets in all that are struck with it.",
    ),
    field("exclusive", Flag, "Keys that it takes go to no later zone."),
    field("curve", CURVE, "Its touch."),
    field("level", Number(-60.0, 24.0), "In dB, by velocity."),
    field("volume", BITS, "Controller 7 in this song."),
    field("transpose", Whole(-127, 127), "Semitones."),
    field("octave", Whole(-10, 10), "Octaves."),
    field("follow_key", Flag, "Whether the shift moves it."),
    field("within", RANGE, "The range into which its notes are brought by octaves."),
    field("sections", NAMES, "The sections in which it plays."),
    field(
        "plays",
        Words(&["as-pressed", "root", "root-fifth", "chord", "lowest", "highest"]),
        "Which notes it makes of its keys.",
    ),
    field("min_keys", Whole(1, 10), "So many keys make a chord."),
    field("linger", Words(&["off", "next", "toggle"]), "Whether its notes stay after the keys come up."),
    field("stay_in_key", Words(&["off", "nearest", "silent"]), "What becomes of keys that do not fit."),
    field("one_key_chord", Flag, "One key plays the chord that belongs there."),
    field("pedal", Words(&["follow", "ignore", "switch"]), "Its pedals."),
    field("controls", Either(&[Words(&["follow", "ignore"]), List(&BITS, 0)]), "Its other controllers."),
    field("bend", Words(&["follow", "ignore"]), "Pitch bend and pressure."),
    field("on", Flag, "Whether it is on when the song is entered."),
    field("fade_ms", FADE, "How long held notes take to fade out."),
];

const SECTION: &[Field] = &[
    needed("name", TITLE, "Its name."),
    field("like", TITLE, "It has the zones of that section too, and its chords unless it has its own."),
    field("key", Key, "From here on, in the chart's terms."),
    field("chords", Parts, "Bars of chords, in the chart's key."),
    field("remark", Text(REMARK), "What is shown with it."),
];

const DRONE: &[Field] = &[
    needed("sound", TITLE, "The sound that it plays."),
    needed("degrees", List(&Whole(1, 7), 1), "Degrees of the room's key."),
    needed("octave", Whole(-1, 8), "The one in which the tonic lies."),
    field("velocity", Whole(1, 127), "How hard it is struck."),
    field("fade_ms", FADE, "How long it takes to fade out."),
];

const SEND: &[Field] = &[
    needed("at", TITLE, "enter, leave, or a section's name."),
    needed("to", TITLE, "The output that gets it."),
    field("after_ms", Number(0.0, 600_000.0), "How long after the moment."),
    needed("message", Table("a message"), "What is sent."),
];

const SET: &[Field] = &[
    field("middle_c", MIDDLE_C, "How this file calls the note 60."),
    needed("title", TITLE, "The title of the evening."),
    needed("gear", Text(REMARK), "The gear file, beside this one."),
    field("play_in", PLAY_IN, "The fingers' key of all songs that say nothing else."),
    field("singers", Named("a singer"), "Who sings; the names are yours."),
    needed("song", List(&Table("an entry of the set"), 1), "The songs and pauses, in order."),
];

const SINGER: &[Field] =
    &[needed("range", RANGE, "Lowest and highest note."), field("comfortable", RANGE, "Where it is comfortable.")];

const ENTRY: &[Field] = &[
    field("map", Text(REMARK), "The song's file, beside this one; none for a pause."),
    field("title", TITLE, "Its title tonight."),
    field("key", Key, "The room's key."),
    field("play_in", PLAY_IN, "The fingers' key, or room."),
    field("shift", SHIFT, "Which way the shift goes."),
    field("order", NAMES, "The sections in tonight's order."),
    field("singer", TITLE, "Who sings it."),
    field("remark", Text(REMARK), "What is shown with it."),
];

/// Which fields of a table go together; an object to be added to its schema.
pub(super) fn together(home: &str) -> Value {
    let one_of = |names: &[&str]| -> Vec<Value> { names.iter().map(|name| json!({ "required": [name] })).collect() };
    match home {
        "a curve" => json!({ "oneOf": one_of(&["lighter", "heavier", "points", "always"]) }),
        "\"when\"" => json!({ "oneOf": one_of(&["note", "control", "program", "song_select", "clock", "transport"]) }),
        "a message" => {
            let forms = ["program", "control", "note", "transport", "locate", "clock", "song_select", "bytes"];
            let channel = json!({
                "if": { "anyOf": one_of(&["program", "control", "note"]) },
                "then": { "required": ["channel"] },
                "else": { "properties": { "channel": false } },
            });
            json!({ "oneOf": one_of(&forms), "allOf": [channel] })
        }
        "an output" => json!({
            "if": { "required": ["virtual"], "properties": { "virtual": { "const": true } } },
            "then": { "properties": { "port": false } },
            "else": { "required": ["port"] },
        }),
        "an entry of the set" => json!({
            "if": { "required": ["map"] },
            "else": {
                "required": ["title"],
                "properties": { "key": false, "play_in": false, "shift": false, "order": false, "singer": false },
            },
        }),
        _ => json!({}),
    }
}
