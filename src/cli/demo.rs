//! The demo, carried in the program: a community choir's midwinter concert.

/// A file of the demo: its path below `maps`, and its bytes.
pub(super) type DemoFile = (&'static str, &'static [u8]);

macro_rules! files {
    ($($path:literal),* $(,)?) => {
        &[$(($path, include_bytes!(concat!("../../maps/", $path)))),*]
    };
}

/// The set, by its path among the files.
pub(super) const SET: &str = "midwinter.toml";
/// The take over the whole set.
pub(super) const WHOLE_TAKE: &str = "takes/whole-set.mid";
/// The take in which cues move the set.
pub(super) const DIRECTING: &str = "takes/directing.mid";

/// Every file of the demo.
pub(super) const FILES: &[DemoFile] = files![
    "midwinter.toml",
    "gear.toml",
    "schema/gear.json",
    "schema/song.json",
    "schema/set.json",
    "gear-loopback.toml",
    "songs/weir-gate.toml",
    "songs/frost-on-the-window.toml",
    "songs/candle-by-candle.toml",
    "songs/millers-lantern.toml",
    "songs/nine-bells.toml",
    "songs/long-night-round.toml",
    "songs/ferry-at-first-light.toml",
    "songs/lamplighters-lullaby.toml",
    "songs/carry-the-light.toml",
    "songs/home-before-the-thaw.toml",
    "takes/weir-gate.mid",
    "takes/frost-on-the-window.mid",
    "takes/candle-by-candle.mid",
    "takes/millers-lantern.mid",
    "takes/nine-bells.mid",
    "takes/long-night-round.mid",
    "takes/ferry-at-first-light.mid",
    "takes/lamplighters-lullaby.mid",
    "takes/carry-the-light.mid",
    "takes/home-before-the-thaw.mid",
    "takes/whole-set.mid",
    "takes/directing.mid",
];

#[cfg(test)]
mod tests {
    use super::*;
    use std::path::Path;

    /// The part of a gear file in which the outputs stand, and the rest.
    fn outputs_and_rest(gear: &str) -> (String, String) {
        let (before, rest) = gear.split_once("# --- Where it goes").expect("outputs");
        let (outputs, after) = rest.split_once("# --- The sounds").expect("sounds");
        let (_, before) = before.split_once("# The songs below").expect("a beginning");
        (outputs.to_owned(), format!("{before}{after}"))
    }

    #[test]
    fn the_gear_for_loopback_ports_is_the_gear_but_for_its_outputs() {
        let text = |name: &str| {
            let file = FILES.iter().find(|(path, _)| *path == name).expect("a file of the demo");
            String::from_utf8(file.1.to_vec()).expect("text")
        };
        let (usual, usual_rest) = outputs_and_rest(&text("gear.toml"));
        let (loopback, loopback_rest) = outputs_and_rest(&text("gear-loopback.toml"));
        assert_eq!(usual_rest, loopback_rest);
        assert!(usual.contains("virtual = true") && !loopback.contains("virtual = true"));
        let mut read = |path: &str| {
            let file = if path == "gear.toml" { "gear-loopback.toml" } else { path };
            Ok(FILES.iter().find(|(name, _)| *name == file).expect("a file of the demo").1.to_vec())
        };
        let book = crate::map::load(SET, &mut read).book.expect("no errors");
        assert!(book.gear.outputs.iter().all(|output| output.port.is_some()));
    }

    #[test]
    fn the_demo_is_all_of_the_maps_folder() {
        fn count(folder: &Path) -> usize {
            let entries = std::fs::read_dir(folder).expect("a folder").map(|entry| entry.expect("an entry").path());
            entries.map(|path| if path.is_dir() { count(&path) } else { 1 }).sum()
        }
        assert_eq!(count(&Path::new(env!("CARGO_MANIFEST_DIR")).join("maps")), FILES.len());
    }
}
