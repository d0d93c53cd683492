//! What each zone of a song makes of the hand, in the player's words.

use crate::evening::{Keys, Offset, zone_fits};
use crate::map::{Book, Drone, Linger, Plays, Song, Sound, StayInKey, Zone};
use crate::midi::Note;
use crate::music::{Speller, note, scale};

/// How much is said of a zone.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Detail {
    /// What it does to its notes.
    Short,
    /// Also what it does for the hand, a line for each field that helps.
    Helping,
}

/// The zones of a song by name, each with what it makes of its keys; then the drone.
pub(crate) fn words(book: &Book, song: &Song, keys: &Keys, detail: Detail) -> Vec<String> {
    let width = song.zones.iter().map(|zone| zone.name.chars().count()).max().unwrap_or(0).max(5);
    let mut lines = Vec::new();
    let mut say = |name: &str, said: Vec<String>| {
        for (number, words) in said.into_iter().enumerate() {
            let name = if number == 0 { name } else { "" };
            lines.push(format!("{name:width$}  {words}"));
        }
    };
    for zone in &song.zones {
        let mut said: Vec<String> = Some(facts(zone, keys)).filter(|facts| !facts.is_empty()).into_iter().collect();
        if detail == Detail::Helping {
            said.extend(helps(zone, song));
        }
        say(&zone.name, said);
    }
    if let Some(drone) = song.drone.as_ref().filter(|_| detail == Detail::Helping) {
        say("drone", drones(book, drone, keys));
    }
    lines
}

/// What a zone does to its notes, in a few words.
fn facts(zone: &Zone, keys: &Keys) -> String {
    let words: Vec<String> = pitch(zone, keys).into_iter().chain(touch(zone)).chain(place(zone)).collect();
    words.join(", ")
}

/// Where a zone puts its notes.
pub(crate) fn pitch(zone: &Zone, keys: &Keys) -> Option<String> {
    let moved = Offset::of(zone).at(keys.shift);
    match &zone.within {
        Some(range) => {
            let (low, high) = range.value;
            Some(format!("within {}–{}", note::name(low, 4), note::name(high, 4)))
        }
        None if moved != 0 => Some(format!("{moved:+} semitones")),
        None => None,
    }
}

/// Which velocities a zone takes, and how loud it makes them.
pub(crate) fn touch(zone: &Zone) -> Vec<String> {
    let (low, high) = zone.velocity.value;
    let window = (zone.velocity.value != (1, 127)).then(|| format!("velocity {low}–{high}"));
    let level = (zone.level != 0.0).then(|| format!("{:+} dB", zone.level));
    window.into_iter().chain(level).collect()
}

/// When a zone plays, and whether others beside it do.
pub(crate) fn place(zone: &Zone) -> Vec<String> {
    let mut words = Vec::new();
    if let Some(sections) = &zone.sections {
        let names: Vec<&str> = sections.iter().map(|section| section.value.as_str()).collect();
        words.push(format!("in {}", names.join(", ")));
    }
    if zone.exclusive {
        words.push("its keys go to no other zone".to_owned());
    }
    if !zone.on {
        words.push("off until turned on".to_owned());
    }
    words
}

/// What a zone does for the hand, a line for each field that helps.
pub(crate) fn helps(zone: &Zone, song: &Song) -> Vec<String> {
    let mut lines = Vec::new();
    let what = match zone.plays {
        Plays::AsPressed => None,
        Plays::Root => Some("follows the chord: its root"),
        Plays::RootFifth => Some("follows the chord: its root and fifth"),
        Plays::Chord => Some("follows the chord: each of its notes, moving as little as it can"),
        Plays::Lowest => Some("takes the lowest key alone, at once"),
        Plays::Highest => Some("takes the highest key alone, at once"),
    };
    if let Some(what) = what {
        let until = match zone.linger {
            Linger::Next => "until the next chord",
            Linger::Off | Linger::Toggle => "while a key is held",
        };
        lines.push(format!("{what}, {until}"));
        let follows = !matches!(zone.plays, Plays::Lowest | Plays::Highest);
        if follows {
            lines.push("a tune over a chord that is held changes nothing".to_owned());
        }
        lines.extend(match zone.min_keys {
            0 | 1 => None,
            2 => Some("single notes change nothing".to_owned()),
            3 if follows => Some("one or two keys change nothing, save a bare fifth or a broken chord".to_owned()),
            least => Some(format!("fewer than {least} keys change nothing")),
        });
    }
    if zone.one_key_chord {
        lines.push("one finger plays the chord written on its key; one chord at a time".to_owned());
        lines.push("a key without a name plays its root and fifth".to_owned());
    }
    match zone.linger {
        Linger::Next if what.is_none() => {
            lines.push("notes are held until you play again: move your hand without a gap".to_owned());
        }
        Linger::Toggle => lines.push("a note is held until you strike its key again".to_owned()),
        Linger::Off | Linger::Next => {}
    }
    if zone.fade > 0 {
        lines.push(format!("fades out over {}", seconds(zone.fade)));
    }
    lines.extend(match zone.stay_in_key {
        StayInKey::Off => None,
        StayInKey::Nearest => Some(format!("a wrong note sounds as the nearest that fits: •{}", hollow(song, zone))),
        StayInKey::Silent => Some(format!("only keys that fit sound: •{}", hollow(song, zone))),
    });
    if zone.by_handful {
        lines.push("one note that hard lets in all that are struck with it".to_owned());
    }
    lines
}

/// What a hollow dot means, where there is one.
fn hollow(song: &Song, zone: &Zone) -> &'static str {
    let fits = zone_fits(song, zone, None, song.key.value.tonic());
    if fits.somewhere == fits.everywhere { "" } else { ", and ◦ in some sections" }
}

/// What a song's drone is.
pub(crate) fn drones(book: &Book, drone: &Drone, keys: &Keys) -> Vec<String> {
    let goes = book.gear.sound(&drone.sound.value).map_or_else(String::new, |sound| format!(" {}", goes(sound)));
    let tonic = 12 * (drone.octave + 1) + i32::from(keys.tonight.tonic());
    let (minor, speller) = (keys.tonight.is_minor(), Speller::from(keys.tonight));
    let mut degrees = drone.degrees.clone();
    degrees.sort_unstable();
    let notes: Vec<String> = degrees
        .iter()
        .filter_map(|degree| u8::try_from(tonic + i32::from(scale::step(minor, *degree))).ok())
        .filter_map(|note| Note::try_from(note).ok())
        .map(|note| speller.note(note, 4))
        .collect();
    let mut lines = vec![
        format!("{}{goes}: sounds from when you turn it on until you turn it off", notes.join(" ")),
        "goes on into the next song, and moves to its key with your first chord there".to_owned(),
    ];
    if drone.fade > 0 {
        lines.push(format!("fades out over {}", seconds(drone.fade)));
    }
    lines
}

/// A time in seconds.
pub(crate) fn seconds(micros: u64) -> String {
    format!("{} s", micros as f64 / 1e6)
}

/// Where a sound goes: `→ keys 1`.
pub(crate) fn goes(sound: &Sound) -> String {
    format!("→ {} {}", sound.output.value, sound.channel.number())
}
