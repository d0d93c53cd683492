//! `handspan key`: which key a take is in, and what its melody spans.

use std::path::Path;

use toml_edit::{Array, DocumentMut, Item};

use super::console::{Failure, tell};
use super::{maps, replay};
use crate::daemon::changes::{self, Saved, set_field};
use crate::map::{MapKind, octave_of_middle_c};
use crate::midi::Note;
use crate::music::key_finding::{FoundKey, by_class, find_keys};
use crate::music::{Key, note};
use crate::paper::drawing::key_name;
use crate::wording::notices::sentence;
use crate::wording::voices;

pub(super) const HELP: &str =
    "It holds how long each tone sounds against how well each fits a key: the profiles of Krumhansl \
and Kessler (1982). The agreement goes from -1 to 1. Percussion, the tenth channel, is left out.

Examples:
  handspan key sung.mid
  handspan key maps/takes/weir-gate.mid
  handspan key sung.mid --write songs/lantern.toml

Exit codes: 0 done, 1 it could not be written, 2 the command line is wrong or a file cannot be read.";

/// So many keys are told.
const SHOWN: usize = 5;
/// Columns of a bar for an agreement of 1.
const BAR: f64 = 40.0;

/// Says which key a take is in, and writes it into the map of a song if one is given.
///
/// # Errors
/// The take or the map cannot be read, the take has no key, or the map cannot be written.
pub(super) fn run(take: &Path, song: Option<&str>) -> Result<(), Failure> {
    let song = song.map(SongFile::open).transpose()?;
    let times = replay::read_take(take)?.note_times();
    let name = take.display().to_string();
    let found = find_keys(&by_class(&times)).ok_or_else(|| Failure::Wrong(voices::no_key(&name)))?;
    for FoundKey { key, agreement } in found.iter().take(SHOWN) {
        let bar = "█".repeat((agreement.max(0.0) * BAR).round() as usize);
        tell(&format!("{:4} {agreement:5.2}  {bar}", key.to_string()));
    }
    let [best, next, ..] = &found[..] else { return Ok(()) };
    let lead = best.agreement - next.agreement;
    tell(&voices::certainty(&best.key.to_string(), &next.key.to_string(), lead));
    let mut sounding = (0..128_u8).filter(|note| times[usize::from(*note)] > 0);
    // A take with a key has a note.
    let Some(low) = sounding.next() else { return Ok(()) };
    let high = sounding.next_back().unwrap_or(low);
    if let Some(song) = song {
        return song.write(best.key, (low, high));
    }
    tell("");
    tell("For the song's map, if the take is its melody (or with --write and its file):");
    tell(&format!("  key = \"{}\"", best.key));
    tell(&format!("  melody_range = [\"{}\", \"{}\"]", key_name(low), key_name(high)));
    Ok(())
}

/// The map of a song as a text in which fields are given other values, comments and layout kept.
struct SongFile<'a> {
    path: &'a str,
    document: DocumentMut,
}

impl SongFile<'_> {
    fn open(path: &str) -> Result<SongFile<'_>, Failure> {
        let text = maps::read_text(path)?;
        let no_song = || Failure::Wrong(format!("{path} is not the map of a song: name the file that holds the song."));
        let document = text.parse().ok().filter(|_| MapKind::of(&text) == Some(MapKind::Song)).ok_or_else(no_song)?;
        Ok(SongFile { path, document })
    }

    fn text(&self, field: &str) -> Option<&str> {
        self.document.get(field).and_then(Item::as_str)
    }

    /// Writes the key and what the melody spans, its notes as this file counts octaves.
    fn write(mut self, key: Key, (low, high): (u8, u8)) -> Result<(), Failure> {
        let fingers = self.text("play_in").and_then(|fingers| fingers.parse::<Key>().ok());
        if let Some(fingers) = fingers.filter(|fingers| fingers.is_minor() != key.is_minor()) {
            let path = self.path;
            return Err(Failure::Failed(format!(
                "{path} has play_in = \"{fingers}\", and {key} is of another mode: give play_in a key that agrees first. \
                 Nothing was written."
            )));
        }
        let octave = self.text("middle_c").and_then(octave_of_middle_c).unwrap_or(4);
        let name = |key: u8| Note::try_from(key).map_or_else(|_| key.to_string(), |key| note::name(key, octave));
        let span: Array = [name(low), name(high)].into_iter().collect();
        let was = self.text("key").unwrap_or_default().to_owned();
        let table = self.document.as_table_mut();
        set_field(table, "key", key.to_string().into());
        set_field(table, "melody_range", span.into());
        let saved = changes::replace(self.path, &self.document.to_string())
            .map_err(|error| Failure::Failed(sentence(&error)))?;
        tell(&voices::key_written(self.path, &was, &key.to_string()));
        tell(&Saved::words(&[saved]));
        Ok(())
    }
}
