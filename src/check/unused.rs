//! What the gear has and no song makes a difference with: sounds that none uses, a second keyboard that none names.

use super::tonight::Tonight;
use super::words::{joined, quoted};
use crate::map::{Book, Diagnostic, Input, Sound};

/// Hint: sounds that no song of the set uses, told together. Hint: a second keyboard that no zone names, so that it plays
/// all that the first one plays.
pub(super) fn find(tonight: &Tonight<'_>, found: &mut Vec<Diagnostic>) {
    let book = tonight.book;
    let unused: Vec<&Sound> = book.gear.sounds.iter().filter(|sound| !is_used(book, &sound.name.value)).collect();
    if let Some(first) = unused.first() {
        let names: Vec<String> = unused.iter().map(|sound| quoted(&sound.name.value)).collect();
        let noun = if names.len() == 1 { "the sound" } else { "the sounds" };
        let title = format!("no song of the set uses {noun} {}", joined(&names));
        let hint = Diagnostic::hint(first.name.spot, title);
        found.push(hint.help("name it in a zone or a [drone], or leave it for another evening"));
    }
    let playing: Vec<&Input> = tonight.playing().map(|(_, input)| input).collect();
    let Some((first, others)) = playing.split_first() else { return };
    let zones = || book.songs.iter().flat_map(|song| &song.zones);
    let named =
        |input: &Input| zones().filter_map(|zone| zone.input.as_ref()).any(|named| named.value == input.name.value);
    // Where every zone names the first, nothing is left for a second one: that is told as keys that play nothing.
    let has_shared = zones().any(|zone| zone.input.is_none());
    for input in others.iter().filter(|input| has_shared && !named(input)) {
        let (name, other) = (quoted(&input.name.value), quoted(&first.name.value));
        let title = format!("the input {name} plays all that {other} plays, in every song: no zone names it");
        let hint = Diagnostic::hint(input.name.spot, title).also(first.name.spot, "plays the same");
        found.push(
            hint.help(format!("write input = {other} in the zones that are not for it, and input = {name} in its own")),
        );
    }
}

fn is_used(book: &Book, sound: &str) -> bool {
    let zones = book.songs.iter().flat_map(|song| &song.zones).map(|zone| &zone.sound.value);
    let drones = book.songs.iter().filter_map(|song| song.drone.as_ref()).map(|drone| &drone.sound.value);
    zones.chain(drones).any(|used| used == sound)
}
