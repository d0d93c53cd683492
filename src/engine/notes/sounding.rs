//! What a drone sounds as (rule R14).

use crate::engine::ids::ChannelId;
use crate::engine::plan::PlanDrone;
use crate::music::scale;

/// What the drone sounds as.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(in crate::engine) struct Sounding {
    pub(super) drone: PlanDrone,
    pub(super) tonic: u8,
    pub(super) minor: bool,
}

impl Sounding {
    /// The notes of its degrees, upward; `None` for one outside 0–127.
    pub(super) fn notes(self) -> impl Iterator<Item = Option<u8>> {
        let Sounding { drone, tonic, minor } = self;
        let degrees = (1..=7).filter(move |degree| drone.degrees & 1 << (degree - 1) != 0);
        degrees.map(move |degree| {
            let note = drone.octave + i32::from(tonic) + i32::from(scale::step(minor, degree));
            u8::try_from(note).ok().filter(|note| *note < 128)
        })
    }

    /// The same drone after a saved map, where a channel may have another number.
    pub fn at_channel(self, channel: impl Fn(ChannelId) -> ChannelId) -> Sounding {
        Sounding { drone: PlanDrone { channel: channel(self.drone.channel), ..self.drone }, ..self }
    }
}
