//! Keys and pedals that a cue takes from the hand: they belong to the cue alone (rule R19).

use super::keyboard;
use super::part::ResolvedZone;
use super::tonight::{SongTonight, Tonight};
use super::words::{key_name, middle_c, quoted};
use crate::map::{Cue, Diagnostic, Input, Pedal, Trigger};

/// The pedal that holds notes.
const HOLD: u8 = 64;

/// Hint: a cue's key in the middle of a zone. Hint: a cue on the hold pedal of a keyboard whose zones follow it.
pub(super) fn find(tonight: &Tonight<'_>, found: &mut Vec<Diagnostic>) {
    for cue in &tonight.book.gear.cues {
        let kept = |piece: &&SongTonight<'_>| !piece.song.cues.iter().any(|own| own.when.is_same(&cue.when));
        found.extend(taken(tonight, cue, &tonight.pieces.iter().filter(kept).collect::<Vec<_>>()));
    }
    for piece in &tonight.pieces {
        found.extend(piece.song.cues.iter().filter_map(|cue| taken(tonight, cue, &[piece])));
    }
}

/// What a cue takes from a zone of these songs, where it is on a key or pedal of a keyboard that plays.
fn taken(tonight: &Tonight<'_>, cue: &Cue, pieces: &[&SongTonight<'_>]) -> Option<Diagnostic> {
    let (number, input) = tonight.playing().find(|(_, input)| input.name.value == cue.when.input.value)?;
    // A zone that is not played tonight loses nothing.
    let played = pieces.iter().flat_map(|piece| {
        let zones = piece.scenes.iter().flat_map(|scene| &scene.zones);
        zones.map(move |zone| (*piece, &piece.parts[*zone])).filter(|(_, part)| part.hears(number))
    });
    match cue.when.trigger {
        // What comes on a channel of its own is no key under the hand.
        Trigger::Key { key, channel: None, .. } => {
            let mut inside =
                played.filter(|(piece, part)| in_the_middle(key, &tonight.cue_keys(piece, input), input, part));
            inside.next().map(|(_, part)| {
                let name = key_name(key, middle_c(tonight.book, cue.spot));
                let title =
                    format!("the key {name} is a cue's: it plays nothing in the middle of the zone {}", part.name());
                let help = "take a key at the end of the keyboard, or one that no zone plays";
                hint(cue, title, part, "this zone").help(help)
            })
        }
        Trigger::Control { number, .. } if u8::from(number) == HOLD => {
            let mut held =
                played.filter(|(_, part)| part.zone.pedals_from.is_none() && part.zone.pedal != Pedal::Ignore);
            held.next().map(|(_, part)| {
                let name = quoted(&input.name.value);
                let title = format!("the hold pedal of the input {name} is a cue's: it holds no notes any more");
                let help = "take another pedal, such as control = 66 or 67, or leave it so";
                hint(cue, title, part, "this zone would follow it").help(help)
            })
        }
        _ => None,
    }
}

fn hint(cue: &Cue, title: String, part: &ResolvedZone<'_>, label: &str) -> Diagnostic {
    Diagnostic::hint(cue.spot, title).also(part.zone.spot, label)
}

/// Whether the zone plays keys on both sides of a cue's key, other cues' keys aside. Where the gear does not say which
/// keys there are, the keyboard is a usual one.
fn in_the_middle(key: u8, cues: &[u8], input: &Input, part: &ResolvedZone<'_>) -> bool {
    let (first, last) = if keyboard::is_known(input) { keyboard::keys(input) } else { keyboard::USUAL };
    let (low, high) = part.keys();
    let (low, high) = (low.max(first), high.min(last));
    let plays = |from: u8, before: u8| (from..before).any(|key| !cues.contains(&key));
    (low..=high).contains(&key) && plays(low, key) && plays(key + 1, high + 1)
}
