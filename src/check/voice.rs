//! Melodies outside a singer's range, and singers of whom something is missing.

use super::tonight::{Outing, Stop, Tonight};
use super::words::{from_to, middle_c, quoted, range, sounding};
use crate::evening::{Melody, Suits, numbers, octave_slip};
use crate::map::{At, Diagnostic, KeyRange, Singer};

/// Hint: a melody that leaves the singer's range at tonight's key or at a section's. Hint, softer: one that leaves
/// the comfortable range in more than half of tonight's sections; for a last chorus higher up a voice has its range.
/// The melody moves from the chart's key to the one that is heard by the nearest way. Hint: a song with a singer and
/// without a melody range. Hint: a comfortable range that goes beyond the whole one.
pub(super) fn find(tonight: &Tonight<'_>, found: &mut Vec<Diagnostic>) {
    found.extend(tonight.book.set.singers.iter().filter_map(|singer| beyond(tonight, singer)));
    let mut told: Vec<usize> = Vec::new();
    for outing in &tonight.outings {
        let song = tonight.pieces[outing.piece].song;
        let (named, singers): (Vec<_>, Vec<_>) = tonight.book.set.singers_of(outing.entry).unzip();
        let (Some(melody), Some(heard)) = (&song.melody_range, Melody::of(outing.entry, song)) else {
            if let Some(named) = named.first().filter(|_| song.melody_range.is_none() && !told.contains(&outing.piece))
            {
                told.push(outing.piece);
                found.push(without_melody(tonight, outing, named));
            }
            continue;
        };
        let octave = middle_c(tonight.book, outing.entry.spot);
        let melody_octave = tonight.pieces[outing.piece].octave;
        for (named, singer) in named.into_iter().zip(&singers) {
            let (heard, singers) = (&heard, &singers[..]);
            found.extend(Sung { outing, melody, heard, named, singer, singers, octave, melody_octave }.hint());
        }
    }
}

/// A song of which nobody can say whether it suits its singer.
fn without_melody(tonight: &Tonight<'_>, outing: &Outing<'_>, named: &At<String>) -> Diagnostic {
    let name = quoted(&named.value);
    let title = format!(
        "whether {} is comfortable for {name} cannot be said: its map has no melody range",
        tonight.title(outing)
    );
    let song = tonight.pieces[outing.piece].song;
    let hint = Diagnostic::hint(named.spot, title).also(song.title.spot, "in this map");
    hint.help(
        "write the lowest and the highest note of its melody there; of one from A3 to D5 that is melody_range = [\"A3\", \"D5\"]",
    )
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

/// A melody tonight, and one who sings it.
struct Sung<'t> {
    outing: &'t Outing<'t>,
    melody: &'t At<KeyRange>,
    heard: &'t Melody,
    named: &'t At<String>,
    singer: &'t Singer,
    /// All who sing it.
    singers: &'t [&'t Singer],
    /// How the set's file counts octaves.
    octave: i32,
    /// How the song's file does.
    melody_octave: i32,
}

impl Sung<'_> {
    fn hint(&self) -> Option<Diagnostic> {
        let key = self.outing.keys.tonight;
        let suits = self.heard.suits(key, self.singer);
        if suits == Suits::Well {
            return None;
        }
        let name = quoted(&self.singer.called);
        let in_words = |range: KeyRange| from_to(u8::from(range.0), u8::from(range.1), self.octave);
        let (range, than, label) = match self.singer.comfortable.filter(|_| suits == Suits::Just) {
            Some(range) => (range, format!("{name} is comfortable with"), format!("comfortable: {}", in_words(range))),
            None => (self.singer.range, format!("{name} reaches"), format!("sings {}", in_words(self.singer.range))),
        };
        let (low, high) = self.ends(range);
        let low_note = low.map(|stop| self.note(self.heard.heard(key, stop.lift).0, stop));
        let high_note = high.map(|stop| self.note(self.heard.heard(key, stop.lift).1, stop));
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
        let low = stops.iter().min_by_key(|stop| stop.lift).filter(|stop| self.heard.heard(key, stop.lift).0 < lowest);
        // Of equals the first.
        let high =
            stops.iter().rev().max_by_key(|stop| stop.lift).filter(|stop| self.heard.heard(key, stop.lift).1 > highest);
        (low, high)
    }

    fn note(&self, number: i32, stop: &Stop) -> String {
        sounding(number, self.outing.keys.room_at(stop.lift, 0), self.octave)
    }

    fn help(&self) -> String {
        let nearest = |wanted| self.heard.nearest(&self.outing.keys, self.singers, wanted);
        let all = if self.singers.len() > 1 { " all" } else { "" };
        if let Some(key) = nearest(Suits::Well) {
            return format!("the nearest key that fits{all}: write key = \"{key}\"");
        }
        let sung = self.heard.suits(self.outing.keys.tonight, self.singer) == Suits::Just;
        match nearest(Suits::Just).filter(|_| !sung) {
            Some(key) => format!("no key is comfortable; the nearest that can be sung: write key = \"{key}\""),
            None => self.octave_off().unwrap_or_else(|| {
                "no other key fits better: ask the singer, or leave the melody's ends to others".to_owned()
            }),
        }
    }

    /// Where the melody would fit an octave higher or lower in some key, and in none as it is written.
    fn octave_off(&self) -> Option<String> {
        let (low, high) = numbers(self.melody.value);
        let octave = octave_slip((low, high), self.singer.range)?;
        let written = |number: i32| u8::try_from(number).ok();
        let (low, high) = (written(low + octave)?, written(high + octave)?);
        let notes = range(low, high, self.melody_octave);
        let way = if octave > 0 { "lower" } else { "higher" };
        Some(format!(
            "no key fits, so the melody may be written an octave {way} than it is sung: write melody_range = {notes}"
        ))
    }
}
