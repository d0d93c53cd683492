//! Whether the numbers of a set's songs add up: all have one or none, and none is given twice.

use super::diagnostic::{Diagnostic, FaultKind, quoted};
use super::draft::Draft;

/// What is wrong with the songs' numbers.
pub(super) fn faults(songs: &[Draft]) -> Vec<Diagnostic> {
    let mut faults = Vec::new();
    let numbers = || songs.iter().filter_map(|draft| draft.song.number.as_ref().map(|number| (draft, number)));
    for (index, (draft, number)) in numbers().enumerate() {
        let Some((first, at)) = numbers().take(index).find(|(_, known)| known.value == number.value) else { continue };
        let title = format!(
            "the songs {} and {} have the same number {}",
            quoted(&first.song.title.value),
            quoted(&draft.song.title.value),
            number.value
        );
        let fault = Diagnostic::error(FaultKind::Finding, number.spot, title).also(at.spot, "first here");
        faults.push(fault.help(match free(songs) {
            Some(free) => format!("give one of them another, such as number = {free}"),
            None => "give one of them another".to_owned(),
        }));
    }
    let with = songs.iter().find(|draft| draft.numbered);
    let without = songs.iter().find(|draft| !draft.numbered);
    if let (Some(with), Some(without)) = (with, without) {
        let title =
            format!("the song {} has no number, but others of the set have one", quoted(&without.song.title.value));
        let fault = Diagnostic::error(FaultKind::Finding, without.song.title.spot, title);
        let help = match free(songs) {
            Some(free) => {
                format!("write number = {free}, or take the numbers out of all: then the position in the set counts")
            }
            None => "take the numbers out of all songs: then the position in the set counts".to_owned(),
        };
        let fault = fault.help(help);
        faults.push(match &with.song.number {
            Some(number) => fault.also(number.spot, "with one"),
            None => fault,
        });
    }
    faults
}

/// The lowest number that no song has.
fn free(songs: &[Draft]) -> Option<u8> {
    let taken =
        |number: &u8| songs.iter().any(|draft| draft.song.number.as_ref().is_some_and(|own| own.value == *number));
    (1..=128).find(|number| !taken(number))
}
