//! Reads one map of the demo's set from another text, for tests in other languages that hold what the reader says beside a
//! validator of JSON Schema. A line in is a JSON list of a file and its text; a line out, a JSON list of the titles of all
//! errors in that file.
//!
//!     cargo run --example read_maps

use std::io::{self, BufRead, Write};
use std::process::ExitCode;

use handspan::map::{self, Level};

const SET: &str = "maps/midwinter.toml";

fn main() -> ExitCode {
    let mut out = io::BufWriter::new(io::stdout().lock());
    for line in io::stdin().lock().lines() {
        let read = line.ok().and_then(|line| serde_json::from_str::<(String, String)>(&line).ok());
        let Some((file, text)) = read else {
            eprintln!("a line is a list of a file and its text");
            return ExitCode::from(2);
        };
        if writeln!(out, "{}", serde_json::json!(errors(&file, &text))).is_err() {
            return ExitCode::FAILURE;
        }
    }
    ExitCode::SUCCESS
}

/// The titles of all errors in a file of the demo's set, if it had this text.
fn errors(file: &str, text: &str) -> Vec<String> {
    let loaded = map::load(SET, &mut |path| if path == file { Ok(text.into()) } else { std::fs::read(path) });
    let is_here = |diagnostic: &&map::Diagnostic| {
        let place = diagnostic.spot.and_then(|spot| loaded.sources.get(spot.file));
        diagnostic.level == Level::Error && place.is_some_and(|source| source.path == file)
    };
    loaded.diagnostics.iter().filter(is_here).map(|diagnostic| diagnostic.title.clone()).collect()
}
