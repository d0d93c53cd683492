//! What a gear file holds.

use super::super::allowed::{CABLES, LETTERS_OF_PASSCODES};
use super::cue::CUE;
use super::curve::{CURVE, CURVE_OR_NAME};
use super::form::{BANK, CHANNEL, Field, Form, PROGRAM, RANGE, SEVEN_BITS, TEXT, Table, words};
use super::song::MIDDLE_C;

/// The whole file.
pub const GEAR: Table = Table {
    what: "the gear file",
    about: "The gear: inputs, outputs, sounds, curves, and cues that hold in every song.",
    fields: &[
        MIDDLE_C,
        Field::new(
            "gather_ms",
            Form::Number(0.0, 1000.0),
            "45",
            "Notes struck within this time of the first are struck together, in milliseconds; 45 unless given.",
        ),
        Field::new(
            "early_ms",
            Form::Number(0.0, 1000.0),
            "0",
            "Keys struck so shortly before a change also sound in the zones that are new, in milliseconds; 0 unless given.",
        ),
        Field::new(
            "reconnect",
            Form::Flag,
            "false",
            "Whether programs that were connected to our ports are connected again; true unless given.",
        ),
        Field::line(
            "inputs",
            Form::Named(&Form::Table(&INPUT)),
            "[inputs.keyboard]",
            "What is played on, each below a name of its own.",
        )
        .needed(),
        Field::line(
            "outputs",
            Form::Named(&Form::Table(&OUTPUT)),
            "[outputs.piano]",
            "Where messages go, each below a name of its own.",
        ),
        Field::line(
            "sounds",
            Form::Named(&Form::Table(&SOUND)),
            "[sounds.grand]",
            "Sounds by name: an output, a channel, and what is set up there.",
        ),
        Field::line("curves", Form::Named(&Form::Table(&CURVE)), "gentle = { lighter = 30 }", "Touch curves by name."),
        Field::line("stand", Form::Table(&STAND), "[stand]", "The page for a tablet or phone."),
        Field::line(
            "cue",
            Form::Tables(&CUE),
            "[[cue]]",
            "Pedals, keys and messages that do something to the set, in every song.",
        ),
    ],
    one_of: &[],
    needs: &[],
};

const INPUT: Table = Table {
    what: "an input",
    about: "A keyboard, pedals or another machine that is listened to.",
    fields: &[
        Field::new("port", TEXT, "\"stage piano\"", "A part of the port's name, any case.").needed(),
        Field::new(
            "serial",
            TEXT,
            "\"A12345\"",
            "The device's serial number, to tell two equal ones apart; `handspan ports` shows it.",
        ),
        Field::new("channel", CHANNEL, "1", "Only this channel is received; all unless given."),
        Field::new(
            "keys",
            RANGE,
            "[\"C3\", \"B5\"]",
            "The keys that it has, the lowest and the highest; all unless given.",
        ),
        Field::new(
            "curve",
            CURVE_OR_NAME,
            "{ lighter = 30 }",
            "What a touch counts on this keyboard: a curve or the name of one.",
        ),
        Field::new(
            "renumber",
            Form::NamedLike("^[0-9]{1,3}$", &SEVEN_BITS),
            "{ 7 = 11 }",
            "Controllers that count as others.",
        ),
        Field::new(
            "play",
            Form::Flag,
            "true",
            "Whether its keys sound; false for cues and pedals only. Must be given where there are several inputs.",
        ),
        Field::new("optional", Form::Flag, "true", "Whether it may be missing; false unless given."),
    ],
    one_of: &[],
    needs: &[],
};

const OUTPUT: Table = Table {
    what: "an output",
    about: "A port that messages are sent to: a new one that other programs see, or an existing one.",
    fields: &[
        Field::new("virtual", Form::Flag, "true", "Whether it is a port of handspan's own, which other programs see."),
        Field::new("port", TEXT, "\"stage piano\"", "A part of the name of an existing port, any case."),
        Field::new("optional", Form::Flag, "true", "Whether it may be missing; false unless given."),
        Field::new(
            "cable",
            Form::Words(&words(&CABLES)),
            "\"din\"",
            "What it hangs on, for the load that `handspan check` adds up; \"usb\" unless given.",
        ),
        Field::new(
            "pass_clock",
            Form::Flag,
            "true",
            "Whether clock, start, stop, continue and song position of inputs are passed on.",
        ),
        Field::new("send_clock", Form::Flag, "true", "Whether it gets a clock at the song's tempo."),
        Field::new("pass_sysex", Form::Flag, "true", "Whether system exclusive messages of inputs are passed on."),
    ],
    one_of: &[],
    needs: &[],
};

const SOUND: Table = Table {
    what: "a sound",
    about: "A sound: where it is, and what is set up there.",
    fields: &[
        Field::new("output", TEXT, "\"piano\"", "The output by its name.").needed(),
        Field::new("channel", CHANNEL, "1", "The channel, from 1.").needed(),
        Field::new("program", PROGRAM, "1", "The program, from 1 as on a front panel."),
        Field::new("bank", BANK, "[0, 0]", "The bank: controllers 0 and 32."),
        Field::new("volume", SEVEN_BITS, "100", "Controller 7."),
        Field::new("pan", SEVEN_BITS, "64", "Controller 10; 64 is the middle."),
        Field::new("label", TEXT, "\"desk 21-22\"", "What the desk calls it."),
    ],
    one_of: &[],
    needs: &[],
};

const STAND: Table = Table {
    what: "the stand",
    about: "The page for a tablet or phone.",
    fields: &[
        Field::new(
            "listen",
            TEXT,
            "\"127.0.0.1:7340\"",
            "The address with a port where the page is served, or \"off\"; an address in the network only with a passcode.",
        ),
        Field::new(
            "passcode",
            Form::Text(LETTERS_OF_PASSCODES),
            "\"snow on the weir\"",
            "Who knows it can control the set; 8 to 64 letters, not the example.",
        ),
        Field::new(
            "viewing_passcode",
            Form::Text(LETTERS_OF_PASSCODES),
            "\"lanterns\"",
            "Who knows it can view only; 8 to 64 letters, not the example.",
        ),
        Field::new(
            "input",
            TEXT,
            "\"keyboard\"",
            "The input that the page's keyboard plays as; the first that plays unless given.",
        ),
    ],
    one_of: &[],
    needs: &[],
};
