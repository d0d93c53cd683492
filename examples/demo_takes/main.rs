//! Writes the takes of the demo set: for each song of `maps/songs` one under its name in `maps/takes`, and
//! `whole-set.mid`, which goes through the whole evening.
//!
//!     cargo run --example demo_takes -- maps/takes
//!
//! The playing is made up note by note and the same every time. Each take is played in its song's play-in
//! key and marks its sections, so `handspan render` follows them.

mod hands;
mod pieces;
mod takes;

use std::path::PathBuf;
use std::process::ExitCode;

fn main() -> ExitCode {
    let Some(folder) = std::env::args_os().nth(1).map(PathBuf::from) else {
        eprintln!("say into which folder: cargo run --example demo_takes -- maps/takes");
        return ExitCode::from(2);
    };
    for (name, bytes) in takes::all() {
        let path = folder.join(name);
        if let Err(error) = std::fs::write(&path, bytes) {
            eprintln!("{} cannot be written: {error}", path.display());
            return ExitCode::FAILURE;
        }
    }
    ExitCode::SUCCESS
}
