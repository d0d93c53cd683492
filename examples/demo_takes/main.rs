//! Writes the takes of the demo set: for each song of `maps/songs` one under its name in `maps/takes`, and
//! `whole-set.mid`, which goes through the whole evening, and `directing.mid`, in which pedals, a spare key and the
//! tracks player move the set.
//!
//!     cargo run --example demo_takes -- maps/takes
//!
//! The playing is made up note by note and the same every time. Each take is played in its song's play-in
//! key and marks its sections, so `handspan replay` follows them; where cues move the set, nothing is marked.

mod directing;
mod hands;
mod one_hand;
mod pieces;
mod takes;

use std::error::Error;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

fn main() -> ExitCode {
    let Some(folder) = std::env::args_os().nth(1).map(PathBuf::from) else {
        eprintln!("say into which folder: cargo run --example demo_takes -- maps/takes");
        return ExitCode::from(2);
    };
    match write(&folder) {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("the takes cannot be written to {}: {error}", folder.display());
            ExitCode::FAILURE
        }
    }
}

fn write(folder: &Path) -> Result<(), Box<dyn Error>> {
    for (name, bytes) in takes::all()? {
        std::fs::write(folder.join(name), bytes)?;
    }
    Ok(())
}
