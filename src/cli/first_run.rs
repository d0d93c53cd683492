//! `handspan` without a command: what is connected, and where to begin.

use std::fs;
use std::path::Path;

use super::console::tell;
use super::{maps, ports as listing};
use crate::map::MapKind;
use crate::ports::{self, Backend};

/// So many sets of the folder are named.
const MOST: usize = 5;

/// Says what is connected, which sets lie here, and what could be done next.
pub(super) fn run() {
    match ports::list(Backend::System) {
        Ok(listed) => listing::lines(&listed).iter().for_each(|line| tell(line)),
        Err(error) => tell(&format!("No MIDI ports: {error}.")),
    }
    let sets = sets_in(Path::new("."));
    tell(&format!("\n{}", begin(&sets)));
}

/// Where to begin, for the sets that are here.
fn begin(sets: &[String]) -> String {
    let mut rows = Vec::new();
    for set in sets.iter().take(MOST) {
        rows.push((format!("handspan check {set}"), "what could go wrong tonight"));
        rows.push((format!("handspan play {set}"), "play it"));
        rows.push((format!("handspan try {set}"), "play it on a page, with nothing plugged in"));
    }
    if sets.is_empty() {
        rows.push(("handspan try".to_owned(), "a demo, with nothing plugged in"));
        rows.push(("handspan new evening".to_owned(), "a folder to start from: a gear file, a song and a set"));
        rows.push(("handspan listen".to_owned(), "what your keyboard sends"));
    }
    rows.push(("handspan --help".to_owned(), "all commands"));
    let width = rows.iter().map(|(command, _)| command.chars().count()).max().unwrap_or(0);
    let heading = if sets.is_empty() { "There is no set in this folder. Begin with one of these:" } else { "Next:" };
    let lines = rows.iter().map(|(command, about)| format!("\n  {command:width$}   {about}"));
    format!("{heading}{}", lines.collect::<String>())
}

/// The sets of a folder by name.
fn sets_in(folder: &Path) -> Vec<String> {
    let entries = fs::read_dir(folder).into_iter().flatten().flatten();
    let names = entries.filter_map(|entry| entry.file_name().into_string().ok());
    let is_set = |name: &String| {
        let text = || maps::read_text(&folder.join(name).to_string_lossy()).ok();
        name.ends_with(".toml") && text().and_then(|text| MapKind::of(&text)) == Some(MapKind::Set)
    };
    let mut sets: Vec<String> = names.filter(is_set).collect();
    sets.sort();
    sets
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_folder_with_a_set_offers_that_and_an_empty_one_a_beginning() {
        assert_eq!(sets_in(Path::new("maps")), ["midwinter.toml"]);
        let with = begin(&["midwinter.toml".to_owned()]);
        assert!(with.contains("handspan play midwinter.toml") && !with.contains("new evening"), "{with}");
        let without = begin(&[]);
        assert!(without.contains("handspan try ") && without.contains("handspan new evening "), "{without}");
    }
}
