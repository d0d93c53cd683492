//! What a song's map holds.

use super::super::allowed::{FOLLOW, LINGER, MIDDLE_CS, PEDALS, PLAYS, SHIFTS, STAY_IN_KEY, VELOCITY_BY};
use super::cue::{CUE, DEEDS};
use super::curve::CURVE_OR_NAME;
use super::form::{Field, Form, KEY, LONG_TEXT, PARTS, PLAY_IN, RANGE, SEVEN_BITS, TEXT, Table, words};

const FADE: Form = Form::Number(0.0, 60_000.0);
const TEMPO: Form = Form::Number(10.0, 400.0);
const VELOCITY: Form = Form::Whole(1, 127);

/// How a file counts its octaves.
pub const MIDDLE_C: Field = Field::new(
    "middle_c",
    Form::Words(&words(&MIDDLE_CS)),
    "\"C4\"",
    "What this file calls middle C, the note 60; \"C4\" unless given.",
);
/// Which way the shift goes.
pub const SHIFT: Field = Field::new(
    "shift",
    Form::Words(&words(&SHIFTS)),
    "\"nearest\"",
    "Which way the shift from the fingers' key to the room's goes.",
);
/// Sections in their order.
pub const ORDER: Field = Field::new(
    "order",
    Form::List(&TEXT, 1),
    "[\"Verse\", \"Chorus\"]",
    "The sections as they come; as in the song's file unless given.",
);

/// A word to the player.
pub const REMARK: Field = Field::new("remark", LONG_TEXT, "\"she counts it in\"", "A word to the player.");

/// The whole file.
pub const SONG: Table = Table {
    what: "the song",
    about: "A song: its keys, its zones, its sections, and what is done as it is entered.",
    fields: &[
        MIDDLE_C,
        REMARK,
        Field::new("title", TEXT, "\"First Snow\"", "Its title.").needed(),
        Field::new("key", KEY, "\"Eb\"", "The chart's key: what is printed.").needed(),
        Field::new(
            "play_in",
            PLAY_IN,
            "\"C\"",
            "The fingers' key; the chart's unless given. \"room\": the fingers play in the room's key.",
        ),
        SHIFT,
        Field::new("tempo", TEMPO, "84", "Beats a minute."),
        Field::new(
            "meter",
            Form::Pattern("^\\+?0*([1-9]|[12][0-9]|3[0-2])/\\+?0*(1|2|4|8|16|32)$"),
            "\"4/4\"",
            "Beats of a bar, and their note value.",
        ),
        Field::new("number", Form::Whole(1, 128), "3", "The number by which other machines choose it."),
        Field::new(
            "melody_range",
            RANGE,
            "[\"A3\", \"D5\"]",
            "The lowest and the highest note of the melody, in the chart's key: [\"A3\", \"D5\"] is one that goes from A3 to D5.",
        ),
        ORDER,
        Field::new("on_entering", DEEDS, "[\"zone bed on\", \"drone off\"]", "What is done as it is entered."),
        Field::new("on_leaving", DEEDS, "[\"fade 3000\"]", "What is done as it is left."),
        Field::line("zone", Form::Tables(&ZONE), "[[zone]]", "Keys that play a sound."),
        Field::line("section", Form::Tables(&SECTION), "[[section]]", "A part of the song."),
        Field::line(
            "fingers",
            Form::NamedLike("^[A-G][#b]?$", &PARTS),
            "B = \"G/B\" below [fingers]",
            "Keys that play another chord where one key plays a chord.",
        ),
        Field::line("drone", Form::Table(&DRONE), "[drone]", "What goes on sounding by itself."),
        Field::line("cue", Form::Tables(&CUE), "[[cue]]", "Cues in use in this song only."),
    ],
    one_of: &[],
    needs: &[],
};

const ZONE: Table = Table {
    what: "a zone",
    about: "Keys that play a sound.",
    fields: &[
        Field::new("name", TEXT, "\"Chorus\"", "Its name; the sound's unless given."),
        Field::new("sound", TEXT, "\"grand\"", "The sound by its name.").needed(),
        Field::new("input", TEXT, "\"keyboard\"", "The input that it listens to; every one that plays unless given."),
        Field::new(
            "pedals_from",
            TEXT,
            "\"keyboard\"",
            "The input whose pedals and controllers it follows; its own unless given.",
        ),
        Field::new("keys", RANGE, "[\"C3\", \"B5\"]", "Its lowest and its highest key, as pressed; all unless given."),
        Field::new(
            "velocity",
            Form::Pair(&VELOCITY, &VELOCITY),
            "[1, 127]",
            "The softest and the hardest touch that it plays, after the input's curve.",
        ),
        Field::new(
            "velocity_by",
            Form::Words(&words(&VELOCITY_BY)),
            "\"handful\"",
            "Whether each note counts by itself, or one lets in all that are struck together.",
        ),
        Field::new("exclusive", Form::Flag, "true", "Whether keys that it takes go to no later zone."),
        Field::new(
            "curve",
            CURVE_OR_NAME,
            "{ lighter = 30 }",
            "What a touch counts in it: a curve or the name of one.",
        ),
        Field::new("level", Form::Number(-60.0, 24.0), "-6.0", "How much softer or louder, in dB, by velocity."),
        Field::new("volume", SEVEN_BITS, "100", "Controller 7 in this song; the sound's unless given."),
        Field::new("transpose", Form::Whole(-127, 127), "0", "Semitones up."),
        Field::new("octave", Form::Whole(-10, 10), "-1", "Octaves up."),
        Field::new(
            "follow_key",
            Form::Flag,
            "true",
            "Whether the shift moves it; false for drum sounds and trigger notes.",
        ),
        Field::new(
            "within",
            RANGE,
            "[\"C3\", \"C4\"]",
            "The range into which its notes are brought by octaves, twelve notes or wider.",
        ),
        Field::new(
            "sections",
            Form::List(&TEXT, 1),
            "[\"Chorus\"]",
            "The sections in which it plays; all unless given.",
        ),
        Field::new(
            "plays",
            Form::Words(&words(&PLAYS)),
            "\"root-fifth\"",
            "Its keys as pressed, or notes that are made of all of them.",
        ),
        Field::new("min_keys", Form::Whole(1, 10), "3", "So many keys make a chord, where notes are made of all keys."),
        Field::new(
            "linger",
            Form::Words(&words(&LINGER)),
            "\"next\"",
            "Whether notes stay when the hand lifts: until the next handful, or until the key is struck again.",
        ),
        Field::new(
            "stay_in_key",
            Form::Words(&words(&STAY_IN_KEY)),
            "\"nearest\"",
            "What becomes of a key that does not fit.",
        ),
        Field::new("one_key_chord", Form::Flag, "true", "Whether one key plays the chord that belongs there."),
        Field::new("pedal", Form::Words(&words(&PEDALS)), "\"follow\"", "What it does with pedals."),
        Field::new(
            "controls",
            Form::Either(&[Form::Words(&words(&FOLLOW)), Form::List(&SEVEN_BITS, 0)]),
            "[1, 11]",
            "All other controllers, none, or a list.",
        ),
        Field::new(
            "bend",
            Form::Words(&words(&FOLLOW)),
            "\"follow\"",
            "Whether pitch bend and pressure are passed on.",
        ),
        Field::new("on", Form::Flag, "true", "Whether it is on as the song is entered."),
        Field::new("fade_ms", FADE, "2000", "How long held notes take to fade out, in milliseconds; 0 unless given."),
    ],
    one_of: &[],
    needs: &[],
};

const SECTION: Table = Table {
    what: "a section",
    about: "A part of the song.",
    fields: &[
        Field::new("name", TEXT, "\"Chorus\"", "Its name.").needed(),
        Field::new(
            "like",
            TEXT,
            "\"Chorus\"",
            "Another section, whose zones it has too, and its chords unless it has its own.",
        ),
        Field::new("key", KEY, "\"Eb\"", "The key from here on, in the chart's terms."),
        Field::new("chords", PARTS, "\"D | A/C# | Bm | G\"", "Its chords, in the chart's key, bars between |."),
        REMARK,
        Field::new("tempo", TEMPO, "84", "Beats a minute from here on; the song's unless given."),
        Field::new(
            "curve",
            CURVE_OR_NAME,
            "{ lighter = 30 }",
            "What a touch counts in it: a curve or the name of one.",
        ),
        Field::new("on_entering", DEEDS, "[\"zone bed on\", \"drone off\"]", "What is done as it is entered."),
    ],
    one_of: &[],
    needs: &[],
};

const DRONE: Table = Table {
    what: "the drone",
    about: "What goes on sounding by itself: degrees of the room's key.",
    fields: &[
        Field::new("sound", TEXT, "\"grand\"", "The sound by its name.").needed(),
        Field::new("degrees", Form::List(&Form::Whole(1, 7), 1), "[1, 5]", "Degrees of the key, from 1.").needed(),
        Field::new("octave", Form::Whole(-1, 8), "3", "The octave in which the tonic lies.").needed(),
        Field::new("velocity", VELOCITY, "64", "How hard it is struck; 64 unless given."),
        Field::new("fade_ms", FADE, "2000", "How long it takes to end, in milliseconds; 0 unless given."),
    ],
    one_of: &[],
    needs: &[],
};
