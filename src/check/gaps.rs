//! Keys and inputs that play nothing.

use std::collections::BTreeMap;

use super::keyboard;
use super::tonight::{Scene, SongTonight, Tonight};
use super::words::{quoted, range, the_keys};
use crate::map::{Diagnostic, Input};

/// Hint: a song without a zone. Hint: an input, not optional, that plays nothing in the whole song. Hint: keys of an
/// input that play nothing in some section, and are no cue; where the gear does not say which keys there are, only those between keys
/// that play in this song. The same keys are told of once, in the first song that leaves them out.
pub(super) fn find(tonight: &Tonight<'_>, found: &mut Vec<Diagnostic>) {
    let mut gaps: Vec<Gap<'_, '_>> = Vec::new();
    for piece in &tonight.pieces {
        of_song(tonight, piece, &mut gaps, found);
    }
    found.extend(gaps.iter().map(Gap::hint));
}

/// Keys of an input that play nothing.
struct Gap<'t, 'b> {
    piece: &'t SongTonight<'b>,
    number: usize,
    input: &'b Input,
    keys: (u8, u8),
    /// Whether these are all that it has.
    all: bool,
    scenes: Vec<usize>,
    /// Other songs that have the same.
    more: usize,
}

fn of_song<'t, 'b>(
    tonight: &'t Tonight<'b>,
    piece: &'t SongTonight<'b>,
    gaps: &mut Vec<Gap<'t, 'b>>,
    found: &mut Vec<Diagnostic>,
) {
    let title = piece.song.title.spot;
    if piece.parts.is_empty() {
        let hint = Diagnostic::hint(title, "the keys play nothing in this song: it has no zone");
        found.push(hint.help("write [[zone]], and below it sound = and the name of a sound"));
        return;
    }
    for (number, input) in tonight.playing() {
        match playing_keys(piece, number) {
            Some(hull) => {
                let bounds = if keyboard::is_known(input) { keyboard::keys(input) } else { hull };
                let cues = tonight.cue_keys(piece, input);
                for (keys, scenes) in silent(piece, number, bounds) {
                    let all = keys == bounds;
                    let Some(keys) = (if all { Some(keys) } else { without_cues(keys, &cues) }) else { continue };
                    let same = |gap: &&mut Gap<'_, '_>| !all && !gap.all && gap.number == number && gap.keys == keys;
                    match gaps.iter_mut().find(same) {
                        Some(known) => known.more += usize::from(!std::ptr::eq(known.piece, piece)),
                        None => gaps.push(Gap { piece, number, input, keys, all, scenes, more: 0 }),
                    }
                }
            }
            None if !input.optional && !piece.parts.iter().any(|part| part.hears(number)) => {
                let name = quoted(&input.name.value);
                let hint = Diagnostic::hint(title, format!("the input {name} plays nothing in this song"));
                let help = format!("give it a zone with input = {name}, or write optional = true for it in the gear");
                found.push(hint.help(help));
            }
            // What its zones lack is said of them.
            None => {}
        }
    }
}

fn of_input(scene: &Scene, input: usize) -> impl Iterator<Item = &keyboard::Stretch> {
    scene.keyboards.iter().filter(move |keyboard| keyboard.input == input).flat_map(|keyboard| &keyboard.stretches)
}

/// The lowest and the highest key of an input that play something somewhere in the song.
fn playing_keys(piece: &SongTonight<'_>, input: usize) -> Option<(u8, u8)> {
    let stretches = piece.scenes.iter().flat_map(|scene| of_input(scene, input));
    let playing = stretches.filter(|stretch| !stretch.taken.is_empty()).map(|stretch| (stretch.low, stretch.high));
    playing.reduce(|(low, high), (first, last)| (low.min(first), high.max(last)))
}

/// Keys within bounds that play nothing, with the scenes in which they do not.
fn silent(piece: &SongTonight<'_>, input: usize, (lowest, highest): (u8, u8)) -> BTreeMap<(u8, u8), Vec<usize>> {
    let mut silent: BTreeMap<(u8, u8), Vec<usize>> = BTreeMap::new();
    for (number, scene) in piece.scenes.iter().enumerate() {
        let mut open: Option<(u8, u8)> = None;
        for stretch in of_input(scene, input) {
            let (low, high) = (stretch.low.max(lowest), stretch.high.min(highest));
            if low > high {
                continue;
            }
            open = match open {
                Some((start, _)) if stretch.taken.is_empty() => Some((start, high)),
                None if stretch.taken.is_empty() => Some((low, high)),
                Some(gap) => {
                    silent.entry(gap).or_default().push(number);
                    None
                }
                None => None,
            };
        }
        if let Some(gap) = open {
            silent.entry(gap).or_default().push(number);
        }
    }
    silent
}

/// Silent keys without those at either end that are cues.
fn without_cues((low, high): (u8, u8), cues: &[u8]) -> Option<(u8, u8)> {
    let mut others = (low..=high).filter(|key| !cues.contains(key));
    let lowest = others.next()?;
    Some((lowest, others.next_back().unwrap_or(lowest)))
}

impl Gap<'_, '_> {
    fn title(&self) -> String {
        let (low, high) = self.keys;
        let (name, place) = (quoted(&self.input.name.value), self.piece.in_sections(&self.scenes));
        if self.all {
            return format!("the input {name} plays nothing{place}");
        }
        let play = if low == high { "plays" } else { "play" };
        let more = match self.more {
            0 => String::new(),
            1 => "; one more song leaves them out".to_owned(),
            more => format!("; {more} more songs leave them out"),
        };
        let keys = the_keys(low, high, self.piece.octave);
        format!("{keys} of the input {name} {play} nothing{place}{more}")
    }

    fn hint(&self) -> Diagnostic {
        let Gap { piece, keys: (low, high), .. } = *self;
        let (title, octave) = (self.title(), piece.octave);
        let scene = self.scenes.first().filter(|_| !self.all);
        let zones = scene.map(|scene| piece.scenes[*scene].zones.as_slice()).unwrap_or_default();
        let heard = || {
            let parts = zones.iter().map(|zone| &piece.parts[*zone]);
            parts.filter(|part| part.hears(self.number) && part.names_keys())
        };
        let below = heard().filter(|part| part.keys().1 < low).max_by_key(|part| part.keys().1);
        let above = heard().filter(|part| part.keys().0 > high).min_by_key(|part| part.keys().0);
        match (below, above) {
            (Some(below), above) => {
                let hint = Diagnostic::hint(below.zone.keys.spot, title).label("ends below them");
                let keys = range(below.keys().0, high, octave);
                let hint = hint.help(format!("if that is not meant, write keys = {keys} here"));
                above.into_iter().fold(hint, |hint, above| hint.also(above.zone.keys.spot, "begins above them"))
            }
            (None, Some(above)) => {
                let hint = Diagnostic::hint(above.zone.keys.spot, title).label("begins above them");
                let keys = range(low, above.keys().1, octave);
                hint.help(format!("if that is not meant, write keys = {keys}"))
            }
            (None, None) => {
                // All of it, and so only in some sections.
                let section = self.scenes.first().and_then(|scene| piece.section(*scene));
                let hint = Diagnostic::hint(section.map_or(piece.song.title.spot, |section| section.name.spot), title);
                hint.help("if that is not meant, let a zone play in this section too")
            }
        }
    }
}
