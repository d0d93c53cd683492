//! What is under the hand: keys that are down, the chord that they make, the notes that sound.

use serde::Serialize;

use super::song::keys_of;
use crate::daemon::state::playing;
use crate::daemon::{Show, Sight};
use crate::engine::{Keys, Standing};
use crate::music::chord;
use crate::music::chord::Named;

/// What is under the hand.
#[derive(Debug, PartialEq, Serialize)]
pub(in crate::stand) struct Hand {
    pub now: u64,
    /// Keys that are down, for each input.
    down: Vec<Vec<u8>>,
    chord: Option<ChordFrame>,
    /// What sounds: number of the output from 0, channel from 1, notes.
    notes: Vec<(usize, u8, Vec<u8>)>,
}

#[derive(Debug, PartialEq, Serialize)]
struct ChordFrame {
    fingers: String,
    room: String,
}

impl Hand {
    /// What can be seen now.
    pub fn of(sight: &Sight, show: &Show, standing: &Standing, now: u64) -> Hand {
        let inputs = 0..show.plan.inputs();
        let together = inputs.clone().fold(0, |keys, input| keys | sight.keys_down(input));
        let places = (0..show.plan.outputs()).flat_map(|output| (0..16).map(move |channel| (output, channel)));
        let sounding = places.map(|(output, channel)| (output, channel + 1, keys(sight.notes(output, channel))));
        Hand {
            now,
            down: inputs.map(|input| keys(sight.keys_down(input))).collect(),
            chord: chord::name(together).and_then(|named| spelled(named, show, standing)),
            notes: sounding.filter(|(_, _, notes)| !notes.is_empty()).collect(),
        }
    }
}

/// The chord in the key of the fingers and in the one that the room hears.
fn spelled(named: Named, show: &Show, standing: &Standing) -> Option<ChordFrame> {
    let (entry, song) = playing(show, standing)?;
    let (fingers, room) = keys_of(&Keys::of(&show.book, entry, song), standing);
    let lifted = |class: u8| (i32::from(class) + standing.shift).rem_euclid(12) as u8;
    let heard = Named { root: lifted(named.root), bass: lifted(named.bass), kind: named.kind };
    Some(ChordFrame { fingers: named.spelled(fingers).to_string(), room: heard.spelled(room).to_string() })
}

fn keys(set: u128) -> Vec<u8> {
    (0..128).filter(|key| set & 1 << key != 0).collect()
}
