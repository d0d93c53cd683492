//! Whether the parts of a map agree with one another: modes of keys, sections that are like others,
//! sounds that share a channel.

use super::diagnostic::{Diagnostic, Kind, quoted};
use super::reader::Page;
use super::{At, Gear, Section, Song, Sound, Spot, Zone};
use crate::music::Key;

fn mode(key: Key) -> &'static str {
    if key.is_minor() { "minor" } else { "major" }
}

/// Reports a key that is not of the song's mode; what to write has the same letter.
pub(super) fn same_mode(page: &Page<'_>, what: &str, key: &At<Key>, song: Key, chart: Spot) {
    if key.value.is_minor() == song.is_minor() {
        return;
    }
    let written = key.value.to_string();
    let instead = if song.is_minor() { format!("{written}m") } else { written.trim_end_matches('m').to_owned() };
    let title = format!("{what} is {}, but the song is in {song}, {}", mode(key.value), mode(song));
    let fault = Diagnostic::error(Kind::Finding, key.spot, title).label(mode(key.value));
    page.report(fault.help(format!("write \"{instead}\"")).also(chart, "the chart's key"));
}

/// Reports a play-in key that is not of the song's mode.
pub(super) fn play_in(page: &Page<'_>, spot: Spot, key: Key, song: Key, chart: Spot) {
    if key.is_minor() != song.is_minor() {
        page.report(
            play_in_fault(spot, key, song).help(format!("write \"{}\"", key.relative())).also(chart, "the chart's key"),
        );
    }
}

/// The fault of a play-in key of the other mode; what to write has the same keys under the fingers.
pub(super) fn play_in_fault(spot: Spot, key: Key, song: Key) -> Diagnostic {
    let title = format!("the play-in key is {}, but the song is in {song}, {}", mode(key), mode(song));
    Diagnostic::error(Kind::Finding, spot, title).label(mode(key))
}

/// A section and those that it is like, one after the other; ends where a circle would begin.
fn lineage<'a>(sections: &'a [Section], start: &'a Section) -> (Vec<&'a Section>, bool) {
    let mut line = vec![start];
    let mut next = start.like.as_ref();
    while let Some(like) = next {
        let Some(section) = sections.iter().find(|section| section.name.value == like.value) else { break };
        if line.iter().any(|known| std::ptr::eq(*known, section)) {
            return (line, true);
        }
        line.push(section);
        next = section.like.as_ref();
    }
    (line, false)
}

/// Reports sections that are like themselves, by whatever way round; each circle once.
pub(super) fn no_circles(page: &Page<'_>, sections: &[Section]) {
    let mut reported: Vec<&str> = Vec::new();
    for section in sections {
        let (line, circle) = lineage(sections, section);
        let back = circle
            && line.last().and_then(|last| last.like.as_ref()).is_some_and(|like| like.value == section.name.value);
        let Some(like) = section.like.as_ref().filter(|_| back && !reported.contains(&section.name.value.as_str()))
        else {
            continue;
        };
        reported.extend(line.iter().map(|section| section.name.value.as_str()));
        let title = if line.len() == 1 {
            format!("the section {} is like itself", quoted(&section.name.value))
        } else {
            let names: Vec<String> = line.iter().map(|section| quoted(&section.name.value)).collect();
            format!("the sections {} are like one another in a circle", names.join(", "))
        };
        let fault = Diagnostic::error(Kind::Finding, like.spot, title).label("leads back here");
        page.report(fault.help("take out one like, and give that section its zones by naming it in their sections"));
    }
}

/// Reports two sounds of one output and channel that are in use together: a channel has one program.
pub(super) fn one_sound_a_place(page: &Page<'_>, song: &Song, gear: &Gear) {
    let sound = |zone: &Zone| gear.sounds.iter().find(|sound| sound.name.value == zone.sound.value);
    let placed: Vec<(&Zone, &Sound)> = song.zones.iter().filter_map(|zone| Some((zone, sound(zone)?))).collect();
    let mut reported: Vec<(&str, &str)> = Vec::new();
    for (index, (later, second)) in placed.iter().enumerate() {
        for (earlier, first) in &placed[..index] {
            let pair = (first.name.value.as_str(), second.name.value.as_str());
            let apart = first.output.value != second.output.value || first.channel != second.channel;
            if pair.0 == pair.1 || apart || reported.contains(&pair) || reported.contains(&(pair.1, pair.0)) {
                continue;
            }
            let Some(place) = together(song, earlier, later) else { continue };
            reported.push(pair);
            let (one, other) = (quoted(pair.0), quoted(pair.1));
            let title =
                format!("the sounds {one} and {other} play together{place} on one channel, which has room for one");
            let fault = Diagnostic::error(Kind::Finding, later.sound.spot, title).label("in use together");
            let where_it_is = format!("output {}, channel {}", quoted(&first.output.value), first.channel.number());
            page.report(
                fault
                    .help("give one of the two another channel or output in the gear, or keep their zones in different sections")
                    .also(earlier.sound.spot, "with this one")
                    .also(first.name.spot, where_it_is.clone())
                    .also(second.name.spot, where_it_is),
            );
        }
    }
}

/// Where two zones are in use together: ` in section "Chorus"`, or everywhere in a song without sections.
fn together(song: &Song, one: &Zone, other: &Zone) -> Option<String> {
    if song.sections.is_empty() {
        return Some(String::new());
    }
    let has = |zone: &Zone, line: &[&Section]| match &zone.sections {
        None => true,
        Some(names) => names.iter().any(|name| line.iter().any(|section| section.name.value == name.value)),
    };
    let both = |section: &&Section| {
        let (line, _) = lineage(&song.sections, section);
        has(one, &line) && has(other, &line)
    };
    song.sections.iter().find(both).map(|section| format!(" in the section {}", quoted(&section.name.value)))
}
