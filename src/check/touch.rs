//! Velocities that no zone takes.

use std::collections::BTreeMap;

use super::keyboard::{self, VelocitySet};
use super::tonight::{SongTonight, Tonight};
use super::words::{from_to, joined, quoted};
use crate::map::Diagnostic;

/// Where velocities are missing.
#[derive(Default)]
struct Missing {
    /// One bit each.
    keys: u128,
    scenes: Vec<usize>,
    /// A zone whose window leaves them out.
    zone: Option<usize>,
}

/// Hint: velocities that come from an input, after its curve, on keys that zones have, but that lie in no zone's
/// window: so touched, the key is silent.
pub(super) fn find(tonight: &Tonight<'_>, piece: &SongTonight<'_>, found: &mut Vec<Diagnostic>) {
    let mut holes: BTreeMap<(usize, VelocitySet), Missing> = BTreeMap::new();
    for (number, scene) in piece.scenes.iter().enumerate() {
        for keyboard in &scene.keyboards {
            for stretch in keyboard.stretches.iter().filter(|stretch| !stretch.taken.is_empty()) {
                let missing = tonight.touches[keyboard.input] & !stretch.covered();
                if missing == 0 {
                    continue;
                }
                let hole = holes.entry((keyboard.input, missing)).or_default();
                if hole.scenes.last() != Some(&number) {
                    hole.scenes.push(number);
                }
                hole.keys |= keyboard::span((stretch.low, stretch.high));
                hole.zone = hole.zone.or(stretch.taken.first().map(|(zone, _)| *zone));
            }
        }
    }
    for ((input, missing), hole) in holes {
        found.extend(hint(tonight, piece, input, missing, &hole));
    }
}

fn hint(
    tonight: &Tonight<'_>,
    piece: &SongTonight<'_>,
    input: usize,
    missing: VelocitySet,
    hole: &Missing,
) -> Option<Diagnostic> {
    let part = &piece.parts[hole.zone?];
    let touches = tonight.touches[input];
    let name = quoted(&tonight.book.gear.inputs[input].name.value);
    let keys: Vec<String> =
        keyboard::runs(hole.keys, u128::MAX).into_iter().map(|(low, high)| from_to(low, high, piece.octave)).collect();
    let place = piece.in_sections(&hole.scenes);
    let title = format!(
        "no zone takes the velocities {} of the input {name} on the keys {}{place}",
        keyboard::in_words(missing, touches),
        joined(&keys),
    );
    let (low, high) = part.zone.velocity.value;
    let runs = keyboard::runs(missing, touches);
    let (lowest, highest) = (runs.first().map_or(low, |run| run.0), runs.last().map_or(high, |run| run.1));
    let hint = Diagnostic::hint(part.zone.velocity.spot, title);
    Some(hint.help(format!("for example write velocity = [{}, {}] here", low.min(lowest), high.max(highest))))
}
