//! What a set holds.

use super::super::allowed::VOICES;
use super::cue::DEEDS;
use super::form::{Field, Form, KEY, LONG_TEXT, PLAY_IN, RANGE, TEXT, Table, words};
use super::song::{MIDDLE_C, ORDER, REMARK, SHIFT};

/// The whole file.
pub const SET: Table = Table {
    what: "the set",
    about: "Tonight: its gear, its singers, and its songs in order.",
    fields: &[
        MIDDLE_C,
        Field::new("title", TEXT, "\"First Snow\"", "What the evening is called.").needed(),
        Field::new("gear", LONG_TEXT, "\"gear.toml\"", "The gear file, by its path from this file.").needed(),
        Field::new("play_in", PLAY_IN, "\"C\"", "The fingers' key of all songs that say nothing else."),
        REMARK,
        Field::line("singers", Form::Named(&Form::Table(&SINGER)), "[singers.guest]", "Who sings, each below a name."),
        Field::line("song", Form::Tables(&ENTRY), "[[song]]", "The songs and pauses in order.").needed(),
    ],
    one_of: &[],
    needs: &[],
};

const SINGER: Table = Table {
    what: "a singer",
    about: "A voice.",
    fields: &[
        Field::new("name", TEXT, "\"Our guest\"", "What the singer is called; the name above unless given."),
        Field::new("range", RANGE, "[\"G3\", \"D5\"]", "The lowest and the highest note that can be sung."),
        Field::new(
            "voice",
            Form::Words(&words(&VOICES)),
            "\"alto\"",
            "The kind of voice, whose usual range it is, where nobody has asked the singer yet.",
        ),
        Field::new(
            "comfortable",
            RANGE,
            "[\"A3\", \"B4\"]",
            "The lowest and the highest note that are sung with ease.",
        ),
    ],
    one_of: &["range", "voice"],
    needs: &[],
};

const ENTRY: Table = Table {
    what: "an entry of the set",
    about: "A song of tonight, or a pause where there is no map.",
    fields: &[
        Field::new(
            "map",
            LONG_TEXT,
            "\"songs/first-snow.toml\"",
            "The song's file, by its path from this file; none for a pause.",
        ),
        Field::new("title", TEXT, "\"First Snow\"", "Tonight's title; the song's unless given."),
        Field::new("key", KEY, "\"Eb\"", "The room's key; the chart's unless given."),
        Field::new("play_in", PLAY_IN, "\"C\"", "The fingers' key, instead of the song's."),
        SHIFT,
        ORDER,
        Field::new(
            "singer",
            Form::Either(&[TEXT, Form::List(&TEXT, 1)]),
            "\"guest\"",
            "Who sings: a singer, or a list of several.",
        ),
        REMARK,
        Field::new(
            "on_entering",
            DEEDS,
            "[\"zone bed on\", \"drone off\"]",
            "What is done as it is entered, after the song's own list.",
        ),
    ],
    one_of: &[],
    needs: &[],
};
