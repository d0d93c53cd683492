//! Melodies outside a singer's range, and singers of whom something is missing.

use super::tonight::{Outing, Stop, Tonight};
use super::words::{from_to, middle_c, quoted, range, sounding};
use crate::map::{At, Diagnostic, KeyRange, Singer};
use crate::music::Key;

/// Hint: a melody that leaves the singer's range at tonight's key or at a section's. Hint, softer: one that leaves
/// the comfortable range in more than half of tonight's sections; for a last chorus higher up a voice has its range.
/// The melody moves from the chart's key to the one that is heard by the nearest way. Hint: a song with a singer and
/// without a melody range. Hint: a comfortable range that goes beyond the whole one.
pub(super) fn find(tonight: &Tonight<'_>, found: &mut Vec<Diagnostic>) {
    found.extend(tonight.book.set.singers.iter().filter_map(|singer| beyond(tonight, singer)));
    let mut told: Vec<usize> = Vec::new();
    for outing in &tonight.outings {
        let melody = tonight.pieces[outing.piece].song.melody_range.as_ref();
        let named = outing.entry.singer.as_ref();
        let singer =
            named.and_then(|named| tonight.book.set.singers.iter().find(|singer| singer.name.value == named.value));
        if let (Some(melody), Some(named), Some(singer)) = (melody, named, singer) {
            let octave = middle_c(tonight.book, outing.entry.spot);
            let melody_octave = tonight.pieces[outing.piece].octave;
            found.extend(Sung { outing, melody, named, singer, octave, melody_octave }.hint());
        } else if let (None, Some(named)) = (melody, named)
            && !told.contains(&outing.piece)
        {
            told.push(outing.piece);
            let name = quoted(&named.value);
            let title = format!(
                "whether {} is comfortable for {name} cannot be said: its map has no melody range",
                tonight.title(outing)
            );
            let song = tonight.pieces[outing.piece].song;
            let hint = Diagnostic::hint(named.spot, title).also(song.title.spot, "in this map");
            found.push(
                hint.help("write melody_range = [\"A3\", \"D5\"] there, the lowest and the highest note that are sung"),
            );
        }
    }
}

/// A comfortable range that goes beyond the whole one.
fn beyond(tonight: &Tonight<'_>, singer: &Singer) -> Option<Diagnostic> {
    let ((lowest, highest), (low, high)) = (singer.range, singer.comfortable?);
    if lowest <= low && high <= highest {
        return None;
    }
    let octave = middle_c(tonight.book, singer.name.spot);
    let name = quoted(&singer.name.value);
    let title = format!("{name} would be comfortable with notes beyond the whole range");
    let (low, high) = (u8::from(low.max(lowest)), u8::from(high.min(highest)));
    let help = match low <= high {
        true => format!("write comfortable = {}, or a wider range", range(low, high, octave)),
        false => "write a comfortable range within range".to_owned(),
    };
    Some(Diagnostic::hint(singer.name.spot, title).help(help))
}

/// A melody tonight, and who sings it.
struct Sung<'t> {
    outing: &'t Outing<'t>,
    melody: &'t At<KeyRange>,
    named: &'t At<String>,
    singer: &'t Singer,
    /// How the set's file counts octaves.
    octave: i32,
    /// How the song's file does.
    melody_octave: i32,
}

/// A range as numbers.
fn numbers(range: KeyRange) -> (i32, i32) {
    (i32::from(u8::from(range.0)), i32::from(u8::from(range.1)))
}

impl Sung<'_> {
    /// Lowest and highest note at a stop, if `key` is what the song begins in.
    fn heard(&self, key: Key, stop: &Stop) -> (i32, i32) {
        let (low, high) = numbers(self.melody.value);
        let way = self.outing.keys.chart.nearest_way(key) + stop.lift;
        (low + way, high + way)
    }

    /// In how many of tonight's sections the melody leaves a range.
    fn outside(&self, key: Key, range: KeyRange) -> usize {
        let (lowest, highest) = numbers(range);
        let leaves = |(low, high): (i32, i32)| low < lowest || high > highest;
        self.outing.stops.iter().filter(|stop| leaves(self.heard(key, stop))).count()
    }

    fn can_be_sung(&self, key: Key) -> bool {
        self.outside(key, self.singer.range) == 0
    }

    fn fits(&self, key: Key) -> bool {
        let comfortable = self.singer.comfortable.unwrap_or(self.singer.range);
        self.can_be_sung(key) && 2 * self.outside(key, comfortable) <= self.outing.stops.len()
    }

    fn hint(&self) -> Option<Diagnostic> {
        let key = self.outing.keys.tonight;
        if self.fits(key) {
            return None;
        }
        let name = quoted(&self.singer.name.value);
        let in_words = |range: KeyRange| from_to(u8::from(range.0), u8::from(range.1), self.octave);
        let (range, than, label) = match self.singer.comfortable.filter(|_| self.can_be_sung(key)) {
            Some(range) => (range, format!("{name} is comfortable with"), format!("comfortable: {}", in_words(range))),
            None => (self.singer.range, format!("{name} reaches"), format!("sings {}", in_words(self.singer.range))),
        };
        let (low, high) = self.ends(range);
        let low_note = low.map(|stop| self.note(self.heard(key, stop).0, stop));
        let high_note = high.map(|stop| self.note(self.heard(key, stop).1, stop));
        let title = match (low_note, high_note) {
            (Some(low), Some(high)) => {
                format!("the melody goes from {low} to {high} tonight, lower and higher than {than}")
            }
            (Some(low), None) => format!("the melody goes down to {low} tonight, lower than {than}"),
            (None, high) => format!("the melody goes up to {} tonight, higher than {than}", high.unwrap_or_default()),
        };
        let mut hint = Diagnostic::hint(self.named.spot, title).label(label).help(self.help());
        hint = hint.also(self.melody.spot, "the melody, in the chart's key");
        if let Some(tonight) = &self.outing.entry.key {
            hint = hint.also(tonight.spot, "the room's key");
        }
        let lifted = [low, high].into_iter().flatten().filter(|stop| stop.lift != 0);
        let mut lifting: Vec<_> = lifted.filter_map(|stop| stop.lifted_by).collect();
        lifting.dedup();
        Some(lifting.into_iter().fold(hint, |hint, spot| hint.also(spot, "the section's key")))
    }

    /// The stops at which the melody goes lowest and highest beyond a range.
    fn ends(&self, range: KeyRange) -> (Option<&Stop>, Option<&Stop>) {
        let (key, (lowest, highest)) = (self.outing.keys.tonight, numbers(range));
        let stops = &self.outing.stops;
        let low = stops.iter().min_by_key(|stop| stop.lift).filter(|stop| self.heard(key, stop).0 < lowest);
        // Of equals the first.
        let high = stops.iter().rev().max_by_key(|stop| stop.lift).filter(|stop| self.heard(key, stop).1 > highest);
        (low, high)
    }

    fn note(&self, number: i32, stop: &Stop) -> String {
        sounding(number, self.outing.keys.room_at(stop.lift, 0), self.octave)
    }

    fn help(&self) -> String {
        let tonight = self.outing.keys.tonight;
        let keys = || (1..=6).flat_map(|way| [-way, way]).map(|way| tonight.transposed(way));
        if let Some(key) = keys().find(|key| self.fits(*key)) {
            return format!("the nearest key that fits: write key = \"{key}\"");
        }
        match keys().find(|key| self.can_be_sung(*key)).filter(|_| !self.can_be_sung(tonight)) {
            Some(key) => format!("no key is comfortable; the nearest that can be sung: write key = \"{key}\""),
            None => self.octave_off().unwrap_or_else(|| {
                "no other key fits better: ask the singer, or leave the melody's ends to others".to_owned()
            }),
        }
    }

    /// Where the melody would fit an octave higher or lower in some key, and in none as it is written.
    fn octave_off(&self) -> Option<String> {
        let (low, high) = numbers(self.melody.value);
        let (lowest, highest) = numbers(self.singer.range);
        let octave = [12, -12].into_iter().find(|octave| {
            let fits = |way: i32| lowest <= low + octave + way && high + octave + way <= highest;
            // The nearest keys first: what is further away is another slip.
            (-3..=3).any(fits)
        })?;
        let written = |number: i32| u8::try_from(number).ok();
        let (low, high) = (written(low + octave)?, written(high + octave)?);
        let notes = range(low, high, self.melody_octave);
        let way = if octave > 0 { "lower" } else { "higher" };
        Some(format!(
            "no key fits, so the melody may be written an octave {way} than it is sung: write melody_range = {notes}"
        ))
    }
}
