//! `handspan singer`: which key suits who sings, with reasons, as a table and a drawing of the melody on the voice.

use std::path::Path;

use super::console::{Failure, tell};
use super::{maps, replay, set};
use crate::evening::{
    KeyChoice, Keys, Melody, Suits, easiest_fingers, entry_named, key_choices, numbers, octave_slip, title, title_of,
};
use crate::map::{At, Book, Entry, Singer, Song, Spot, clean};
use crate::music::key_finding::{by_class, find_keys};
use crate::music::{Key, VoiceType};
use crate::paper::drawing::key_name;
use crate::wording::{listed, voices};

pub(super) const HELP: &str = "Without a song: each song that somebody sings, with tonight's key and the best one.
With a song: the twelve keys, best first. A melody's notes are drawn █ where they are comfortable, ▒ where they can be sung, \
and × where they cannot.

Examples:
  handspan singer maps/midwinter.toml
  handspan singer maps/midwinter.toml \"Weir Gate\" --capo 3
  handspan singer maps/midwinter.toml 2 --voice tenor --fingers
  handspan singer maps/midwinter.toml 2 --melody sung.mid --use F

The program suggests; who sings decides. Pain or strain is a reason to stop and see a professional.

Exit codes: 0 done, 1 it could not be done, 2 the command line is wrong or a file cannot be read.";

/// A kind of voice, by its name.
pub(super) fn voice(name: &str) -> Result<VoiceType, String> {
    VoiceType::named(name).ok_or_else(|| format!("write one of {}", listed(&VoiceType::ALL.map(VoiceType::name))))
}

/// What the command line asks for.
pub(super) struct SingerOptions<'a> {
    /// The set's map.
    pub set: &'a str,
    /// A song by its title or position.
    pub song: Option<&'a str>,
    /// A take of the melody, in the chart's key.
    pub melody: Option<&'a Path>,
    /// A kind of voice, instead of those who sing.
    pub voice: Option<VoiceType>,
    /// The fret of a guitar's capo.
    pub capo: Option<u8>,
    /// Whether the fingers' keys are told too.
    pub fingers: bool,
    /// The key that is written into the set's file.
    pub chosen: Option<&'a str>,
}

pub(super) fn run(wanted: &SingerOptions<'_>) -> Result<(), Failure> {
    let book = maps::load_sound(wanted.set)?;
    let Some(named) = wanted.song else { return all_songs(&book) };
    let titles: Vec<String> = book.set.entries.iter().map(|entry| title(&book, entry).to_owned()).collect();
    let place = entry_named(&titles, named).ok_or_else(|| {
        Failure::Wrong(format!("the set has no song \"{named}\"; it has {}.", listed_titles(&titles)))
    })?;
    let entry = &book.set.entries[place];
    let song = entry.song.and_then(|song| book.songs.get(song));
    let song = song.ok_or_else(|| Failure::Wrong(format!("\"{}\" is a pause: nobody sings there.", titles[place])))?;
    let sung = Sung::of(wanted, &book, (entry, song), &titles[place])?;
    tell(&sung.told(wanted.capo).join("\n"));
    if wanted.fingers {
        tell(&fingers(&book, entry, song).join("\n"));
    }
    tell("");
    tell(voices::CAUTION);
    match wanted.chosen {
        None => Ok(()),
        Some(key) => set::write(wanted.set, &["song-key", &(place + 1).to_string(), key].map(str::to_owned)),
    }
}

fn listed_titles(titles: &[String]) -> String {
    titles.iter().filter(|title| !title.is_empty()).map(|title| format!("\"{title}\"")).collect::<Vec<_>>().join(", ")
}

/// A line for each song that somebody sings.
fn all_songs(book: &Book) -> Result<(), Failure> {
    let mut lines = Vec::new();
    for (place, entry) in book.set.entries.iter().enumerate() {
        let singers: Vec<&Singer> = book.set.singers_of(entry).map(|(_, singer)| singer).collect();
        let Some(song) = entry.song.and_then(|song| book.songs.get(song)).filter(|_| !singers.is_empty()) else {
            continue;
        };
        let name = format!("{:3}  {}", place + 1, title_of(book, place));
        let Some(melody) = Melody::of(entry, song) else {
            lines.push(format!("{name}: {}", voices::no_melody(title_of(book, place))));
            continue;
        };
        let choices = key_choices(book, (entry, song), &melody, &singers);
        let tonight = Keys::of(book, entry, song).tonight;
        let now = choices.iter().find(|choice| choice.keys.tonight == tonight);
        let lies = |choice: &KeyChoice| lie(choice, &singers);
        let best = choices.first().filter(|best| best.keys.tonight != tonight);
        let better = best.filter(|best| now.is_none_or(|now| best.suits() < now.suits()));
        lines.push(format!("{name}: room {tonight}, {}", now.map(lies).unwrap_or_default()));
        lines.extend(better.map(|best| format!("     better: {}, {}", best.keys.tonight, lies(best))));
    }
    if lines.is_empty() {
        return Err(Failure::Failed(voices::NOBODY_SINGS.to_owned()));
    }
    lines.iter().for_each(|line| tell(line));
    tell("");
    tell(voices::CAUTION);
    Ok(())
}

/// How a key lies for each who sings.
fn lie(choice: &KeyChoice, singers: &[&Singer]) -> String {
    let each = choice.asked.iter().zip(singers);
    each.map(|(asked, singer)| format!("{} {}", clean(&singer.called), voices::lies(asked)))
        .collect::<Vec<_>>()
        .join("; ")
}

/// The keys in which the fingers lie easiest, with the shift that belongs to each.
fn fingers(book: &Book, entry: &Entry, song: &Song) -> Vec<String> {
    const SHOWN: usize = 4;
    let keys = Keys::of(book, entry, song);
    let easiest = easiest_fingers((entry, song));
    if easiest.is_empty() {
        return vec![String::new(), "No chords are written, so black keys cannot be counted.".to_owned()];
    }
    let mut lines =
        vec![String::new(), format!("The easiest keys for the fingers while the room hears {}:", keys.tonight)];
    for (key, black) in easiest.into_iter().take(SHOWN) {
        let now = if key == keys.play_in { "  as now" } else { "" };
        let shift = key.nearest_way(keys.tonight);
        lines.push(format!(
            "  play_in = {:5} black keys in the chords: {black:3}, shift {shift:+}{now}",
            format!("\"{key}\"")
        ));
    }
    lines
}

/// A song with its melody and those who sing it.
struct Sung<'b> {
    book: &'b Book,
    entry: &'b Entry,
    song: &'b Song,
    melody: Melody,
    singers: Vec<Singer>,
    /// What is to be told of a played melody.
    remark: Option<String>,
}

impl<'b> Sung<'b> {
    fn of(
        wanted: &SingerOptions<'_>,
        book: &'b Book,
        (entry, song): (&'b Entry, &'b Song),
        title: &str,
    ) -> Result<Sung<'b>, Failure> {
        let singers: Vec<Singer> = match wanted.voice {
            Some(voice) => vec![of_voice(voice, entry.spot)],
            None => book.set.singers_of(entry).map(|(_, singer)| singer.clone()).collect(),
        };
        if singers.is_empty() {
            return Err(Failure::Wrong(voices::nobody(title)));
        }
        let Some(take) = wanted.melody else {
            let melody = Melody::of(entry, song).ok_or_else(|| Failure::Wrong(voices::no_melody(title)))?;
            return Ok(Sung { book, entry, song, melody, singers, remark: None });
        };
        let times = replay::read_take(take)?.note_times();
        let name = take.display().to_string();
        let melody = Melody::played(entry, song, times).ok_or_else(|| Failure::Wrong(voices::empty_melody(&name)))?;
        let remark = key_of(&times).filter(|found| *found != song.key.value && *found != song.key.value.relative());
        let remark = remark.map(|found| voices::other_key(&found.to_string(), &song.key.value.to_string()));
        Ok(Sung { book, entry, song, melody, singers, remark })
    }

    /// The twelve keys, best first, each with the melody drawn on the voice.
    fn told(&self, capo: Option<u8>) -> Vec<String> {
        let singers: Vec<&Singer> = self.singers.iter().collect();
        let choices = key_choices(self.book, (self.entry, self.song), &self.melody, &singers);
        let scale = Scale::over(&choices, &singers);
        let mut lines: Vec<String> = self.remark.iter().cloned().collect();
        lines.push(format!("{:12}{}", "", scale.names()));
        for singer in &singers {
            let name: String = clean(&singer.called).chars().take(11).collect();
            lines.push(format!("{name:12}{}", scale.voice(singer)));
        }
        let tonight = Keys::of(self.book, self.entry, self.song).tonight;
        for choice in &choices {
            let key = choice.keys.tonight;
            let mark = if key == tonight {
                "tonight"
            } else if key == self.song.key.value {
                "chart"
            } else {
                ""
            };
            let mut words = vec![lie(choice, &singers), format!("{:+} from the chart", choice.way())];
            words.push(format!("signature {}", voices::signature(key)));
            words.extend(choice.black.map(|black| format!("black keys {black}")));
            words.extend(capo.map(|fret| format!("capo {fret}: shapes in {}", key.transposed(-i32::from(fret)))));
            let drawn = scale.melody(choice, &singers);
            lines.push(format!("{:3} {mark:8}{drawn}  {}", key.to_string(), words.join(" · ")));
        }
        lines.extend(self.no_key_fits(&choices, &singers));
        lines
    }

    fn no_key_fits(&self, choices: &[KeyChoice], singers: &[&Singer]) -> Option<String> {
        let best = choices.first().filter(|best| best.suits() == Suits::Not)?;
        let (low, high) = self.melody.range();
        let slip = singers.iter().find_map(|singer| octave_slip((low, high), singer.range));
        let notes = slip
            .map(|octave| [low + octave, high + octave].map(named))
            .map(|[low, high]| format!("[\"{low}\", \"{high}\"]"));
        let slip = slip.zip(notes.as_deref());
        Some(voices::no_key_fits(&best.keys.tonight.to_string(), &lie(best, singers), slip))
    }
}

/// A singer of whom nothing is known but the kind of voice.
fn of_voice(voice: VoiceType, spot: Spot) -> Singer {
    let name = At { value: voice.name().to_owned(), spot };
    Singer {
        name,
        called: voice.name().to_owned(),
        voice: Some(voice),
        range: voice.range(),
        comfortable: Some(voice.comfortable()),
    }
}

/// A note's name; nothing for what is none.
fn named(number: i32) -> String {
    u8::try_from(number).map(key_name).unwrap_or_default()
}

/// The key that a played melody is most likely in.
fn key_of(times: &[u64; 128]) -> Option<Key> {
    Some(find_keys(&by_class(times))?.first()?.key)
}

/// Semitones as columns.
struct Scale {
    low: i32,
    high: i32,
}

impl Scale {
    /// Wide enough for all voices and for the melody in all keys.
    fn over(choices: &[KeyChoice], singers: &[&Singer]) -> Scale {
        let heard = choices.iter().flat_map(|choice| &choice.asked).map(|asked| asked.heard);
        let all = singers.iter().map(|singer| numbers(singer.range)).chain(heard);
        let (low, high) = all.fold((127, 0), |(low, high), (lowest, highest)| (low.min(lowest), high.max(highest)));
        Scale { low: low.max(0), high: high.min(127) }
    }

    fn columns(&self, of: impl Fn(i32) -> char) -> String {
        (self.low..=self.high).map(of).collect()
    }

    /// The Cs and Fs by name, each over its column.
    fn names(&self) -> String {
        let mut line = String::new();
        for key in (self.low..=self.high).filter(|key| matches!(key % 12, 0 | 5)) {
            let column = usize::try_from(key - self.low).unwrap_or(0);
            line.push_str(&" ".repeat(column.saturating_sub(line.chars().count())));
            line.push_str(&named(key));
        }
        line
    }

    /// A voice: what it sings with ease, and what it can sing.
    fn voice(&self, singer: &Singer) -> String {
        self.columns(|key| match (easy(singer, key), can(singer, key)) {
            (true, _) => '━',
            (false, true) => '─',
            _ => ' ',
        })
    }

    /// The melody in a key, as it lies for the voice for which it lies worst.
    fn melody(&self, choice: &KeyChoice, singers: &[&Singer]) -> String {
        let Some((low, high)) = choice.asked.first().map(|asked| asked.heard) else { return String::new() };
        self.columns(|key| match (low..=high).contains(&key) {
            false => '·',
            true if singers.iter().any(|singer| !can(singer, key)) => '×',
            true if singers.iter().any(|singer| !easy(singer, key)) => '▒',
            true => '█',
        })
    }
}

fn can(singer: &Singer, key: i32) -> bool {
    let (low, high) = numbers(singer.range);
    (low..=high).contains(&key)
}

fn easy(singer: &Singer, key: i32) -> bool {
    let (low, high) = numbers(singer.comfortable.unwrap_or(singer.range));
    (low..=high).contains(&key)
}
