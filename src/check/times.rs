//! Times that look like seconds where milliseconds are counted.

use crate::map::{Action, Book, Diagnostic, Does, Spot};

/// Shorter than this no fade is one, and no fingers are together.
const SHORTEST: u64 = 20_000;

/// Hint: a fade that is too short to be one. Hint: a message that is sent so little later that it need not be. Hint: notes
/// that are hardly ever struck within the time that makes them a handful.
pub(super) fn find(book: &Book, found: &mut Vec<Diagnostic>) {
    let short = |time: u64| (1..SHORTEST).contains(&time);
    for song in &book.songs {
        for zone in song.zones.iter().filter(|zone| short(zone.fade)) {
            found.push(fade(book, zone.spot, zone.fade));
        }
        if let Some(drone) = song.drone.as_ref().filter(|drone| short(drone.fade)) {
            found.push(fade(book, drone.sound.spot, drone.fade));
        }
    }
    for deed in book.deeds() {
        if (1..5_000).contains(&deed.after) {
            let title = format!("a message {} ms later comes at once", in_ms(deed.after));
            let help =
                format!("times are in milliseconds: for as many seconds write after_ms = {}", in_ms(deed.after * 1000));
            found.push(Diagnostic::hint(deed.spot, title).help(help));
        }
        if let Does::Act(Action::Fade(time)) = deed.does
            && short(time)
        {
            let title = format!("a fade of {} ms is over at once", in_ms(time));
            let help = format!("times are in milliseconds: for as many seconds write \"fade {}\"", in_ms(time * 1000));
            found.push(Diagnostic::hint(deed.spot, title).help(help));
        }
    }
    for cue in book.cues() {
        if let Does::Act(Action::Fade(time)) = cue.does
            && short(time)
        {
            found.push(fade(book, cue.spot, time));
        }
    }
    let gather = book.gear.gather;
    if (1..5_000).contains(&gather)
        && let Some(file) = book.gear.inputs.first().map(|input| input.name.spot.file)
    {
        let spot = field(book, Spot { file, start: 0, end: 0 }, "gather_ms");
        let title = format!("notes within {} ms make a handful: no hand strikes a chord so evenly", in_ms(gather));
        let help = format!("times are in milliseconds: write gather_ms = {}", in_ms(gather * 1000));
        found.push(Diagnostic::hint(spot, title).help(help));
    }
}

fn fade(book: &Book, near: Spot, time: u64) -> Diagnostic {
    let title = format!("a fade of {} ms is over at once", in_ms(time));
    let help = format!("times are in milliseconds: for as many seconds write fade_ms = {}", in_ms(time * 1000));
    Diagnostic::hint(field(book, near, "fade_ms"), title).help(help)
}

fn in_ms(time: u64) -> f64 {
    time as f64 / 1000.0
}

/// The line of a field in the table in which a spot lies.
fn field(book: &Book, near: Spot, name: &str) -> Spot {
    let Some(source) = book.sources.get(near.file) else { return near };
    let header = |line: &str| line.trim_start().starts_with('[');
    let before = source.text.get(..near.start).unwrap_or_default();
    let mut at = before.rfind('\n').map_or(0, |end| end + 1);
    let mut first = true;
    let mut start = at;
    // From the table's header on, which is the spot's own line or one before it.
    while !source.text[start..].lines().next().is_some_and(header) {
        let Some(end) = start.checked_sub(1) else { break };
        start = source.text[..end].rfind('\n').map_or(0, |end| end + 1);
    }
    for line in source.text[start..].split_inclusive('\n') {
        at = if first { start } else { at };
        if !first && header(line) {
            break;
        }
        if line.trim_start().starts_with(name) || first && line.contains(name) {
            let from = at + line.find(name).unwrap_or_default();
            return Spot { start: from, end: at + line.trim_end().len(), ..near };
        }
        first = false;
        at += line.len();
    }
    near
}
