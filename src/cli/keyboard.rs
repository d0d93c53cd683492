//! A keyboard with its zones, drawn with characters.

use crate::engine::Keys;
use crate::map::{Book, Input, KeyRange, Song, Zone};
use crate::midi::Note;
use crate::music::note;

/// The pitch classes of the black keys.
const BLACK: [u8; 5] = [1, 3, 6, 8, 10];

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

/// The inputs whose keyboards tell something about a song: an optional one only where a zone names it.
pub(super) fn worth_drawing<'a>(book: &'a Book, song: &'a Song) -> impl Iterator<Item = &'a Input> {
    let named = |input: &Input| {
        song.zones.iter().any(|zone| zone.input.as_ref().is_some_and(|named| named.value == input.name.value))
    };
    book.gear.inputs.iter().filter(move |input| input.play && (!input.optional || named(input)))
}

/// The keyboard of an input with the zones of `song` that listen to it, in at most `width` columns for the keys.
/// Each zone is a bar over its keys, with what it makes of them on its right.
pub(super) fn draw(book: &Book, song: &Song, keys: &Keys, input: &Input, width: usize) -> Vec<String> {
    let scale = Scale::new(input.keys, width);
    let mut lines = vec![names(&scale), pattern(&scale)];
    let listening = song.zones.iter().filter(|zone| match &zone.input {
        Some(named) => named.value == input.name.value,
        None => input.play,
    });
    lines.extend(listening.map(|zone| bar(book, zone, keys, &scale)));
    lines
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
        let name = Note::try_from(key).map(|key| note::name(key, 4)).unwrap_or_default();
        for (offset, letter) in name.chars().enumerate() {
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
        if BLACK.contains(&(key % 12)) {
            line[column] = '█';
        } else if key % 12 == 0 {
            line[column] = '▏';
        }
    }
    line.into_iter().collect()
}

/// A zone as a bar over its keys.
fn bar(book: &Book, zone: &Zone, keys: &Keys, scale: &Scale) -> String {
    let (low, high) = zone.keys.value;
    let (first, last) = (scale.column(low as u8), scale.column(high as u8));
    let width = last - first + 1;
    let name = format!(" {} ", zone.name);
    let inside = width >= name.chars().count() + 2;
    let mut drawn = match width {
        1 => "┃".to_owned(),
        _ => {
            let middle = if inside { name.clone() } else { String::new() };
            let dashes = width - 2 - middle.chars().count();
            format!("┣{}{middle}{}┫", "━".repeat(dashes / 2), "━".repeat(dashes - dashes / 2))
        }
    };
    drawn.insert_str(0, &" ".repeat(first));
    let missing = if inside { String::new() } else { name.trim_end().to_owned() };
    let padding = " ".repeat((scale.columns() - last - 1).saturating_sub(missing.chars().count()));
    format!("{drawn}{missing}{padding}  {}", remarks(book, zone, keys))
}

/// What a zone makes of its keys, in a few words.
fn remarks(book: &Book, zone: &Zone, keys: &Keys) -> String {
    let mut words = Vec::new();
    if let Some(sound) = book.gear.sounds.iter().find(|sound| sound.name.value == zone.sound.value) {
        words.push(format!("→ {} {}", sound.output.value, sound.channel.index() + 1));
    }
    let moved = 12 * zone.octave + zone.transpose + if zone.follow_key { keys.shift } else { 0 };
    match &zone.within {
        Some(range) => {
            let (low, high) = range.value;
            words.push(format!("within {}–{}", note::name(low, 4), note::name(high, 4)));
        }
        None if moved != 0 => words.push(format!("{moved:+} semitones")),
        None => {}
    }
    if zone.velocity.value != (1, 127) {
        let by = if zone.by_handful { " by the handful" } else { "" };
        words.push(format!("velocity {}–{}{by}", zone.velocity.value.0, zone.velocity.value.1));
    }
    if zone.level != 0.0 {
        words.push(format!("{:+} dB", zone.level));
    }
    if let Some(sections) = &zone.sections {
        let names: Vec<&str> = sections.iter().map(|section| section.value.as_str()).collect();
        words.push(format!("in {}", names.join(", ")));
    }
    if zone.only {
        words.push("alone".to_owned());
    }
    if !zone.on {
        words.push("off until turned on".to_owned());
    }
    words.join(", ")
}
