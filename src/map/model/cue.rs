//! Cues as written: what the player or another machine does, and what that does to the set; and what is done on entering
//! and leaving.

use super::super::action::Action;
use super::{At, SendMessage, Spot};
use crate::midi::machine_control::Transport;
use crate::midi::{Channel, U7};
use crate::music::Key;

/// A pedal, spare key or message that does something to the set (rule R19).
#[derive(Debug, Clone, PartialEq)]
pub struct Cue {
    /// The whole cue, for findings about it.
    pub spot: Spot,
    /// What fires it.
    pub when: When,
    /// What it does.
    pub does: Does,
    /// What is shown while it is on; only where there is an `off`.
    pub name: Option<String>,
    /// What ends it again; only with [`Does::Send`].
    pub off: Option<Off>,
    /// Which of the two messages is how the other machine is left alone; only with `off`.
    pub rest: Option<Rest>,
    /// Whether `off` is said at the release, not at the second press; only with `off`, and with a key or controller
    /// whose press is [`Press::Single`].
    pub while_down: bool,
}

/// What fires a cue.
#[derive(Debug, Clone, PartialEq)]
pub struct When {
    /// The input that it comes from.
    pub input: At<String>,
    /// What comes.
    pub trigger: Trigger,
}

impl When {
    /// Whether both are the same event, wherever they are written: then a song's cue replaces the gear's.
    #[must_use]
    pub fn is_same(&self, other: &When) -> bool {
        self.input.value == other.input.value && self.trigger == other.trigger
    }
}

/// The event that fires a cue. Where a channel is `None`, every one that the input hears counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Trigger {
    /// A key, or a note of a cue channel.
    Key {
        /// The key.
        key: u8,
        /// Its channel.
        channel: Option<Channel>,
        /// How it is pressed.
        press: Press,
    },
    /// A controller or pedal.
    Control {
        /// The controller, after the input's `renumber`; below 120.
        number: U7,
        /// Its channel.
        channel: Option<Channel>,
        /// How it is pressed.
        press: Press,
        /// Whether it rests at 127.
        reversed: bool,
    },
    /// A Program Change.
    Program {
        /// The program, from 0 as on the wire; `None`: any.
        program: Option<U7>,
        /// Its channel.
        channel: Option<Channel>,
    },
    /// A Song Select with this number, from 0 as on the wire; `None`: any.
    SongSelect(Option<U7>),
    /// A clock message.
    Clock(ClockCommand),
    /// A MIDI Machine Control command: [`Transport::Play`] or [`Transport::Stop`].
    Transport(Transport),
}

impl Trigger {
    /// How it is pressed, where it is a key or controller.
    #[must_use]
    pub fn press(self) -> Option<Press> {
        match self {
            Trigger::Key { press, .. } | Trigger::Control { press, .. } => Some(press),
            _ => None,
        }
    }

    /// The channel that it must come on, where it names one.
    #[must_use]
    pub fn channel(self) -> Option<Channel> {
        match self {
            Trigger::Key { channel, .. } | Trigger::Control { channel, .. } | Trigger::Program { channel, .. } => {
                channel
            }
            _ => None,
        }
    }
}

/// How a key or pedal is pressed (rule R19).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Press {
    /// Once.
    #[default]
    Single,
    /// Twice within 400 ms.
    Double,
    /// Held down for 700 ms.
    Long,
    /// Down or up: for pedals that stay down.
    Either,
}

/// A clock message that fires a cue.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ClockCommand {
    /// From the beginning.
    Start,
    /// Stop.
    Stop,
    /// On from where it stopped.
    Continue,
}

/// What a cue does.
#[derive(Debug, Clone, PartialEq)]
pub enum Does {
    /// Something to the set.
    Act(WrittenAction),
    /// A message to an output.
    Send {
        /// The output.
        to: At<String>,
        /// What is said.
        message: SendMessage,
    },
}

/// Something that is done on entering or leaving a song, a section or a pause (rule R8).
#[derive(Debug, Clone, PartialEq)]
pub struct Deed {
    /// Where it stands, for findings about it.
    pub spot: Spot,
    /// A message, a zone or the drone turned on or off, or a fade.
    pub does: Does,
    /// How long after the moment a message is sent, in microseconds.
    pub after: u64,
}

/// An action as a cue or a list of deeds has it.
pub type WrittenAction = Action<SongChoice, At<String>, At<Key>>;

/// Which song or pause of the set a cue means.
#[derive(Debug, Clone, PartialEq)]
pub enum SongChoice {
    /// The first with this title tonight; upper and lower case are the same.
    Titled(At<String>),
    /// The one with this number, 1–128.
    Number(At<u8>),
    /// The one with the number that came in, the wire's value plus 1; only where the trigger takes any Program Change
    /// or any Song Select.
    Received,
}

/// Which message of a cue with two is its rest.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Rest {
    /// What ends it.
    Off,
    /// What it sends first else.
    On,
}

/// What ends a cue that is on: said to the output of the cue's own send.
#[derive(Debug, Clone, PartialEq)]
pub struct Off {
    /// What is said.
    pub message: SendMessage,
}
