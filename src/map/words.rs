//! Words of the maps that were called otherwise, and fields that belong to a later version.

/// What a word of the maps is called that was called otherwise, by the table or field that it belongs to.
pub(super) fn renamed(home: &str, old: &str) -> Option<&'static str> {
    let known = RENAMED.iter().find(|(homes, known, _)| *known == old && homes.contains(&home));
    known.map(|(_, _, new)| *new)
}

/// Tables or fields, an old word in them, and the word that stands for it now.
const RENAMED: &[(&[&str], &str, &str)] = &[
    (&["a curve"], "gamma", "lighter"),
    (&["a curve"], "fixed", "always"),
    (&["a zone"], "only", "exclusive"),
    (&["a zone"], "feet", "pedals_from"),
    (&["a zone", "an input"], "range", "keys"),
    (&["a singer"], "keys", "range"),
    (&["the song", "an entry of the set"], "way", "shift"),
    (&["the song"], "send", "on_entering"),
    (&["an input"], "controls", "renumber"),
    (&["an output"], "clock", "pass_clock"),
    (&["an output"], "sysex", "pass_sysex"),
    (&["an output"], "tempo", "send_clock"),
    (&["an output"], "wire", "cable"),
    (&["the stand"], "plays", "input"),
    (&["\"when\""], "key", "note"),
    (&["a cue"], "turn", "state"),
    (&["a cue"], "hold", "while_down"),
    (&["play_in"], "sounding", "room"),
    (&["do"], "send-again", "resend-messages"),
    (&["do"], "resend", "resend-sounds"),
];

/// Whether a field of this kind of table is part of the format, but not of this version.
pub(super) fn comes_later(what: &str, field: &str) -> bool {
    LATER.iter().any(|(kind, fields)| *kind == what && fields.contains(&field))
}

const LATER: [(&str, &[&str]); 1] = [("the gear file", &["latency"])];
