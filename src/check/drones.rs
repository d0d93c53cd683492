//! Drones that something turns on, and nothing off again.

use std::collections::BTreeMap;

use super::rings::fades;
use super::tonight::Tonight;
use super::words::quoted;
use crate::map::{Action, Book, Cue, Deed, Diagnostic, Does, Entry, Song, Spot};

/// Hint: a drone that a cue or a list turns on, and that nothing turns off from there on to the end of the evening, or
/// only the list of a section that may be jumped over.
pub(super) fn find(tonight: &Tonight<'_>, found: &mut Vec<Diagnostic>) {
    let book = tonight.book;
    // Who has no cues at all ends it by other means.
    if book.cues().next().is_none() {
        return;
    }
    let places = places(tonight);
    // Of each only where it may be turned on last: what ends it there ends it before.
    let mut last = BTreeMap::new();
    for (number, place) in places.iter().enumerate() {
        last.extend(place.beginnings().into_iter().map(|(spot, by_cue, stop)| (spot, (by_cue, number, stop))));
    }
    for (spot, (by_cue, number, stop)) in last {
        found.extend(going_on(&places, (number, stop), spot, by_cue));
    }
}

/// A song or pause of tonight, as far as it is about drones.
struct Place<'a> {
    /// The lists that are done in any case as it is entered.
    entering: [&'a [Deed]; 2],
    /// The lists of its sections, in tonight's order, with their names; none in a pause.
    sections: Vec<(&'a str, &'a [Deed])>,
    /// What is done as it is left; nothing at the last place, which nobody leaves.
    leaving: &'a [Deed],
    cues: Vec<&'a Cue>,
    /// Whether there is a drone of its own that can be turned on.
    has_drone: bool,
}

fn places<'a>(tonight: &Tonight<'a>) -> Vec<Place<'a>> {
    let book: &'a Book = tonight.book;
    let entries = &book.set.entries;
    let mut outings = tonight.outings.iter().peekable();
    let mut played: Option<&'a Song> = None;
    let place = |(number, entry): (usize, &'a Entry)| {
        let song = entry.song.and_then(|song| book.songs.get(song));
        // A pause keeps the zones and the drone of the song before.
        played = song.or(played);
        let outing = outings.next_if(|outing| outing.number == number);
        let stops =
            outing.into_iter().flat_map(|outing| outing.stops.iter().map(move |stop| (outing.piece, stop.scene)));
        let section = |(piece, scene): (usize, usize)| tonight.pieces[piece].section(scene);
        let sections = stops.filter_map(section).map(|section| (section.name.value.as_str(), &section.on_entering[..]));
        Place {
            entering: [song.map_or(&[], |song| &song.on_entering), &entry.on_entering],
            sections: sections.collect(),
            leaving: song.filter(|_| number + 1 < entries.len()).map_or(&[], |song| &song.on_leaving),
            cues: book.cues_in(song),
            has_drone: played.is_some_and(|song| song.drone.is_some()),
        }
    };
    entries.iter().enumerate().map(place).collect()
}

impl Place<'_> {
    /// What turns the drone on: where it is written, whether it is a cue, and after how many of the sections.
    fn beginnings(&self) -> Vec<(Spot, bool, usize)> {
        if !self.has_drone {
            return Vec::new();
        }
        let begins = |does: &Does| matches!(does, Does::Act(Action::Drone(Some(true))));
        let cues = self.cues.iter().filter(|cue| begins(&cue.does)).map(|cue| (cue.spot, true, 0));
        let entering = self.entering.iter().map(|deeds| (0, *deeds));
        let sections = self.sections.iter().enumerate().map(|(stop, (_, deeds))| (stop, *deeds));
        let leaving = [(self.sections.len(), self.leaving)];
        let lists = entering.chain(sections).chain(leaving);
        let deeds = lists.flat_map(|(stop, deeds)| deeds.iter().map(move |deed| (stop, deed)));
        cues.chain(deeds.filter(|(_, deed)| begins(&deed.does)).map(|(stop, deed)| (deed.spot, false, stop))).collect()
    }

    /// Whether it ends in any case, seen from the place before: a cue that may do it counts.
    fn ends(&self) -> bool {
        let first = self.sections.first().map_or(&[][..], |(_, deeds)| *deeds);
        self.ends_by_cue()
            || self.entering.iter().any(|deeds| any_ends(deeds))
            || any_ends(first)
            || any_ends(self.leaving)
    }

    fn ends_by_cue(&self) -> bool {
        self.cues.iter().any(|cue| ends(&cue.does))
    }

    /// The section after a stop whose list ends it.
    fn section_that_ends(&self, stop: usize) -> Option<&str> {
        let mut after = self.sections.iter().skip(stop + 1);
        after.find(|(_, deeds)| any_ends(deeds)).map(|(name, _)| *name)
    }
}

fn ends(does: &Does) -> bool {
    fades(does) || matches!(does, Does::Act(Action::Drone(None | Some(false))))
}

fn any_ends(deeds: &[Deed]) -> bool {
    deeds.iter().any(|deed| ends(&deed.does))
}

/// What is found where the drone is turned on, at a place and after a stop.
fn going_on(places: &[Place<'_>], (number, stop): (usize, usize), spot: Spot, by_cue: bool) -> Option<Diagnostic> {
    let (here, later) = places.get(number..)?.split_first()?;
    let left = stop < here.sections.len().max(1) && any_ends(here.leaving);
    if here.ends_by_cue() || left || later.iter().any(Place::ends) {
        return None;
    }
    let sections = later.iter().map(|place| place.section_that_ends(0));
    let section = [here.section_that_ends(stop)].into_iter().chain(sections).flatten().next();
    let jumped = section.map_or(String::new(), |section| format!(", if {} is jumped over", quoted(section)));
    let help = match later.is_empty() {
        true => {
            "add a cue with do = \"drone\" to the gear, or a pause after the song with on_entering = [\"drone off\"]"
        }
        false => {
            "write \"drone off\" in on_leaving of the song or on_entering of what follows, or add a cue with do = \"drone\""
        }
    };
    let hint = match by_cue {
        true => Diagnostic::hint(spot, format!("this cue turns the drone on, and nothing turns it off{jumped}"))
            .help("take state out, so that it turns the drone off again, or add a cue with do = \"fade\""),
        false => Diagnostic::hint(
            spot,
            format!("the drone that is turned on here goes on to the end of the evening{jumped}"),
        )
        .help(help),
    };
    Some(hint)
}
