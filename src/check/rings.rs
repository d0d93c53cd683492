//! What goes on sounding though nobody holds it any more: into a pause, to the end, without a cue that ends it; and
//! what a cue had turned on and that ends by itself.

use super::tonight::{Outing, Tonight};
use super::words::quoted;
use crate::evening::title_of;
use crate::map::{Action, Book, Cue, Deed, Diagnostic, Does, Linger, Zone};

/// Hint: notes that linger into a pause or to the end of the evening, where neither a cue of the gear lets them fade nor
/// what is done on leaving the song or on entering the pause. Hint: a drone that cues turn on, and nothing off. Hint: a song's own cue with `off` that is undone as the song is left.
pub(super) fn find(tonight: &Tonight<'_>, found: &mut Vec<Diagnostic>) {
    let book = tonight.book;
    // Who has no cues at all ends them by other means.
    let first = book.cues().next();
    if first.is_some() && !book.gear.cues.iter().any(|cue| fades(&cue.does)) {
        for outing in &tonight.outings {
            found.extend(lingering(tonight, outing));
        }
    }
    let on = |cue: &&Cue| matches!(cue.does, Does::Act(Action::Drone(Some(true))));
    let ends = |does: &Does| fades(does) || matches!(does, Does::Act(Action::Drone(None | Some(false))));
    let is_ended = || book.cues().any(|cue| ends(&cue.does)) || book.deeds().any(|deed| ends(&deed.does));
    if let Some(cue) = book.cues().find(on).filter(|_| !is_ended()) {
        let title = "this cue turns the drone on, and none turns it off";
        let hint = Diagnostic::hint(cue.spot, title);
        found.push(hint.help("take state out, so that it turns the drone off again, or add a cue with do = \"fade\""));
    }
    for cue in book.songs.iter().flat_map(|song| &song.cues) {
        if cue.off.is_some() && !cue.while_down {
            let name = cue.name.as_deref().map_or_else(|| "what this cue turns on".to_owned(), quoted);
            let title = format!("{name} ends by itself as the song is left: its off is sent then");
            let hint = Diagnostic::hint(cue.spot, title);
            found.push(hint.help("write the cue in the gear if it is to stay on, or leave it so"));
        }
    }
}

/// Whether all held notes fade, and a drone with them. A panic is for trouble.
fn fades(does: &Does) -> bool {
    matches!(does, Does::Act(Action::Fade(_)))
}

/// A zone whose notes linger where a song ends before a pause or the end.
fn lingering(tonight: &Tonight<'_>, outing: &Outing<'_>) -> Option<Diagnostic> {
    let book = tonight.book;
    let entry = book.set.entries.iter().position(|entry| std::ptr::eq(entry, outing.entry))?;
    let piece = &tonight.pieces[outing.piece];
    let scene = &piece.scenes[outing.stops.last()?.scene];
    let parts = scene.zones.iter().map(|zone| &piece.parts[*zone]);
    let turned = |name: &str| {
        let turns = |cue: &Cue| matches!(&cue.does, Does::Act(Action::Zone { name: zone, .. }) if zone.value == name);
        book.gear.cues.iter().any(turns)
    };
    let rings = |zone: &Zone| zone.linger == Linger::Next && zone.on && !turned(&zone.name);
    let part = parts.into_iter().find(|part| rings(part.zone))?;
    let fade = |deeds: &[Deed]| deeds.iter().any(|deed| fades(&deed.does));
    let next = book.set.entries.get(entry + 1);
    if fade(&piece.song.on_leaving) || next.is_some_and(|next| fade(&next.on_entering)) {
        return None;
    }
    let until = match next {
        None => "to the end of the evening".to_owned(),
        Some(next) if next.song.is_none() => format!("through {}", pause(book, entry + 1)),
        Some(_) => return None,
    };
    let title = format!("the last notes of the zone {} in {} ring on {until}", part.name(), tonight.title(outing));
    let hint = Diagnostic::hint(part.zone.spot, title).also(outing.entry.spot, "played here");
    Some(hint.help("write on_leaving = [\"fade 2000\"] in the song, or add a cue with do = \"fade\" to the gear"))
}

fn pause(book: &Book, entry: usize) -> String {
    let title = title_of(book, entry);
    if title.is_empty() { "the pause".to_owned() } else { quoted(title) }
}
