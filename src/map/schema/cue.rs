//! What cues and messages to other machines hold.

use super::super::action::WORDS;
use super::super::allowed::{CLOCK, CLOCKS, MACHINE_CONTROL, PRESSES, RESTS, SEND, TRANSPORTS};
use super::form::{BANK, CHANNEL, Field, Form, KEY, NOTE, PARTS, PROGRAM, SEVEN_BITS, TEXT, Table, words};

/// How late a message may be sent, in milliseconds: ten minutes.
const LATEST: f64 = 600_000.0;
/// Pairs of hexadecimal digits with spaces between.
const HEXADECIMAL: Form = Form::Pattern("^\\s*([0-9A-Fa-f]{2}\\s+)*[0-9A-Fa-f]{2}\\s*$");
/// Any number of a program or song, or one.
const ANY_OR_ONE: Form = Form::Either(&[PROGRAM, Form::Words(&["any"])]);

/// A cue.
pub const CUE: Table = Table {
    what: "a cue",
    about: "A pedal, a spare key or a message that does something to the set.",
    fields: &[
        Field::new("when", Form::Table(&WHEN), "{ input = \"keyboard\", control = 67 }", "What fires it.").needed(),
        Field::new(
            "do",
            Form::Either(&[Form::Words(&WORDS), Form::Words(&[SEND])]),
            "\"next-section\"",
            "What it does.",
        )
        .needed(),
        Field::new(
            "song",
            Form::Either(&[TEXT, PROGRAM]),
            "\"First Snow\"",
            "The song: tonight's title, its number, or \"received\", the number that came in.",
        ),
        Field::new("section", TEXT, "\"Chorus\"", "The section by its name."),
        Field::new("key", KEY, "\"Eb\"", "The room's key."),
        Field::new("zone", TEXT, "\"bed\"", "The zones of this name."),
        Field::new(
            "state",
            Form::Words(&["on", "off"]),
            "\"on\"",
            "Whether the zone or the drone is turned on or off; the other way unless given.",
        ),
        Field::new(
            "fade_ms",
            Form::Number(0.0, 60_000.0),
            "2000",
            "How long the held notes take to fade out, in milliseconds; 2000 unless given.",
        ),
        Field::new("to", TEXT, "\"desk\"", "The output that the message goes to."),
        Field::new("message", Form::Table(&MESSAGE), "{ program = 5, channel = 1 }", "What is sent."),
        Field::new("name", TEXT, "\"talkback\"", "What is shown while it is on."),
        Field::new(
            "off",
            Form::Table(&MESSAGE),
            "{ control = [80, 0], channel = 1 }",
            "A second message, sent at every second press.",
        ),
        Field::new(
            "rest",
            Form::Words(&words(&RESTS)),
            "\"off\"",
            "Which of the two messages is sent at the start, a panic, a lost cable and the end.",
        ),
        Field::new("while_down", Form::Flag, "true", "Whether off is sent as the key or pedal comes up."),
    ],
    one_of: &[],
    needs: &[],
};

const WHEN: Table = Table {
    what: "\"when\"",
    about: "An input and one event of it.",
    fields: &[
        Field::new("input", TEXT, "\"keyboard\"", "The input by its name.").needed(),
        Field::new("note", NOTE, "\"C8\"", "A key that is struck, or the note of another machine."),
        Field::new("control", Form::Whole(0, 119), "67", "A controller that rises through 64."),
        Field::new("program", ANY_OR_ONE, "5", "A Program Change from 1, or \"any\"."),
        Field::new("song_select", ANY_OR_ONE, "4", "A Song Select from 1, or \"any\"."),
        Field::new("clock", Form::Words(&words(&CLOCKS)), "\"start\"", "A command of a clock."),
        Field::new("transport", Form::Words(&words(&TRANSPORTS)), "\"play\"", "A command of MIDI Machine Control."),
        Field::new("channel", CHANNEL, "1", "Only on this channel, with a note, controller or program."),
        Field::new(
            "press",
            Form::Words(&words(&PRESSES)),
            "\"double\"",
            "How a key or pedal is pressed; \"single\" unless given.",
        ),
        Field::new("reversed", Form::Flag, "true", "Whether the pedal rests at 127."),
    ],
    one_of: &["note", "control", "program", "song_select", "clock", "transport"],
    needs: &[],
};

/// A message to another machine.
pub const MESSAGE: Table = Table {
    what: "a message",
    about: "A message to another machine: exactly one thing to send.",
    fields: &[
        Field::new("program", PROGRAM, "5", "A Program Change, from 1 as on a front panel."),
        Field::new("control", Form::Pair(&SEVEN_BITS, &SEVEN_BITS), "[7, 100]", "A controller and its value."),
        Field::new(
            "note",
            Form::Pair(&NOTE, &Form::Whole(1, 127)),
            "[\"C1\", 100]",
            "A note and its velocity; it ends by itself.",
        ),
        Field::new(
            "transport",
            Form::Words(&words(&MACHINE_CONTROL)),
            "\"play\"",
            "A command of MIDI Machine Control.",
        ),
        Field::new(
            "locate",
            Form::Pattern("^[0-9]{1,2}:[0-9]{1,2}:[0-9]{1,2}:[0-9]{1,2}$"),
            "\"00:01:30:00\"",
            "A place to go to: hours, minutes, seconds and frames at 24 a second.",
        ),
        Field::new("clock", Form::Words(&words(&CLOCK)), "\"start\"", "A command of a clock."),
        Field::new("song_select", PROGRAM, "3", "A Song Select, from 1."),
        Field::new("bytes", HEXADECIMAL, "\"F0 7E 7F 06 01 F7\"", "One whole system message in hexadecimal, F0 to F7."),
        Field::new("channel", CHANNEL, "1", "The channel of a program, controller or note, from 1."),
        Field::new("bank", BANK, "[0, 0]", "The bank of a program: controllers 0 and 32."),
        Field::new(
            "length_ms",
            Form::Number(1.0, LATEST),
            "100",
            "How long a note lasts, in milliseconds; 100 unless given.",
        ),
    ],
    one_of: &["program", "control", "note", "transport", "locate", "clock", "song_select", "bytes"],
    needs: &[("program", "channel"), ("control", "channel"), ("note", "channel")],
};

/// A message that is sent on entering or leaving.
const SENT: Table = Table {
    what: "what is sent",
    about: "A message, with the output that it goes to.",
    fields: &[
        Field::new("to", TEXT, "\"desk\"", "The output by its name.").needed(),
        Field::new("message", Form::Table(&MESSAGE), "{ program = 5, channel = 1 }", "What is sent.").needed(),
        Field::new(
            "after_ms",
            Form::Number(0.0, LATEST),
            "500",
            "How long afterwards, in milliseconds; 0 unless given.",
        ),
    ],
    one_of: &[],
    needs: &[],
};

/// A list of what is done on entering or leaving.
pub const DEEDS: Form = Form::List(&Form::Either(&[PARTS, Form::Table(&SENT)]), 0);
