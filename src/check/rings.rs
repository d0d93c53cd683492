//! What goes on sounding though nobody holds it any more: notes that linger into a pause, through a song without zones
//! or to the end, where nothing ends them; and what a cue had turned on and that ends by itself.

use super::part::ResolvedZone;
use super::tonight::{Outing, SongTonight, Tonight};
use super::words::{joined, joined_by, quoted};
use crate::evening::title_of;
use crate::map::{Action, Book, Cue, Deed, Diagnostic, Does, Linger, Spot};

/// Hint: notes that linger into a pause, through a song without zones or to the end of the evening, where neither a cue
/// lets them fade nor what is done on leaving the song or on entering what follows; once for each song, with all zones.
/// Hint: a song's own cue with `off` that is undone as the song is left.
pub(super) fn find(tonight: &Tonight<'_>, found: &mut Vec<Diagnostic>) {
    let book = tonight.book;
    // Who has no cues at all ends them by other means.
    if book.cues().next().is_some() {
        found.extend(tonight.outings.iter().filter_map(|outing| lingering(tonight, outing)));
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
pub(super) fn fades(does: &Does) -> bool {
    matches!(does, Does::Act(Action::Fade(_)))
}

fn any_fades(deeds: &[Deed]) -> bool {
    deeds.iter().any(|deed| fades(&deed.does))
}

/// A zone whose notes may linger as its song is left.
struct Ringing<'t, 'a> {
    part: &'t ResolvedZone<'a>,
    /// The sections after which they do, where another one that follows ends them unless it is jumped over.
    left_from: Vec<String>,
    /// What turns the zone off before its notes have ended.
    turned_off: Option<Spot>,
}

/// The zones whose notes ring on after an entry's song.
fn lingering(tonight: &Tonight<'_>, outing: &Outing<'_>) -> Option<Diagnostic> {
    let until = until(tonight, outing)?;
    let ringing = ringing(tonight, outing);
    let (named, others): (Vec<_>, Vec<_>) = match ringing.iter().any(|one| one.left_from.is_empty()) {
        true => ringing.iter().partition(|one| one.left_from.is_empty()),
        false => (ringing.iter().collect(), Vec::new()),
    };
    let (first, more) = named.split_first()?;
    let mut names: Vec<String> = named.iter().map(|one| one.part.name()).collect();
    names.dedup();
    let zones = if names.len() == 1 { "zone" } else { "zones" };
    let title = format!(
        "the last notes of the {zones} {} in {} ring on {}{}",
        joined(&names),
        tonight.title(outing),
        until,
        left_from(&named)
    );
    let mut hint = Diagnostic::hint(first.part.zone.spot, title).also(outing.entry.spot, "played here");
    for one in more {
        hint = hint.also(one.part.zone.spot, format!("{} too", one.part.name()));
    }
    for one in &others {
        hint = hint.also(one.part.zone.spot, format!("{} too{}", one.part.name(), left_from(&[one])));
    }
    if let Some(spot) = ringing.iter().find_map(|one| one.turned_off) {
        hint = hint.also(spot, "turning a zone off does not end its notes");
    }
    let last = tonight.book.set.entries.len() == outing.number + 1;
    Some(hint.help(match last {
        true => {
            "add a cue with do = \"fade\" to the gear, or a pause after the song with on_entering = [\"fade 2000\"]"
        }
        false => "write on_leaving = [\"fade 2000\"] in the song, or add a cue with do = \"fade\" to the gear",
    }))
}

/// From which sections the song must be left for it: nothing where the last one is among them.
fn left_from(ringing: &[&Ringing<'_, '_>]) -> String {
    let mut sections: Vec<String> = Vec::new();
    for section in ringing.iter().flat_map(|one| &one.left_from) {
        if !sections.contains(section) {
            sections.push(section.clone());
        }
    }
    if sections.is_empty() {
        String::new()
    } else {
        format!(", if the song is left from {}", joined_by(&sections, "or"))
    }
}

/// The zones whose notes nothing ends before the song is left: held over a change, notes wait for a handful (rule R8),
/// also where their zone was turned off.
fn ringing<'t, 'a>(tonight: &'t Tonight<'a>, outing: &Outing<'_>) -> Vec<Ringing<'t, 'a>> {
    let piece = &tonight.pieces[outing.piece];
    let cues = tonight.book.cues_in(Some(piece.song));
    let next = tonight.book.set.entries.get(outing.number + 1);
    let lingers = |part: &&ResolvedZone<'_>| part.zone.linger == Linger::Next;
    let parts = piece.parts.iter().enumerate().filter(|(_, part)| lingers(part));
    let ringing = parts.filter_map(|(number, part)| {
        let name = &part.zone.name;
        let turns = |cue: &&&Cue, on: bool| match &cue.does {
            Does::Act(Action::Zone { name: zone, on: to }) => zone.value == *name && to.is_none_or(|to| to == on),
            _ => false,
        };
        let by_cue = cues.iter().any(|cue| turns(&cue, true));
        let in_use = in_use(piece, outing, number, by_cue);
        let after: &[Deed] = next.map_or(&[], |next| &next.on_entering);
        // The last song is not left.
        let leaving: &[Deed] = if next.is_some() { &piece.song.on_leaving } else { &[] };
        let mut deeds = leaving.iter().chain(after);
        let off = || cues.iter().find(|cue| turns(cue, false)).map(|cue| cue.spot);
        let turned_off = deeds.find(|deed| turned(deed, name) == Some(false)).map(|deed| deed.spot);
        let mut left_from = Vec::new();
        if !*in_use.last()? {
            let stops = outing.stops.iter().zip(&in_use).filter(|(_, in_use)| **in_use);
            let names = stops.filter_map(|(stop, _)| piece.section(stop.scene));
            left_from.extend(names.map(|section| quoted(&section.name.value)));
            left_from.first()?;
        }
        Some(Ringing { part, left_from, turned_off: turned_off.or_else(off) })
    });
    ringing.collect()
}

/// For each stop whether a zone may be in use there, by its number among the song's; `by_cue` says whether a cue may
/// turn it on.
fn in_use(piece: &SongTonight<'_>, outing: &Outing<'_>, number: usize, by_cue: bool) -> Vec<bool> {
    let zone = piece.parts[number].zone;
    let mut on = zone.on;
    for deed in piece.song.on_entering.iter().chain(&outing.entry.on_entering) {
        on = turned(deed, &zone.name).unwrap_or(on);
    }
    let stops = outing.stops.iter().map(|stop| {
        for deed in piece.section(stop.scene).map_or(&[][..], |section| &section.on_entering) {
            on = turned(deed, &zone.name).unwrap_or(on);
        }
        (on || by_cue) && piece.scenes[stop.scene].zones.contains(&number)
    });
    stops.collect()
}

/// Whether an item of a list turns the zones of a name, and on or off.
fn turned(deed: &Deed, name: &str) -> Option<bool> {
    match &deed.does {
        Does::Act(Action::Zone { name: zone, on }) if zone.value == name => *on,
        _ => None,
    }
}

/// How far notes ring on after an entry's song; `None` where something ends them.
fn until(tonight: &Tonight<'_>, outing: &Outing<'_>) -> Option<String> {
    let book = tonight.book;
    let by_cue = |song| book.cues_in(song).iter().any(|cue| fades(&cue.does));
    let song = tonight.pieces[outing.piece].song;
    let following = book.set.entries.get(outing.number + 1..).unwrap_or_default();
    if by_cue(Some(song)) || !following.is_empty() && any_fades(&song.on_leaving) {
        return None;
    }
    if following.is_empty() {
        return Some("to the end of the evening".to_owned());
    }
    let mut through = Vec::new();
    for (ahead, entry) in following.iter().enumerate() {
        let song = entry.song.and_then(|song| book.songs.get(song));
        // The first handful of any zone ends them.
        if song.is_some_and(|song| !song.zones.is_empty()) {
            break;
        }
        let entering = song.map_or(&[][..], |song| &song.on_entering);
        if by_cue(song) || any_fades(entering) || any_fades(&entry.on_entering) {
            break;
        }
        through.push(called(book, outing.number + 1 + ahead));
    }
    (!through.is_empty()).then(|| format!("through {}", joined(&through)))
}

fn called(book: &Book, entry: usize) -> String {
    let title = title_of(book, entry);
    if title.is_empty() { "the pause".to_owned() } else { quoted(title) }
}
