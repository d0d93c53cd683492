//! What is played: the songs of the demo set in the keys that the fingers play in, and the evening's order.

/// A song as it is played.
pub struct Piece {
    /// Its map's name in `maps/songs`, and its take's.
    pub stem: &'static str,
    /// Its place in the set `maps/midwinter.toml`, from 1.
    pub place: u32,
    /// The key that the fingers play in.
    pub key: &'static str,
    /// Quarter notes a minute.
    pub tempo: u32,
    /// Beats of a bar and their note value.
    pub meter: [u8; 2],
    /// What the left hand does.
    pub left: Left,
    /// A key of the map's own that is struck at the beginning of some sections: section and key number.
    pub signal: Option<(&'static str, u8)>,
    /// Its sections in the order in which they are played.
    pub sections: &'static [Section],
}

/// What the left hand does.
pub enum Left {
    /// Chords in close position.
    Chords,
    /// One note of the chord after another.
    Broken,
    /// One bass note a beat, below C3.
    Bass,
    /// One hand plays everything: a rolled chord, and a melody above it while it is held.
    OneHand,
    /// One key a chord, struck again in the middle of the bar.
    OneFinger,
}

/// A section as it is played.
pub struct Section {
    /// Its name in the map.
    pub name: &'static str,
    /// A chord a bar, as the fingers grip them.
    pub chords: &'static str,
    /// How hard it is played, as a velocity.
    pub loud: u8,
    /// What somebody asks for at the beginning of a bar, counted from 0; the number of bars is the section's end.
    pub does: Option<(usize, &'static str)>,
    /// The right hand sweeps over the topmost keys in the last bar.
    pub sweep: bool,
}

/// A song or pause of the evening.
pub struct Entry {
    /// Its place in the set, from 1.
    pub place: u32,
    /// What is played.
    pub piece: &'static Piece,
    /// Another order than the piece's own.
    pub sections: &'static [Section],
    /// A key that somebody asks for at the beginning of the last section, as the room hears it.
    pub wish: Option<&'static str>,
    /// How long nothing is played afterwards, in bars.
    pub rest: u64,
}

/// A section as it is usually played.
pub const fn section(name: &'static str, loud: u8, chords: &'static str) -> Section {
    Section { name, chords, loud, does: None, sweep: false }
}

/// A song of the set.
pub const WEIR_GATE: Piece = Piece {
    stem: "weir-gate",
    place: 1,
    key: "C",
    tempo: 84,
    meter: [4, 4],
    left: Left::Chords,
    signal: None,
    sections: &[
        section("Verse", 62, "C | G/B | Am | F | C | Em | Dm7 | G"),
        section("Chorus", 76, "F | G | Em | Am | F | C/E | Gsus4 | C"),
    ],
};

/// A song of the set.
pub const FROST: Piece = Piece {
    stem: "frost-on-the-window",
    place: 2,
    key: "C",
    tempo: 72,
    meter: [4, 4],
    left: Left::OneHand,
    signal: None,
    sections: &[
        section("Verse", 56, "C | G/B | Am | G"),
        section("Chorus", 68, "F | C/E | Dm7 | G"),
        Section { does: Some((2, "do fade")), ..section("Ending", 50, "F | C") },
    ],
};

const CANDLE: Piece = Piece {
    stem: "candle-by-candle",
    place: 3,
    key: "C",
    tempo: 66,
    meter: [3, 4],
    left: Left::Broken,
    signal: None,
    sections: &[
        section("Verse", 54, "C | Am | F | G7"),
        section("Chorus", 68, "F | C/E | Dm7 | G"),
        section("Verse", 56, "C | Am | Dm | G7"),
        section("Chorus", 70, "F | C/E | Dm7 | G"),
        section("Ending", 48, "F | C"),
    ],
};

const WELCOME: &[Section] = &[section("Welcome", 40, "C | F | C | F | Dm7 | C")];

const MILLER: Piece = Piece {
    stem: "millers-lantern",
    place: 5,
    key: "C",
    tempo: 112,
    meter: [2, 4],
    left: Left::Bass,
    signal: None,
    sections: &[
        section("Verse", 72, "C | C | F | C | C | Am | D7 | G | C | C | F | C | Am | Dm | G7 | C"),
        section("Refrain", 86, "F | F | C | C | G | G7 | C | C7 | F | F | C | Am | Dm | G7 | C | C"),
    ],
};

const NINE_BELLS: Piece = Piece {
    stem: "nine-bells",
    place: 6,
    key: "G",
    tempo: 96,
    meter: [6, 8],
    left: Left::Broken,
    signal: Some(("Bells", 106)),
    sections: &[
        section("Bells", 84, "G | D/F# | Em | C"),
        section("Verse", 64, "G | C | G | D | Em | C | D7 | G"),
        section("Bells", 88, "G | D/F# | Em | C"),
        section("Verse", 66, "Em | C | G | D | Em | Am7 | D7 | G"),
        section("Bells", 92, "G | D/F# | C | G"),
    ],
};

const LONG_NIGHT: Piece = Piece {
    stem: "long-night-round",
    place: 7,
    key: "Am",
    tempo: 72,
    meter: [4, 4],
    left: Left::Chords,
    signal: Some(("Round", 33)),
    sections: &[
        section("Round", 60, "Am | Dm | Em | Am"),
        section("All voices", 74, "F | G | Am | E7"),
        section("Round", 66, "Am | Dm | Em | Am"),
        section("Last time", 84, "F | G | E7 | Am"),
    ],
};

const FERRY: Piece = Piece {
    stem: "ferry-at-first-light",
    place: 8,
    key: "C",
    tempo: 80,
    meter: [3, 4],
    left: Left::Chords,
    signal: None,
    sections: &[
        section("Hymn", 62, "C | F/C | G7/B | C | Am | Dm | G | C"),
        Section { does: Some((2, "do drone")), ..section("Amen", 54, "F | C | F/C | C") },
    ],
};

const LULLABY: Piece = Piece {
    stem: "lamplighters-lullaby",
    place: 10,
    key: "C",
    tempo: 88,
    meter: [4, 4],
    left: Left::OneFinger,
    signal: None,
    sections: &[
        section("Verse", 58, "C | G/B | Am | F | C/E | Dm | G | C"),
        Section { sweep: true, ..section("Chorus", 70, "F | C/E | D7/F# | G") },
        Section { does: Some((4, "do fade")), ..section("Verse", 52, "C | G/B | F | C") },
    ],
};

/// A song of the set.
pub const CARRY: Piece = Piece {
    stem: "carry-the-light",
    place: 11,
    key: "C",
    tempo: 76,
    meter: [4, 4],
    left: Left::Chords,
    signal: Some(("Intro", 21)),
    sections: &[
        section("Intro", 50, "Cmaj7 | Fmaj7"),
        section("Verse", 60, "C | Am7 | F | G"),
        section("Chorus", 74, "F | G | Am | F"),
        section("Verse", 62, "C | G"),
        section("Chorus", 78, "F | G"),
        section("Last chorus", 90, "F | G | Am7 | C"),
    ],
};

const HOME: Piece = Piece {
    stem: "home-before-the-thaw",
    place: 12,
    key: "A",
    tempo: 132,
    meter: [4, 4],
    left: Left::Broken,
    signal: None,
    sections: &[
        section("Verse", 70, "A | A | D | A | F#m | D | Bm7 | E"),
        section("Chorus", 88, "D | E | C#m | F#m | D | A | E7 | A"),
        section("Verse", 72, "A | F#m | D | E"),
        section("Chorus", 92, "D | E | F#m | D"),
        section("Chorus", 96, "D | E7 | A | A"),
    ],
};

const ENCORE: &[Section] = &[
    section("Chorus", 66, "F | G | Em | Am | F | C/E | Gsus4 | C"),
    section("Chorus", 82, "F | G | Em | Am | F | C/E | Gsus4 | C"),
];

/// The songs, in the set's order.
pub const PIECES: [&Piece; 10] =
    [&WEIR_GATE, &FROST, &CANDLE, &MILLER, &NINE_BELLS, &LONG_NIGHT, &FERRY, &LULLABY, &CARRY, &HOME];

/// The whole evening.
pub const EVENING: [Entry; 13] = [
    entry(1, &WEIR_GATE, WEIR_GATE.sections),
    entry(2, &FROST, FROST.sections),
    entry(3, &CANDLE, CANDLE.sections),
    // In the pause the keys go on playing the song before.
    entry(4, &CANDLE, WELCOME),
    entry(5, &MILLER, MILLER.sections),
    Entry { wish: Some("Ab"), ..entry(6, &NINE_BELLS, NINE_BELLS.sections) },
    entry(7, &LONG_NIGHT, LONG_NIGHT.sections),
    entry(8, &FERRY, FERRY.sections),
    // Somebody reads; only the drone goes on.
    Entry { rest: 4, ..entry(9, &FERRY, &[]) },
    entry(10, &LULLABY, LULLABY.sections),
    entry(11, &CARRY, CARRY.sections),
    Entry { wish: Some("Bb"), ..entry(12, &HOME, HOME.sections) },
    Entry { wish: Some("Eb"), ..entry(13, &WEIR_GATE, ENCORE) },
];

/// An entry as its song is usually played.
pub const fn entry(place: u32, piece: &'static Piece, sections: &'static [Section]) -> Entry {
    Entry { place, piece, sections, wish: None, rest: 1 }
}
