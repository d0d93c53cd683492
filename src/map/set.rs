//! Reads a set.

use super::allowed::VOICES;
use super::deeds::Around;
use super::diagnostic::{Diagnostic, FaultKind};
use super::draft::Draft;
use super::names::{Known, Names};
use super::reader::{Fields, Value};
use super::{At, Entry, PlayIn, Set, Singer, Spot, agree, deeds, song, values};
use crate::music::VoiceType;

/// A file that a set names, and where.
pub(super) type NamedFile = At<String>;

/// A set that is read in two goes: first the files that it names, then what depends on them.
pub(super) struct Opened<'a> {
    top: Fields<'a>,
    entries: Vec<Fields<'a>>,
    /// The gear file, if it names one.
    pub gear: Option<NamedFile>,
    /// For each entry the song's file, if it names one.
    pub songs: Vec<Option<NamedFile>>,
}

/// Finds the files that a set names.
pub(super) fn files(mut top: Fields<'_>) -> Opened<'_> {
    values::middle_c(&mut top);
    let gear = top.need("gear").and_then(|value| value.long_text());
    let mut entries = top.list_of("song", "an entry of the set");
    let songs = entries.iter_mut().map(|entry| entry.take("map").and_then(|value| value.long_text())).collect();
    Opened { top, entries, gear, songs }
}

/// Reads the rest of a set. `index` gives each entry's song among `songs`, `None` where its file could not be read;
/// `gear` has the names of the gear.
pub(super) fn read(opened: Opened<'_>, index: &[Option<usize>], songs: &[Draft], gear: &Names) -> Set {
    let Opened { mut top, entries, .. } = opened;
    let map_file = top.map_file;
    let title = top.need("title").and_then(|value| value.text()).map(|at| at.value).unwrap_or_default();
    let play_in = top.take("play_in").and_then(|value| values::play_in(&value));
    let remark = top.take("remark").and_then(|value| value.long_text()).map(|at| at.value);
    let (singers, voices) = singers(&mut top);
    let unread = entries.is_empty() && top.has("song") && !top.is_empty_list("song");
    if !map_file.may_have("map") && !unread && !entries.iter().any(|entry| entry.has("map")) {
        let fault = Diagnostic::error(FaultKind::Finding, top.spot, "the set has no song");
        map_file.report(fault.help("write [[song]], and below it map = \"songs/first-snow.toml\""));
    }
    let zones = zones_of_all(songs, index, &entries);
    let around = Around { outputs: &gear.outputs, zones: &zones, drone: true };
    let entries: Vec<Entry> = entries
        .into_iter()
        .zip(index)
        .map(|(entry, index)| match entry.has("map") {
            true => performed(entry, *index, (index.and_then(|index| songs.get(index)), &voices), around),
            false => pause(entry, around),
        })
        .collect();
    top.done();
    if let Some(At { value: PlayIn::Key(key), spot }) = play_in {
        for fault in disagreeing(key, spot, &entries, songs) {
            map_file.report(fault);
        }
    }
    Set { title, remark, play_in, singers, entries }
}

fn singers(top: &mut Fields<'_>) -> (Vec<Singer>, Known<()>) {
    let mut known = Known::new("singer", "the set", top.map_file.has_all_names());
    let table = top.take("singers").and_then(|value| value.table("singers"));
    let named = table.map(|table| table.named().collect::<Vec<_>>()).unwrap_or_default();
    let singer = |(name, value): (At<String>, Value<'_>)| {
        known.list.push((name.value.clone(), ()));
        let mut fields = value.table("a singer")?;
        let called = fields.take("name").and_then(|value| value.text()).map(|at| at.value);
        let called = called.unwrap_or_else(|| name.value.clone());
        let (own, kind) = (fields.take("range"), fields.take("voice"));
        let voice = kind.as_ref().and_then(|value| value.choice(&VOICES));
        let range = match (&own, &kind) {
            (None, None) => {
                fields.missing("range");
                None
            }
            (Some(_), Some(kind)) => {
                kind.finding(
                    "a singer has a range or a kind of voice, not both",
                    "take voice out: the range says more",
                );
                None
            }
            (Some(own), None) => values::range(own).map(|at| at.value),
            (None, Some(_)) => voice.map(VoiceType::range),
        };
        let comfortable = fields.take("comfortable").map(|value| values::range(&value).map(|at| at.value));
        fields.done();
        let comfortable = comfortable.unwrap_or_else(|| voice.map(VoiceType::comfortable));
        Some(Singer { name, called, voice, range: range?, comfortable })
    };
    let singers = named.into_iter().filter_map(singer).collect();
    (singers, known)
}

/// The zones of all songs: a pause may follow any of them.
fn zones_of_all(songs: &[Draft], index: &[Option<usize>], entries: &[Fields<'_>]) -> Known<()> {
    let read = entries.iter().zip(index).all(|(entry, index)| index.is_some() || !entry.has("map"));
    let mut zones = Known::new("zone", "any song", read && songs.iter().all(|draft| draft.zones.whole));
    zones.list = songs.iter().flat_map(|draft| draft.zones.list.iter().cloned()).collect();
    zones
}

fn performed(
    mut fields: Fields<'_>,
    index: Option<usize>,
    (draft, voices): (Option<&Draft>, &Known<()>),
    around: Around<'_>,
) -> Entry {
    let map_file = fields.map_file;
    let nothing = Known::new("section", "the song", false);
    let sections = draft.map_or(&nothing, |draft| &draft.sections);
    let around = match draft {
        Some(draft) => Around { zones: &draft.zones, drone: draft.has_drone, ..around },
        None => around,
    };
    let song_key = draft.and_then(|draft| draft.key.map(|key| (key, draft.song.key.spot)));
    let entry = Entry {
        spot: fields.spot,
        song: index,
        title: fields.take("title").and_then(|value| value.text()).map(|at| at.value),
        key: fields.take("key").and_then(|value| values::key(&value)),
        play_in: fields.take("play_in").and_then(|value| values::play_in(&value)),
        shift: fields.take("shift").and_then(|value| values::shift(&value)),
        order: fields.take("order").and_then(|value| song::order(&value, sections)),
        singers: fields.take("singer").map(|value| singers_named(&value)).unwrap_or_default(),
        remark: fields.take("remark").and_then(|value| value.long_text()).map(|at| at.value),
        on_entering: deeds::list(fields.take("on_entering"), around),
    };
    fields.done();
    for singer in &entry.singers {
        voices.find(map_file, singer);
    }
    if let Some((song_key, chart)) = song_key {
        if let Some(key) = &entry.key {
            agree::same_mode(map_file, "the room's key", key, song_key, chart);
        }
        if let Some(At { value: PlayIn::Key(key), spot }) = entry.play_in {
            agree::play_in(map_file, spot, key, song_key, chart);
        }
    }
    entry
}

/// One singer, or a list of them.
fn singers_named(value: &Value<'_>) -> Vec<At<String>> {
    match value.is_list() {
        true => values::names(value, false).unwrap_or_default(),
        false => value.text().into_iter().collect(),
    }
}

/// An entry without a map.
fn pause(mut fields: Fields<'_>, around: Around<'_>) -> Entry {
    let map_file = fields.map_file;
    let title = fields.take("title");
    let unread = map_file.may_have("map");
    if title.is_none() && !unread && !map_file.may_have("title") {
        let title = "this entry has neither a map nor a title";
        let help = "write map = \"songs/first-snow.toml\" for a song, or title = \"Welcome\" for a pause";
        map_file.report(Diagnostic::error(FaultKind::Finding, fields.spot, title).help(help));
    }
    let title = title.and_then(|value| value.text()).map(|at| at.value);
    let remark = fields.take("remark").and_then(|value| value.long_text()).map(|at| at.value);
    for name in ["key", "play_in", "shift", "order", "singer"] {
        if let Some(value) = fields.take(name).filter(|_| !unread) {
            let help = format!("take {name} out, or write map = \"…\" with the song's file");
            value.finding(format!("an entry without a map is a pause, which has no {name}"), help);
        }
    }
    let spot = fields.spot;
    let on_entering = deeds::list(fields.take("on_entering"), around);
    fields.done();
    Entry {
        spot,
        song: None,
        title,
        key: None,
        play_in: None,
        shift: None,
        order: None,
        singers: Vec::new(),
        remark,
        on_entering,
    }
}

/// Songs that say nothing of their fingers' key, and whose mode is not that of the set's.
fn disagreeing(key: crate::music::Key, spot: Spot, entries: &[Entry], songs: &[Draft]) -> Vec<Diagnostic> {
    let mut faults = Vec::new();
    for entry in entries.iter().filter(|entry| entry.play_in.is_none()) {
        let Some(draft) = entry.song.and_then(|index| songs.get(index)).filter(|draft| draft.song.play_in.is_none())
        else {
            continue;
        };
        if let Some(song) = draft.key.filter(|song| song.is_minor() != key.is_minor()) {
            let help = format!("write play_in = \"{}\" at this song, here or in its own file", key.relative());
            let fault = agree::play_in_fault(spot, key, song).help(help).also(entry.spot, "for this song");
            faults.push(fault.also(draft.song.key.spot, "the chart's key"));
        }
    }
    faults
}
