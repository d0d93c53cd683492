//! What fields allow: the words that they take, each with what it stands for, and how long a text may be. The reader and
//! the schema share it.

use super::{Cable, ClockCommand, Linger, Pedal, Plays, Press, Rest, ShiftWay, StayInKey};
use crate::midi::machine_control::Transport;
use crate::music::VoiceType;

impl Linger {
    /// The word for it in the maps.
    #[must_use]
    pub fn word(self) -> &'static str {
        LINGER.iter().find(|(_, linger)| *linger == self).map_or("", |(word, _)| word)
    }
}

/// The most letters of a title or a name: what a page may ask for by its name.
pub(super) const LETTERS: usize = 200;
/// The most letters of a remark or a path.
pub(super) const LETTERS_OF_REMARKS: usize = 1_000;
/// The most letters of a passcode: nobody types more.
pub(super) const LETTERS_OF_PASSCODES: usize = 64;
/// What a cue can do besides the actions.
pub(super) const SEND: &str = "send";

/// Which notes a zone makes of its keys.
pub(super) const PLAYS: [(&str, Plays); 6] = [
    ("as-pressed", Plays::AsPressed),
    ("root", Plays::Root),
    ("root-fifth", Plays::RootFifth),
    ("chord", Plays::Chord),
    ("lowest", Plays::Lowest),
    ("highest", Plays::Highest),
];

/// Whether its notes stay.
pub(super) const LINGER: [(&str, Linger); 3] =
    [("off", Linger::Off), ("next", Linger::Next), ("toggle", Linger::Toggle)];

/// What becomes of a key that does not fit.
pub(super) const STAY_IN_KEY: [(&str, StayInKey); 3] =
    [("off", StayInKey::Off), ("nearest", StayInKey::Nearest), ("silent", StayInKey::Silent)];

/// Kinds of voices.
pub(super) const VOICES: [(&str, VoiceType); 6] = {
    let [soprano, mezzo, alto, tenor, baritone, bass] = VoiceType::ALL;
    [
        (soprano.name(), soprano),
        (mezzo.name(), mezzo),
        (alto.name(), alto),
        (tenor.name(), tenor),
        (baritone.name(), baritone),
        (bass.name(), bass),
    ]
};

/// What a zone does with pedals.
pub(super) const PEDALS: [(&str, Pedal); 3] =
    [("follow", Pedal::Follow), ("ignore", Pedal::Ignore), ("switch", Pedal::Switch)];

/// Whether one note in the window of velocities lets in all that are struck with it.
pub(super) const VELOCITY_BY: [(&str, bool); 2] = [("note", false), ("handful", true)];

/// Whether something is passed on.
pub(super) const FOLLOW: [(&str, bool); 2] = [("follow", true), ("ignore", false)];

/// The octave of middle C in a file that calls it so.
#[must_use]
pub fn octave_of_middle_c(name: &str) -> Option<i32> {
    MIDDLE_CS.iter().find(|(known, _)| *known == name).map(|(_, octave)| *octave)
}

/// What middle C may be called, with the number of its octave.
pub(super) const MIDDLE_CS: [(&str, i32); 3] = [("C3", 3), ("C4", 4), ("C5", 5)];

/// Which way the shift goes.
pub(super) const SHIFTS: [(&str, ShiftWay); 3] =
    [("nearest", ShiftWay::Nearest), ("up", ShiftWay::Up), ("down", ShiftWay::Down)];

/// What an output hangs on.
pub(super) const CABLES: [(&str, Cable); 2] = [("din", Cable::Din), ("usb", Cable::Usb)];

/// Commands of a clock: MIDI 1.0 Detailed Specification 4.2.1 p. 30.
pub(super) const CLOCK: [(&str, u8); 3] = [("start", 0xFA), ("continue", 0xFB), ("stop", 0xFC)];

/// Commands of machine control that can be sent.
pub(super) const MACHINE_CONTROL: [(&str, Transport); 6] = [
    ("stop", Transport::Stop),
    ("play", Transport::Play),
    ("pause", Transport::Pause),
    ("record", Transport::Record),
    ("rewind", Transport::Rewind),
    ("forward", Transport::Forward),
];

/// How a key or pedal is pressed.
pub(super) const PRESSES: [(&str, Press); 4] =
    [("single", Press::Single), ("double", Press::Double), ("long", Press::Long), ("either", Press::Either)];

/// Commands of a clock that can fire a cue.
pub(super) const CLOCKS: [(&str, ClockCommand); 3] =
    [("start", ClockCommand::Start), ("stop", ClockCommand::Stop), ("continue", ClockCommand::Continue)];

/// Commands of machine control that can fire a cue.
pub(super) const TRANSPORTS: [(&str, Transport); 2] = [("play", Transport::Play), ("stop", Transport::Stop)];

/// Which message of a cue is its rest.
pub(super) const RESTS: [(&str, Rest); 2] = [("off", Rest::Off), ("on", Rest::On)];
