//! A keyboard with its zones, drawn with characters.

use super::fingers;
use crate::evening::{Keys, listens, zone_fits};
use crate::map::{Book, Input, KeyRange, Song, StayInKey, Trigger, Zone};
use crate::music::note::is_black;
use crate::paper::drawing::key_name;
use crate::wording::{cues, zones};

/// How keys become columns: one or two keys to each.
struct Scale {
    low: u8,
    high: u8,
    keys: usize,
}

impl Scale {
    fn new((low, high): KeyRange, width: usize) -> Scale {
        let (low, high) = (low as u8, high as u8);
        let count = usize::from(high.saturating_sub(low)) + 1;
        Scale { low, high, keys: count.div_ceil(width.max(12)) }
    }

    fn column(&self, key: u8) -> usize {
        usize::from(key.clamp(self.low, self.high) - self.low) / self.keys
    }

    fn columns(&self) -> usize {
        self.column(self.high) + 1
    }
}

/// The keyboard of an input with the zones of `song` that listen to it, in at most `width` columns for the keys. Each
/// zone is a bar over its keys, each key of a cue a diamond. Where a zone stays in key, dots mark the keys that fit; where one key plays a chord, an
/// octave is drawn large, with what each key plays.
pub(super) fn draw(book: &Book, song: &Song, keys: &Keys, input: &Input, width: usize) -> Vec<String> {
    let scale = Scale::new(input.keys, width);
    let listening: Vec<&Zone> = song.zones.iter().filter(|zone| listens(zone, input)).collect();
    let mut lines = vec![names(&scale), pattern(&scale)];
    lines.extend(fitting(song, keys, &listening, &scale));
    lines.extend(listening.iter().map(|zone| bar(book, zone, &scale)));
    lines.extend(spare(book, song, input, &scale));
    if let Some(zone) = listening.iter().find(|zone| zone.one_key_chord) {
        let octave = fingers::octave(song, keys, width);
        if !octave.is_empty() {
            lines.push(String::new());
            lines.push(format!("an octave of {}, and what each key plays", zone.name));
        }
        lines.extend(octave);
    }
    lines
}

/// The keys that are cues', each with what it does. They play nothing, whatever zone they lie in.
fn spare(book: &Book, song: &Song, input: &Input, scale: &Scale) -> Vec<String> {
    let mut lines = Vec::new();
    for cue in book.cues_in(Some(song)).into_iter().filter(|cue| cue.when.input.value == input.name.value) {
        // What has a channel of its own is no key under the hand.
        let Trigger::Key { key, channel: None, .. } = cue.when.trigger else { continue };
        let label = cues::does(&cue.does, None, cue.name.as_deref());
        let (column, width) = (scale.column(key), label.chars().count());
        lines.push(match column > width {
            true => format!("{}{label} ◆", " ".repeat(column - width - 1)),
            false => format!("{}◆ {label}", " ".repeat(column)),
        });
    }
    lines
}

/// Dots under the keys that fit, where a zone stays in key and every key has a column; hollow ones fit in some of the
/// zone's sections only.
fn fitting(song: &Song, keys: &Keys, listening: &[&Zone], scale: &Scale) -> Option<String> {
    let mut line = vec![' '; scale.columns()];
    for zone in listening.iter().filter(|zone| zone.stay_in_key != StayInKey::Off) {
        let fits = zone_fits(song, zone, None, keys.play_in.tonic());
        for key in (zone.keys.value.0 as u8).max(scale.low)..=(zone.keys.value.1 as u8).min(scale.high) {
            let column = scale.column(key);
            if fits.everywhere.contains(key) {
                line[column] = '•';
            } else if fits.somewhere.contains(key) {
                line[column] = '◦';
            }
        }
    }
    let line = line.into_iter().collect::<String>().trim_end().to_owned();
    (scale.keys == 1 && !line.is_empty()).then_some(line)
}

/// Names of the Cs, above their keys.
fn names(scale: &Scale) -> String {
    let mut line = vec![' '; scale.columns() + 4];
    let mut free_from = 0;
    for key in (scale.low..=scale.high).filter(|key| key % 12 == 0) {
        if scale.column(key) < free_from {
            continue;
        }
        free_from = scale.column(key) + 3;
        for (offset, letter) in key_name(key).chars().enumerate() {
            line[scale.column(key) + offset] = letter;
        }
    }
    line.into_iter().collect::<String>().trim_end().to_owned()
}

/// Black keys and white, the Cs with an edge on their left.
fn pattern(scale: &Scale) -> String {
    let mut line = vec!['░'; scale.columns()];
    for key in scale.low..=scale.high {
        let column = scale.column(key);
        if is_black(key) {
            line[column] = '█';
        } else if key % 12 == 0 {
            line[column] = '▏';
        }
    }
    line.into_iter().collect()
}

/// A zone as a bar over its keys, with its name and where it goes.
fn bar(book: &Book, zone: &Zone, scale: &Scale) -> String {
    let (low, high) = zone.keys.value;
    let (first, last) = (scale.column(low as u8), scale.column(high as u8));
    let width = last - first + 1;
    let goes = book.gear.sound(&zone.sound.value).map_or_else(String::new, |sound| zones::goes(sound) + " ");
    let label = format!(" {} {goes}", zone.name);
    let label_width = label.chars().count();
    let bar = |inside: &str, taken: usize| match width {
        1 => "┃".to_owned(),
        _ => {
            let dashes = width - 2 - taken;
            format!("┣{}{inside}{}┫", "━".repeat(dashes / 2), "━".repeat(dashes - dashes / 2))
        }
    };
    if width >= label_width + 2 {
        format!("{}{}", " ".repeat(first), bar(&label, label_width))
    } else if last + 1 + label_width <= scale.columns() {
        format!("{}{}{}", " ".repeat(first), bar("", 0), label.trim_end())
    } else if first >= label_width {
        format!("{}{label}{}", " ".repeat(first - label_width), bar("", 0))
    } else {
        // Neither beside nor inside: over the edge, as little as may be.
        format!("{}{}{}", " ".repeat(first), bar("", 0), label.trim_end())
    }
}
