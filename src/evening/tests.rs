//! Small sets for the tests of this module.

use std::io;

use crate::map::{Book, load};

/// A set of these entries and songs; the songs are called by their numbers. `gear` is added to a gear file with an
/// input `keyboard` and a sound `grand`.
pub(super) fn book(gear: &str, entries: &str, songs: &[&str]) -> Book {
    let mut read = |path: &str| match path {
        "set.toml" => Ok(format!("title = \"Evening\"\ngear = \"gear.toml\"\n{entries}").into_bytes()),
        "gear.toml" => Ok(format!(
            "[inputs.keyboard]\nport = \"p\"\nplay = true\n[outputs.keys]\nvirtual = true\n\
             [sounds.grand]\noutput = \"keys\"\nchannel = 1\n{gear}"
        )
        .into_bytes()),
        _ => {
            let song = path.parse::<usize>().ok().and_then(|number| songs.get(number));
            song.map(|song| song.as_bytes().to_vec()).ok_or_else(|| io::ErrorKind::NotFound.into())
        }
    };
    let loaded = load("set.toml", &mut read);
    let faults: Vec<String> = loaded.diagnostics.iter().map(|fault| fault.render(&loaded.sources, false)).collect();
    loaded.book.unwrap_or_else(|| panic!("{}", faults.join("\n")))
}

/// A set of one song, which its entry plays with these changes.
pub(super) fn one_song(tonight: &str, song: &str) -> Book {
    book("", &format!("[[song]]\nmap = \"0\"\n{tonight}"), &[song])
}
