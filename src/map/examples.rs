//! An example of each field, for the messages.

/// What to write for a field of a kind of table, as a whole line.
pub(super) fn example(home: &str, field: &str) -> String {
    match (home, field) {
        ("the drone", "octave") => return "octave = 3".to_owned(),
        ("the drone", "velocity") => return "velocity = 64".to_owned(),
        ("a cue" | "\"when\"", _) => {
            if let Some((_, value)) = OF_CUES.iter().find(|(name, _)| *name == field) {
                return format!("{field} = {value}");
            }
        }
        _ => {}
    }
    match EXAMPLES.iter().chain(super::zone::EXAMPLES).chain(super::send::EXAMPLES).find(|(name, _)| *name == field) {
        Some((_, line)) if line.ends_with('\n') => line.trim_end().to_owned(),
        Some((_, value)) => format!("{field} = {value}"),
        None => format!("{field} = …"),
    }
}

/// Whether some kind of table has a field of this name.
pub(super) fn is_field(name: &str) -> bool {
    let all = EXAMPLES.iter().chain(super::zone::EXAMPLES).chain(super::send::EXAMPLES).chain(OF_CUES);
    all.into_iter().any(|(field, _)| *field == name)
}

/// Examples of fields that mean something else elsewhere.
const OF_CUES: &[(&str, &str)] = &[
    ("control", "67"),
    ("do", "\"next-section\""),
    ("name", "\"talkback\""),
    ("note", "\"C8\""),
    ("off", "{ control = [80, 0], channel = 1 }"),
    ("press", "\"double\""),
    ("program", "5"),
    ("reversed", "true"),
    ("section", "\"Chorus\""),
    ("song", "\"First Snow\""),
    ("song_select", "4"),
    ("state", "\"on\""),
    ("when", "{ input = \"keyboard\", control = 67 }"),
    ("while_down", "true"),
    ("zone", "\"bed\""),
];

/// An example of each field; one that ends in a newline is a line of its own.
const EXAMPLES: &[(&str, &str)] = &[
    ("after_ms", "500"),
    ("always", "90"),
    ("at", "\"enter\""),
    ("bank", "[0, 0]"),
    ("cable", "\"din\""),
    ("channel", "1"),
    ("chords", "\"D | A/C# | Bm | G\""),
    ("comfortable", "[\"A3\", \"B4\"]"),
    ("cue", "[[cue]]\n"),
    ("curve", "{ lighter = 30 }"),
    ("curves", "gentle = { lighter = 30 }\n"),
    ("degrees", "[1, 5]"),
    ("drone", "[drone]\n"),
    ("early_ms", "0"),
    ("fade_ms", "2000"),
    ("fingers", "B = \"G/B\" below [fingers]\n"),
    ("gather_ms", "45"),
    ("gear", "\"gear.toml\""),
    ("heavier", "30"),
    ("high", "127"),
    ("input", "\"keyboard\""),
    ("inputs", "[inputs.keyboard]\n"),
    ("key", "\"Eb\""),
    ("keys", "[\"C3\", \"B5\"]"),
    ("label", "\"desk 21-22\""),
    ("lighter", "30"),
    ("like", "\"Chorus\""),
    ("listen", "\"127.0.0.1:7340\""),
    ("low", "1"),
    ("map", "\"songs/first-snow.toml\""),
    ("melody_range", "[\"A3\", \"D5\"]"),
    ("message", "{ program = 5, channel = 1 }"),
    ("meter", "\"4/4\""),
    ("middle_c", "\"C4\""),
    ("name", "\"Chorus\""),
    ("number", "3"),
    ("optional", "true"),
    ("order", "[\"Verse\", \"Chorus\"]"),
    ("output", "\"piano\""),
    ("outputs", "[outputs.piano]\n"),
    ("pan", "64"),
    ("pass_clock", "true"),
    ("pass_sysex", "true"),
    ("passcode", "\"snow on the weir\""),
    ("play", "true"),
    ("play_in", "\"C\""),
    ("points", "[[1, 40], [64, 80], [127, 110]]"),
    ("port", "\"stage piano\""),
    ("program", "1"),
    ("range", "[\"G3\", \"D5\"]"),
    ("reconnect", "false"),
    ("remark", "\"she counts it in\""),
    ("renumber", "{ 7 = 11 }"),
    ("send_clock", "true"),
    ("serial", "\"A12345\""),
    ("shift", "\"nearest\""),
    ("singer", "\"guest\""),
    ("singers", "[singers.guest]\n"),
    ("sound", "\"grand\""),
    ("sounds", "[sounds.grand]\n"),
    ("tempo", "84"),
    ("title", "\"First Snow\""),
    ("to", "\"desk\""),
    ("velocity", "[1, 127]"),
    ("virtual", "true"),
    ("volume", "100"),
    ("zone", "[[zone]]\n"),
    ("section", "[[section]]\n"),
    ("send", "[[send]]\n"),
    ("song", "[[song]]\n"),
    ("stand", "[stand]\n"),
    ("viewing_passcode", "\"lanterns\""),
];
