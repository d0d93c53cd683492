//! Numbers with a type of their own: a zone cannot be taken for a channel, nor a time for a count.

use std::ops::{Add, Sub};

use serde::{Deserialize, Serialize};

use crate::map;
use crate::music::Key;

/// A time of the performance or a duration, in microseconds (rule R20). Sums and differences stay within the range.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Micros(pub u64);

impl Micros {
    /// No time.
    pub const ZERO: Micros = Micros(0);

    /// So many milliseconds.
    #[must_use]
    pub const fn from_millis(millis: u64) -> Micros {
        Micros(millis.saturating_mul(1000))
    }
}

impl Add for Micros {
    type Output = Micros;

    fn add(self, other: Micros) -> Micros {
        Micros(self.0.saturating_add(other.0))
    }
}

impl Sub for Micros {
    type Output = Micros;

    fn sub(self, other: Micros) -> Micros {
        Micros(self.0.saturating_sub(other.0))
    }
}

macro_rules! ids {
    ($($(#[$doc:meta])* $visibility:vis $name:ident;)*) => {$(
        $(#[$doc])*
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
        #[serde(transparent)]
        $visibility struct $name(pub u16);

        impl $name {
            /// The index in its table.
            #[must_use]
            pub fn index(self) -> usize {
                usize::from(self.0)
            }
        }
    )*};
}

ids! {
    /// A cue of the plan: the gear's come first, then the songs'.
    pub CueId;
    /// A zone of the plan, over all songs.
    pub(super) ZoneId;
    /// A zone that follows chords, among those that do.
    pub(super) FollowerId;
    /// A channel of an output, as the plan numbers them over all outputs.
    pub(super) ChannelId;
    /// A send of the plan, over all songs and cues.
    pub(super) SendId;
    /// A key or controller that has cues.
    pub(super) DetectorId;
}

/// A key of a channel of an input.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct KeyId(u32);

impl KeyId {
    /// The key on `channel` (0 to 15) of an input.
    pub fn new(input: usize, channel: u8, key: u8) -> KeyId {
        KeyId(((input as u32 * 16 + u32::from(channel & 15)) << 7) | u32::from(key & 127))
    }

    /// The key with this index, see [`KeyId::index`].
    pub fn at(index: usize) -> KeyId {
        KeyId(index as u32)
    }

    /// The index in a table of all keys of all channels of all inputs.
    pub fn index(self) -> usize {
        self.0 as usize
    }

    /// Its input.
    pub fn input(self) -> usize {
        (self.0 >> 11) as usize
    }

    /// Its key number, 0 to 127.
    pub fn key(self) -> u8 {
        (self.0 & 127) as u8
    }
}

/// How many keys all channels of so many inputs have.
pub(super) fn key_count(inputs: usize) -> usize {
    inputs * 16 * 128
}

/// Something done to the set: songs and pauses by their index in it, names by their index among the plan's names of
/// sections or zones, a key in its usual spelling.
pub type Action = map::Action<usize, u16, Key>;

/// The zone that a note or a pressed key belongs to.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::engine) enum Source {
    /// A zone of the plan.
    Zone(ZoneId),
    /// A zone of an earlier plan that is no longer there, or plays otherwise now; it is in use no more.
    Gone(ZoneId),
    /// The drone.
    Drone,
}

impl Source {
    /// The zone, if the plan still has it.
    pub fn zone(self) -> Option<ZoneId> {
        match self {
            Source::Zone(zone) => Some(zone),
            Source::Gone(_) | Source::Drone => None,
        }
    }
}
