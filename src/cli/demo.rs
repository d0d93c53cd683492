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

    #[test]
    fn the_demo_is_all_of_the_maps_folder() {
        fn count(folder: &Path) -> usize {
            let entries = std::fs::read_dir(folder).expect("a folder").map(|entry| entry.expect("an entry").path());
            entries.map(|path| if path.is_dir() { count(&path) } else { 1 }).sum()
        }
        assert_eq!(count(&Path::new(env!("CARGO_MANIFEST_DIR")).join("maps")), FILES.len());
    }
}
