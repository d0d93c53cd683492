//! The words that handspan's docs, page, paper and terminal use in a sense of their own.

/// A word, and what it means here.
pub(crate) const WORDS: &[(&str, &str)] = &[
    (
        "room",
        "The key that is heard tonight, as in \"room F, fingers C, +5\". It is a song's `key` in the set, else its chart's \
         key, and it can be changed while you play.",
    ),
    (
        "fingers",
        "The key that you play in: `play_in` of a song. What you play is moved to the room's key by the shift between both.",
    ),
    ("chart's key", "The key that is printed: `key` of a song's file. Its chords are written in it."),
    (
        "shift",
        "How far what the fingers play is moved for the room, in semitones: 5 up from C to F. `shift` chooses the way.",
    ),
    (
        "handful",
        "Notes struck together: all within 45 milliseconds of the first, unless `gather_ms` says otherwise; a roll goes on \
         with it.",
    ),
    (
        "zone",
        "A stretch of keys with a sound. Zones may lie side by side, which is a split, or over each other, a layer.",
    ),
    (
        "held notes",
        "Notes that sound without a finger on their key: by `linger`, by a chord that is held, or by the drone.",
    ),
    ("drone", "Notes that sound until they are turned off, such as tonic and fifth; they move with the room's key."),
    ("cue", "A pedal, a spare key or a message that does something to the set instead of sounding."),
    ("gear", "What stands on the stage and does not change with the song: inputs, outputs and sounds, in one file."),
    ("set", "The evening: its songs and pauses in order, with tonight's keys and singers, in one file."),
    ("position", "A song's place in the set, counted from 1."),
    ("step", "A section's place in tonight's order of a song, counted from 1."),
    ("take", "A standard MIDI file of what the hand played, with the outputs' messages beside it."),
    ("stand", "The page for the tablet or phone on the music stand."),
    (
        "panic",
        "All notes off on every output, pedals up, drone off. The song, its section and its keys stay as they are.",
    ),
    ("line up", "To choose the song that `next-song` will enter, once, whatever the order of the set."),
    ("level", "How much louder or softer a zone is, in decibels: by velocity, 6 dB more is 1.4 times as much."),
    (
        "optional",
        "That an input or output may be missing: tonight begins without it, and it is used as soon as it comes.",
    ),
];
