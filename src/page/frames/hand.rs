//! What is under the hand: keys that are down, the chord that they make, the notes that sound.

use serde::Serialize;

use crate::daemon::{LiveView, Show};
use crate::engine::Snapshot;
use crate::evening::{Keys, Standing, chord_on, is_in_use};
use crate::map::Zone;
use crate::music::chord::{self, Named};

/// What is under the hand.
#[derive(Debug, PartialEq, Serialize)]
pub(in crate::page) struct Hand {
    pub now: u64,
    /// Keys that are down, for each input.
    down: Vec<Vec<u8>>,
    chord: Option<ChordFrame>,
    /// What sounds: number of the output from 0, channel from 1, notes.
    notes: Vec<(usize, u8, Vec<u8>)>,
}

#[derive(Debug, PartialEq, Serialize)]
pub(super) struct ChordFrame {
    fingers: String,
    room: String,
}

impl Hand {
    /// What can be seen now.
    pub fn of(view: &LiveView, show: &Show, snapshot: &Snapshot, now: u64) -> Hand {
        let inputs = 0..show.plan.inputs();
        let together = inputs.clone().fold(0, |keys, input| keys | view.keys_down(input));
        let places = (0..show.plan.outputs()).flat_map(|output| (0..16).map(move |channel| (output, channel)));
        let sounding = places.map(|(output, channel)| (output, channel + 1, keys(view.notes(output, channel))));
        Hand {
            now,
            down: inputs.map(|input| keys(view.keys_down(input))).collect(),
            chord: match chord::name(together) {
                Some(named) => spelled(named, show, &snapshot.standing),
                None => on_one_key(together, show, snapshot),
            },
            notes: sounding.filter(|(_, _, notes)| !notes.is_empty()).collect(),
        }
    }
}

/// The chord in the key of the fingers and in the one that the room hears.
fn spelled(named: Named, show: &Show, standing: &Standing) -> Option<ChordFrame> {
    let (entry, song) = standing.playing(&show.book)?;
    let keys = Keys::of(&show.book, entry, song);
    let room = keys.room(standing.tonic);
    let fingers = keys.fingers_at(standing);
    let lifted = |class: u8| (i32::from(class) + standing.shift).rem_euclid(12) as u8;
    let heard = Named { root: lifted(named.root), bass: lifted(named.bass), kind: named.kind };
    Some(ChordFrame { fingers: named.spelled(fingers).to_string(), room: heard.spelled(room).to_string() })
}

/// The chord that a single key plays where one key plays a chord.
pub(super) fn on_one_key(together: u128, show: &Show, snapshot: &Snapshot) -> Option<ChordFrame> {
    let standing = &snapshot.standing;
    let (entry, song) = standing.playing(&show.book)?;
    let key = u8::try_from(together.trailing_zeros()).ok().filter(|_| together.count_ones() == 1)?;
    let plays = |(number, zone): (usize, &Zone)| {
        let (low, high) = zone.keys.value;
        zone.one_key_chord
            && (low as u8..=high as u8).contains(&key)
            && is_in_use(song, zone, standing.section, snapshot.zone_is_on(number))
    };
    song.zones.iter().enumerate().any(plays).then(|| {
        let keys = Keys::of(&show.book, entry, song);
        let room = keys.room(standing.tonic);
        let chord = chord_on(song, keys.fingers_at(standing), key);
        ChordFrame { fingers: chord.to_string(), room: chord.moved(standing.shift, room).to_string() }
    })
}

fn keys(set: u128) -> Vec<u8> {
    (0..128).filter(|key| set & 1 << key != 0).collect()
}
