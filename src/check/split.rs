//! Zones that get in one another's way: splits that overlap by a few keys, zones written twice, two of one name.

use super::part::ResolvedZone;
use super::tonight::{SongTonight, Tonight};
use super::words::{quoted, range, the_keys};
use crate::map::{Action, At, Book, Diagnostic, Does, Zone};

/// So many keys are a slip of a split; more are a layer.
const FEW: u8 = 5;

/// Hint: two zones of which one begins a few keys before the other ends. Hint: a zone that is another one over again.
/// Hint: two zones with one name of their own, unless a cue turns on both.
pub(super) fn find(tonight: &Tonight<'_>, piece: &SongTonight<'_>, found: &mut Vec<Diagnostic>) {
    for (number, later) in piece.parts.iter().enumerate() {
        let before = || piece.parts[..number].iter();
        if let Some(first) = before().find(|first| is_same(first.zone, later.zone)) {
            let title = format!("the zone {} is written twice", later.name());
            let hint = Diagnostic::hint(later.zone.spot, title).also(first.zone.spot, "first here");
            found.push(hint.help("take one of the two out, or change the keys, the sections or the sound of one"));
            continue;
        }
        if let Some(first) = before().find(|first| is_called_alike(tonight.book, first, later)) {
            let title = format!("two zones of this song are called {}", later.name());
            let hint = Diagnostic::hint(later.zone.spot, title).also(first.zone.spot, "the other one");
            found.push(hint.help("give one of them another name, by which page, paper and cues tell them apart"));
        }
        found.extend(before().filter_map(|first| overlap(piece, first, later)));
    }
}

/// Whether two zones take the same keys to the same notes of the same sound.
fn is_same(one: &Zone, other: &Zone) -> bool {
    let names = |names: &Option<Vec<At<String>>>| -> Option<Vec<String>> {
        names.as_ref().map(|names| names.iter().map(|name| name.value.clone()).collect())
    };
    let plain = |zone: &Zone| {
        let input = zone.input.as_ref().map(|input| input.value.clone());
        let takes = (zone.keys.value, zone.velocity.value, input, names(&zone.sections));
        let makes = (zone.transpose, zone.octave, zone.within.as_ref().map(|within| within.value));
        let hand = (zone.plays, zone.min_keys, zone.linger, zone.stay_in_key, zone.one_key_chord, zone.by_handful);
        (takes, makes, hand, zone.exclusive, zone.follow_key, zone.on, zone.level.to_bits(), zone.volume)
    };
    one.sound.value == other.sound.value && plain(one) == plain(other)
}

fn is_called_alike(book: &Book, one: &ResolvedZone<'_>, other: &ResolvedZone<'_>) -> bool {
    let name = &other.zone.name;
    let turns = |does: &Does| matches!(does, Does::Act(Action::Zone { name: turned, .. }) if turned.value == *name);
    // Without names of their own they are called by their sound.
    one.zone.name == *name && *name != other.zone.sound.value && !book.cues().any(|cue| turns(&cue.does))
}

/// The keys that both of two neighbours have, where they are few.
fn overlap(piece: &SongTonight<'_>, one: &ResolvedZone<'_>, other: &ResolvedZone<'_>) -> Option<Diagnostic> {
    let (lower, upper) = if one.keys() <= other.keys() { (one, other) } else { (other, one) };
    let ((low, end), (begin, high)) = (lower.keys(), upper.keys());
    let keys = (end + 1).saturating_sub(begin);
    // Each has many more for itself.
    let is_slip = low < begin && end < high && (1..=FEW).contains(&keys) && begin - low > keys && high - end > keys;
    let ((softest, hardest), (soft, hard)) = (lower.zone.velocity.value, upper.zone.velocity.value);
    let touch = softest <= hard && soft <= hardest;
    let number = |part: &ResolvedZone<'_>| piece.parts.iter().position(|known| std::ptr::eq(known, part));
    let (first, second) = (number(lower)?, number(upper)?);
    let together = piece.scenes.iter().any(|scene| scene.zones.contains(&first) && scene.zones.contains(&second));
    let exclusive = piece.parts[first.min(second)].zone.exclusive;
    if !is_slip || !touch || !together || exclusive || lower.inputs & upper.inputs == 0 {
        return None;
    }
    let octave = piece.octave;
    let title = format!(
        "the zones {} and {} overlap: on {} both sound",
        quoted(&lower.zone.name),
        quoted(&upper.zone.name),
        the_keys(begin, end, octave)
    );
    let hint = Diagnostic::hint(lower.zone.keys.spot, title).also(upper.zone.keys.spot, "begins before it ends");
    Some(hint.help(format!("if that is not meant, write keys = {} here", range(low, begin - 1, octave))))
}
