//! One hand as a musician means it: modelled hands play simply, and the pads must follow the harmony that they mean.

mod gestures;
mod hand;
mod score;

use std::fmt::Write as _;

use gestures::GESTURES;
use hand::FINGERS;
use handspan::map::{Book, load};
use score::{PADS, Score, follow, score};

const SEEDS: std::ops::Range<u32> = 0..12;

const GEAR: &str = "
[inputs.keyboard]
port = \"stage piano\"
[outputs.room]
virtual = true
[sounds.deep]
output = \"room\"
channel = 1
[sounds.warm]
output = \"room\"
channel = 2
";

const SONG: &str = "
title = \"Snow on the Weir\"
key = \"C\"
[[zone]]
sound = \"deep\"
plays = \"root-fifth\"
within = [\"C2\", \"B2\"]
linger = \"next\"
[[zone]]
sound = \"warm\"
plays = \"chord\"
within = [\"G3\", \"F#4\"]
linger = \"next\"
";

fn book() -> Book {
    let mut read = |path: &str| match path {
        "set.toml" => Ok(b"title = \"Evening\"\ngear = \"gear.toml\"\n[[song]]\nmap = \"song.toml\"\n".to_vec()),
        "gear.toml" => Ok(GEAR.into()),
        _ => Ok(SONG.into()),
    };
    let loaded = load("set.toml", &mut read);
    loaded.book.unwrap_or_else(|| panic!("{:?}", loaded.diagnostics))
}

/// The table: for each gesture and pad the three hands.
fn table(seeds: std::ops::Range<u32>) -> String {
    let book = book();
    let mut lines = String::new();
    for (name, gesture) in GESTURES {
        let mut row = format!("{name:46}");
        for pad in 0..PADS.len() {
            for fingers in FINGERS {
                let mut sum = Score::default();
                for seed in seeds.clone() {
                    let piece = gesture(seed, fingers);
                    sum += score(&piece, pad, &follow(&book, &piece)[pad]);
                }
                let Score { wanted, unwanted, missed, wrong, .. } = sum.by_minute();
                if pad == 0 && fingers.name == "practised" {
                    let _ = write!(row, " {wanted:3.0}");
                }
                let _ = write!(row, "  {unwanted:4.1} {missed:4.1} {wrong:4.1}");
            }
        }
        lines += &row;
        lines.push('\n');
    }
    lines
}

#[test]
fn pads_follow_modelled_hands() {
    println!("{}", table(SEEDS));
}

#[test]
fn trace() {
    let book = book();
    let which = std::env::var("GESTURE").unwrap_or_default();
    let pad: usize = std::env::var("PAD").ok().and_then(|p| p.parse().ok()).unwrap_or(0);
    for (name, gesture) in GESTURES.iter().filter(|(name, _)| !which.is_empty() && name.contains(&which)) {
        println!("{name}");
        for seed in 0..4 {
            let piece = gesture(seed, FINGERS[1]);
            let pads = follow(&book, &piece);
            for sounds in &pads[pad] {
                let meant = piece.meant.iter().rev().find(|meant| meant.at <= sounds.at).unwrap();
                let mut one = score::score(
                    &hand::Piece { touches: vec![], meant: vec![*meant], end: sounds.at + 1.0, grace: 250.0 },
                    pad,
                    &[*sounds],
                );
                one.wrong = 0.0;
                if sounds.struck && one.unwanted > 0.0 {
                    let names = ["C", "Db", "D", "Eb", "E", "F", "Gb", "G", "Ab", "A", "Bb", "B"];
                    let nm =
                        |c: u16| (0..12).filter(|k| c >> k & 1 != 0).map(|k| names[k]).collect::<Vec<_>>().join(" ");
                    println!(
                        "--- seed {seed} {:.0}: {} meant {} since {:.0}",
                        sounds.at,
                        nm(sounds.classes),
                        nm(meant.classes),
                        sounds.at - meant.at
                    );
                    let near: Vec<String> = piece
                        .touches
                        .iter()
                        .filter(|t| t.0 <= sounds.at && t.0 > sounds.at - 1300.0)
                        .map(|t| format!("{:.0} {:?}", t.0 - sounds.at, t.1))
                        .collect();
                    println!("   {}", near.join(", "));
                }
            }
        }
    }
}
