//! Draws what a hand holds over time and, above it, what an output sounds, as SVG.
//!
//!     cargo run --example hand_picture -- \
//!         maps/midwinter.toml maps/takes/frost-on-the-window.mid pad > docs/pictures/one-hand.svg

mod picture;

use std::process::ExitCode;

fn main() -> ExitCode {
    let words: Vec<String> = std::env::args().skip(1).collect();
    let [set, take, output] = &words[..] else {
        eprintln!("say what to draw: hand_picture SET TAKE OUTPUT");
        return ExitCode::from(2);
    };
    match picture::drawn(set, take, output) {
        Ok(svg) => {
            println!("{svg}");
            ExitCode::SUCCESS
        }
        Err(error) => {
            eprintln!("{take} cannot be drawn: {error}");
            ExitCode::FAILURE
        }
    }
}
