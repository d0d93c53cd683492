//! What is meant to help one hand, but does not: fingers that nothing plays, zones that never get keys enough, chords of
//! a section in another key than they are read in.

use super::keyboard;
use super::part::ResolvedZone;
use super::tonight::{SongTonight, Tonight};
use super::words::{joined, quoted};
use crate::evening::chord_on;
use crate::map::{Diagnostic, FaultKind, Input, PlayIn, Section, Song, Spot};
use crate::music::chord::Bar;
use crate::music::{Chord, Key};

/// Error: a zone that derives its notes from more keys than it has. Hint: fingers in a song without a zone that plays
/// them. Hint: chords of a section with a key of its own that fit that key, but not the chart's, in which they are
/// read. Hint: chords of a song for one finger that no key gives. That fingers play what does not fit is no finding: it
/// is what they are for.
pub(super) fn find(tonight: &Tonight<'_>, piece: &SongTonight<'_>, found: &mut Vec<Diagnostic>) {
    if let Some(finger) = piece.song.fingers.first().filter(|_| !piece.song.zones.iter().any(|zone| zone.one_key_chord))
    {
        let title = "the fingers' chords are never played: no zone of this song has one_key_chord";
        let hint = Diagnostic::hint(finger.chord.spot, title);
        found.push(hint.help("write one_key_chord = true in the zone that is to play them, or take [fingers] out"));
    }
    found.extend(piece.parts.iter().filter_map(|part| too_few_keys(tonight, part)));
    found.extend(no_finger(piece.song));
    let sections = piece.song.sections.iter();
    found.extend(sections.filter_map(|section| in_its_own_key(section, piece.song.key.value)));
}

/// Chords of a song for one finger that no key gives, told together.
fn no_finger(song: &Song) -> Option<Diagnostic> {
    song.zones.iter().find(|zone| zone.one_key_chord)?;
    let key = song.key.value;
    let given: Vec<Chord> = (0..12).map(|class| chord_on(song, key, class)).collect();
    let gives = |chord: &Chord| {
        // A third is what makes a chord: a triad on its root will do for a seventh.
        let is_part = |given: &Chord| {
            given.root() == chord.root() && given.classes().len() > 2 && chord.classes().contains_all(given.classes())
        };
        given.iter().any(is_part)
    };
    let written = song.sections.iter().filter_map(|section| section.chords.as_ref());
    let missing = written.flat_map(|chords| chords.value.iter().flatten().map(move |chord| (chords.spot, *chord)));
    let missing: Vec<(Spot, Chord)> = missing.filter(|(_, chord)| !gives(chord)).collect();
    let (spot, first) = *missing.first()?;
    let mut names: Vec<String> = missing.iter().map(|(_, chord)| quoted(&chord.to_string())).collect();
    names.dedup();
    let noun = if names.len() == 1 { "the chord" } else { "the chords" };
    let fingers = match song.play_in.as_ref().map(|play_in| play_in.value) {
        Some(PlayIn::Key(fingers)) => fingers,
        _ => key,
    };
    let meant = first.moved(key, fingers);
    let scale = fingers.scale();
    // A key that has no chord of its own is free for it.
    let free = meant.classes().iter().find(|class| !scale.contains(class)).unwrap_or(meant.root());
    let on = meant.tone(free).map_or_else(String::new, |tone| tone.to_string());
    let title = format!("no finger gives {noun} {}, and this song has one_key_chord", joined(&names));
    let hint = Diagnostic::hint(spot, title);
    Some(hint.help(format!(
        "write \"{on}\" = \"{meant}\" below [fingers], in the fingers' key, or leave it to the other hand"
    )))
}

/// A handful is a zone's, of one input or several: with all its keys down at once there must be enough.
fn too_few_keys(tonight: &Tonight<'_>, part: &ResolvedZone<'_>) -> Option<Diagnostic> {
    let (low, high) = part.keys();
    let keys_of = |(_, input): (usize, &Input)| {
        let (first, last) = keyboard::keys(input);
        usize::from((high.min(last) + 1).saturating_sub(low.max(first)))
    };
    let keys: usize = tonight.playing().filter(|(input, _)| part.hears(*input)).map(keys_of).sum();
    let least = usize::from(part.zone.min_keys);
    // A zone without any key is told of elsewhere.
    if !part.zone.plays.derives() || keys == 0 || keys >= least {
        return None;
    }
    let has = if keys == 1 { "one".to_owned() } else { keys.to_string() };
    let title = format!("the zone {} never sounds: it waits for {least} keys, but has only {has}", part.name());
    let fault = Diagnostic::error(FaultKind::Finding, part.zone.keys.spot, title);
    Some(fault.help(format!("give it more keys, or write min_keys = {keys}")))
}

/// Chords that seem to be written in the section's own key.
fn in_its_own_key(section: &Section, chart: Key) -> Option<Diagnostic> {
    let (key, chords) = (section.key.as_ref()?, section.chords.as_ref()?);
    let fit = |key: Key| chords.value.iter().flatten().all(|chord| key.fitting().contains_all(chord.classes()));
    if !fit(key.value) || fit(chart) {
        return None;
    }
    let (name, own) = (quoted(&section.name.value), key.value);
    let title =
        format!("the chords of the section {name} fit {own}, its own key, but are read in {chart}, the chart's");
    let bar = |bar: &Bar| {
        let chords: Vec<String> = bar.written(|chord| chord.moved(own, chart).to_string()).collect();
        chords.join(" ")
    };
    let written: Vec<String> = chords.value.iter().map(bar).collect();
    let hint = Diagnostic::hint(chords.spot, title).label(format!("read in {chart}")).also(key.spot, "its own key");
    Some(hint.help(format!("if they are meant in {own}, write chords = \"{}\"", written.join(" | "))))
}
