//! Many songs: all of them are checked, and what one gear makes wrong in each is told once.

use std::fmt::Write as _;
use std::io;

use handspan::check::findings;
use handspan::map::{Book, load};

const SONGS: usize = 1000;

fn book() -> Book {
    let mut set = "title = \"Long night\"\ngear = \"gear.toml\"\n".to_owned();
    for song in 0..SONGS {
        write!(set, "[[song]]\nmap = \"{song}.toml\"\nkey = \"{}\"\n", ["C", "Eb", "A"][song % 3]).unwrap();
    }
    let gear = "[inputs.keyboard]\nport = \"piano\"\nkeys = [\"A0\", \"C8\"]\n[outputs.module]\nport = \"module\"\n\
                cable = \"din\"\n[sounds.grand]\noutput = \"module\"\nchannel = 1\nprogram = 1\n[sounds.organ]\n\
                output = \"module\"\nchannel = 1\nprogram = 20\n[sounds.warm]\noutput = \"module\"\nchannel = 2\n";
    let song = |number: usize| {
        let lead = ["grand", "organ"][number % 2];
        let mut text = format!("title = \"Song {number}\"\nkey = \"C\"\n");
        writeln!(text, "[[zone]]\nsound = \"{lead}\"\n[[zone]]\nsound = \"warm\"\nkeys = [\"C3\", \"C8\"]").unwrap();
        writeln!(text, "sections = [\"Chorus\"]\n[[zone]]\nname = \"low\"\nsound = \"warm\"\nkeys = [\"C0\", \"E0\"]")
            .unwrap();
        for section in ["Verse", "Chorus", "Bridge", "End"] {
            writeln!(text, "[[section]]\nname = \"{section}\"").unwrap();
        }
        text
    };
    let mut read = |path: &str| match path.strip_suffix(".toml").map(|name| (name, name.parse::<usize>())) {
        Some((_, Ok(number))) => Ok(song(number).into_bytes()),
        Some(("gear", _)) => Ok(gear.as_bytes().to_vec()),
        Some(("set", _)) => Ok(set.as_bytes().to_vec()),
        _ => Err(io::ErrorKind::NotFound.into()),
    };
    load("set.toml", &mut read).book.unwrap()
}

#[test]
fn a_thousand_songs_are_all_checked() {
    let found = findings(&book());
    let count = |part: &str| found.iter().filter(|finding| finding.title.contains(part)).count();
    assert_eq!(count("No key reaches the zone \"low\""), SONGS);
    assert_eq!(count("on one channel, which may cut off what still sounds there; 998 more changes do so too"), 1);
    assert_eq!(count("make 20 notes on the cable to \"module\", which take 19.2 ms; 999 more songs"), 1);
    // A split at C3 moved down by three semitones: C3 sounds as A2.
    assert_eq!(count("The room's key moves the zone \"warm\" so low"), SONGS / 3);
    assert_eq!(found.len(), SONGS + 2 + SONGS / 3);
}
