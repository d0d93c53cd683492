//! What the messages know about fields: an example of each, and which belong to a later version.

/// What to write for a field of a kind of table, as a whole line.
pub(super) fn example(home: &str, field: &str) -> String {
    match (home, field) {
        ("a zone", "controls") => {}
        (_, "controls") => return "controls = { 7 = 11 }".to_owned(),
        ("the drone", "octave") => return "octave = 3".to_owned(),
        ("the drone", "velocity") => return "velocity = 64".to_owned(),
        ("the stand", "plays") => return "plays = \"keyboard\"".to_owned(),
        ("an output", "tempo") => return "tempo = true".to_owned(),
        ("a cue", "key") => {}
        ("a cue" | "a cue's when", _) => {
            if let Some((_, value)) = OF_CUES.iter().find(|(name, _)| *name == field) {
                return format!("{field} = {value}");
            }
        }
        _ => {}
    }
    match EXAMPLES.iter().find(|(name, _)| *name == field) {
        Some((_, line)) if line.ends_with('\n') => line.trim_end().to_owned(),
        Some((_, value)) => format!("{field} = {value}"),
        None => format!("{field} = …"),
    }
}

/// A field in a sentence: `a title`, `an output`.
pub(super) fn a(field: &str) -> String {
    match field {
        "at" => "a moment: at".to_owned(),
        "to" => "an output: to".to_owned(),
        "gear" => "a gear file: gear".to_owned(),
        "do" => "an action: do".to_owned(),
        "when" => "an event that fires it: when".to_owned(),
        _ if field.starts_with(['a', 'e', 'i', 'o']) => format!("an {field}"),
        _ => format!("a {field}"),
    }
}

/// Whether a field of this kind of table is part of the format, but not of this version.
pub(super) fn comes_later(what: &str, field: &str) -> bool {
    LATER.iter().any(|(kind, fields)| *kind == what && fields.contains(&field))
}

const LATER: [(&str, &[&str]); 1] = [("the gear", &["latency"])];

/// Examples of fields that mean something else elsewhere.
const OF_CUES: &[(&str, &str)] = &[
    ("control", "67"),
    ("do", "\"next-section\""),
    ("hold", "true"),
    ("key", "\"C8\""),
    ("name", "\"talkback\""),
    ("off", "{ control = [80, 0], channel = 1 }"),
    ("press", "\"double\""),
    ("program", "5"),
    ("reversed", "true"),
    ("section", "\"Chorus\""),
    ("song", "\"First Snow\""),
    ("song_select", "4"),
    ("turn", "\"on\""),
    ("when", "{ input = \"keyboard\", control = 67 }"),
    ("zone", "\"bed\""),
];

/// An example of each field; one that ends in a newline is a line of its own.
const EXAMPLES: &[(&str, &str)] = &[
    ("after_ms", "500"),
    ("at", "\"enter\""),
    ("bank", "[0, 0]"),
    ("bend", "\"follow\""),
    ("bytes", "\"F0 7E 7F 06 01 F7\""),
    ("channel", "1"),
    ("chords", "\"D | A/C# | Bm | G\""),
    ("clock", "true"),
    ("comfortable", "[\"A3\", \"B4\"]"),
    ("control", "[7, 100]"),
    ("controls", "[1, 11]"),
    ("cue", "[[cue]]\n"),
    ("curve", "{ gamma = 0.7 }"),
    ("curves", "gentle = { gamma = 0.7 }\n"),
    ("degrees", "[1, 5]"),
    ("drone", "[drone]\n"),
    ("early_ms", "0"),
    ("fade_ms", "2000"),
    ("feet", "\"keyboard\""),
    ("fingers", "B = \"G/B\" below [fingers]\n"),
    ("fixed", "90"),
    ("follow_key", "true"),
    ("gamma", "0.7"),
    ("gather_ms", "45"),
    ("gear", "\"gear.toml\""),
    ("high", "127"),
    ("input", "\"keyboard\""),
    ("inputs", "[inputs.keyboard]\n"),
    ("key", "\"Eb\""),
    ("keys", "[\"C3\", \"B5\"]"),
    ("label", "\"desk 21-22\""),
    ("length_ms", "100"),
    ("level", "-6.0"),
    ("like", "\"Chorus\""),
    ("linger", "\"next\""),
    ("listen", "\"127.0.0.1:7340\""),
    ("locate", "\"00:01:30:00\""),
    ("low", "1"),
    ("map", "\"songs/first-snow.toml\""),
    ("melody_range", "[\"A3\", \"D5\"]"),
    ("message", "{ program = 5, channel = 1 }"),
    ("meter", "\"4/4\""),
    ("middle_c", "\"C4\""),
    ("min_keys", "3"),
    ("name", "\"Chorus\""),
    ("note", "[\"C1\", 100]"),
    ("number", "3"),
    ("octave", "-1"),
    ("on", "true"),
    ("one_key_chord", "true"),
    ("only", "true"),
    ("optional", "true"),
    ("order", "[\"Verse\", \"Chorus\"]"),
    ("output", "\"piano\""),
    ("outputs", "[outputs.piano]\n"),
    ("pan", "64"),
    ("passcode", "\"snow on the weir\""),
    ("pedal", "\"follow\""),
    ("play", "true"),
    ("plays", "\"root-fifth\""),
    ("play_in", "\"C\""),
    ("points", "[[1, 40], [64, 80], [127, 110]]"),
    ("port", "\"stage piano\""),
    ("program", "1"),
    ("range", "[\"G3\", \"D5\"]"),
    ("reconnect", "false"),
    ("remark", "\"she counts it in\""),
    ("sections", "[\"Chorus\"]"),
    ("serial", "\"A12345\""),
    ("singer", "\"guest\""),
    ("singers", "[singers.guest]\n"),
    ("song_select", "3"),
    ("sound", "\"grand\""),
    ("sounds", "[sounds.grand]\n"),
    ("stay_in_key", "\"nearest\""),
    ("sysex", "true"),
    ("tempo", "84"),
    ("title", "\"First Snow\""),
    ("to", "\"desk\""),
    ("transport", "\"play\""),
    ("transpose", "0"),
    ("velocity", "[1, 127]"),
    ("virtual", "true"),
    ("velocity_by", "\"handful\""),
    ("volume", "100"),
    ("way", "\"nearest\""),
    ("wire", "\"din\""),
    ("within", "[\"C3\", \"C4\"]"),
    ("zone", "[[zone]]\n"),
    ("section", "[[section]]\n"),
    ("send", "[[send]]\n"),
    ("song", "[[song]]\n"),
    ("stand", "[stand]\n"),
    ("viewing_passcode", "\"lanterns\""),
];
