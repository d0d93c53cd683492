//! Whether the parts of a map agree with one another: modes of keys, sections that are like others.

use super::diagnostic::{Diagnostic, FaultKind, quoted};
use super::reader::MapFile;
use super::{At, Section, Spot};
use crate::music::Key;

fn mode(key: Key) -> &'static str {
    if key.is_minor() { "minor" } else { "major" }
}

/// Reports a key that is not of the song's mode; what to write has the same letter.
pub(super) fn same_mode(map_file: &MapFile<'_>, what: &str, key: &At<Key>, song: Key, chart: Spot) {
    if key.value.is_minor() == song.is_minor() {
        return;
    }
    let written = key.value.to_string();
    let instead = if song.is_minor() { format!("{written}m") } else { written.trim_end_matches('m').to_owned() };
    let title = format!("{what} is {}, but the song is in {song}, which is {}", mode(key.value), mode(song));
    let fault = Diagnostic::error(FaultKind::Finding, key.spot, title);
    map_file.report(fault.help(format!("write \"{instead}\"")).also(chart, "the chart's key"));
}

/// Reports a fingers' key that is not of the song's mode.
pub(super) fn play_in(map_file: &MapFile<'_>, spot: Spot, key: Key, song: Key, chart: Spot) {
    if key.is_minor() != song.is_minor() {
        map_file.report(
            play_in_fault(spot, key, song).help(format!("write \"{}\"", key.relative())).also(chart, "the chart's key"),
        );
    }
}

/// The fault of a fingers' key of the other mode; what to write has the same keys under the fingers.
pub(super) fn play_in_fault(spot: Spot, key: Key, song: Key) -> Diagnostic {
    let title = format!("the fingers' key is {}, but the song is in {song}, which is {}", mode(key), mode(song));
    Diagnostic::error(FaultKind::Finding, spot, title)
}

/// A section and those that it is like, one after the other; ends where a circle would begin.
pub(super) fn lineage<'a>(sections: &'a [Section], start: &'a Section) -> (Vec<&'a Section>, bool) {
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
pub(super) fn no_circles(map_file: &MapFile<'_>, sections: &[Section]) {
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
        let fault = Diagnostic::error(FaultKind::Finding, like.spot, title);
        map_file
            .report(fault.help("take out one like, and give that section its zones by naming it in their sections"));
    }
}
