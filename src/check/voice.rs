//! Melodies outside a singer's range.

use super::tonight::{Outing, Stop, Tonight};
use super::words::{from_to, middle_c, quoted, sounding};
use crate::map::{At, Diagnostic, KeyRange, Singer};
use crate::music::Key;

/// Hint: a melody that leaves the singer's range at tonight's key or at a section's. Hint, softer: one that leaves
/// the comfortable range in more than half of tonight's sections; for a last chorus higher up a voice has its range.
/// The melody moves from the chart's key to the one that is heard by the nearest way.
pub(super) fn find(tonight: &Tonight<'_>, found: &mut Vec<Diagnostic>) {
    for outing in &tonight.outings {
        let melody = tonight.pieces[outing.piece].song.melody_range.as_ref();
        let named = outing.entry.singer.as_ref();
        let singer =
            named.and_then(|name| tonight.book.set.singers.iter().find(|singer| singer.name.value == name.value));
        if let (Some(melody), Some(named), Some(singer)) = (melody, named, singer) {
            found.extend(one(tonight, outing, melody, named, singer));
        }
    }
}

/// A range as numbers.
fn numbers(range: KeyRange) -> (i32, i32) {
    (i32::from(u8::from(range.0)), i32::from(u8::from(range.1)))
}

/// The melody at a stop, if `key` is what the song begins in.
fn heard(outing: &Outing<'_>, melody: &At<KeyRange>, key: Key, stop: &Stop) -> (i32, i32) {
    let (low, high) = numbers(melody.value);
    let way = outing.keys.chart.nearest_way(key) + stop.lift;
    (low + way, high + way)
}

fn inside((low, high): (i32, i32), range: KeyRange) -> bool {
    let (lowest, highest) = numbers(range);
    lowest <= low && high <= highest
}

fn one(
    tonight: &Tonight<'_>,
    outing: &Outing<'_>,
    melody: &At<KeyRange>,
    named: &At<String>,
    singer: &Singer,
) -> Option<Diagnostic> {
    let comfortable_in = |key: Key, range: KeyRange| {
        let outside = outing.stops.iter().filter(|stop| !inside(heard(outing, melody, key, stop), range)).count();
        2 * outside <= outing.stops.len()
    };
    let reached_in = |key: Key| outing.stops.iter().all(|stop| inside(heard(outing, melody, key, stop), singer.range));
    let comfortable = singer.comfortable.unwrap_or(singer.range);
    let fits = |key: Key| reached_in(key) && comfortable_in(key, comfortable);
    let key = outing.keys.tonight;
    if fits(key) {
        return None;
    }
    let outside = !reached_in(key);
    let (range, goes) = if outside { (singer.range, "reaches") } else { (comfortable, "is comfortable with") };
    let octave = middle_c(tonight.book, outing.entry.spot);
    let name = quoted(&singer.name.value);
    let (lowest, highest) = numbers(range);
    let at = |stop: &Stop| heard(outing, melody, key, stop);
    let low = outing.stops.iter().min_by_key(|stop| at(stop).0).filter(|stop| at(stop).0 < lowest);
    let high = outing.stops.iter().max_by_key(|stop| at(stop).1).filter(|stop| at(stop).1 > highest);
    let note = |number: i32, stop: &Stop| sounding(number, key.transposed(stop.lift), octave);
    let title = match (low, high) {
        (Some(low), Some(high)) => format!(
            "the melody goes from {} to {} tonight, lower and higher than {name} {goes}",
            note(at(low).0, low),
            note(at(high).1, high)
        ),
        (Some(low), None) => {
            format!("the melody goes down to {} tonight, lower than {name} {goes}", note(at(low).0, low))
        }
        (None, high) => {
            let highest = high.map(|high| note(at(high).1, high)).unwrap_or_default();
            format!("the melody goes up to {highest} tonight, higher than {name} {goes}")
        }
    };
    let in_words = from_to(u8::from(range.0), u8::from(range.1), octave);
    let mut hint = Diagnostic::hint(named.spot, title)
        .label(format!("{} {in_words}", if outside { "sings" } else { "comfortable:" }))
        .also(melody.spot, "the melody, in the chart's key");
    if let Some(spot) = outing.entry.key.as_ref().map(|key| key.spot) {
        hint = hint.also(spot, "tonight's key");
    }
    let mut lifting: Vec<_> =
        [low, high].into_iter().flatten().filter(|stop| stop.lift != 0).filter_map(|stop| stop.lifted_by).collect();
    lifting.dedup();
    for spot in lifting {
        hint = hint.also(spot, "the section's key");
    }
    let nearest = |fits: &dyn Fn(Key) -> bool| {
        let ways = (1..=6).flat_map(|way| [-way, way]);
        ways.map(|way| key.transposed(way)).find(|key| fits(*key))
    };
    let help = match nearest(&fits).map(|key| (key, true)).or_else(|| nearest(&reached_in).map(|key| (key, false))) {
        Some((key, true)) => format!("the nearest key that fits: write key = \"{key}\""),
        Some((key, false)) if outside => {
            format!("no key is comfortable; the nearest that can be sung: write key = \"{key}\"")
        }
        _ => "no other key fits better: ask the singer, or leave the melody's ends to others".to_owned(),
    };
    Some(hint.help(help))
}
