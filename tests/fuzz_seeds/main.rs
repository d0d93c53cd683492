//! What fuzzing found worth keeping, without a fuzzer: every seed, and the cases, scripts and takes that lie in the
//! tree anyway, go through the same trials as in `fuzz/`.
//!
//! Each folder beside this file belongs to the trial of its name. A name that begins with `was-` is an input that
//! once broke a promise; names that say something else were written by hand; those named by a hash are the fewest short
//! ones that reach what a long run reached.

mod trials;

use std::fs;
use std::panic;
use std::path::Path;

/// Runs a trial over all files of some folders, and over what is left of each when it is cut short.
fn run(trial: fn(&[u8]), folders: &[&str]) {
    for folder in folders {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join(folder);
        let entries = fs::read_dir(&folder).unwrap_or_else(|error| panic!("{}: {error}", folder.display()));
        let mut files: Vec<_> = entries.map(|entry| entry.expect("an entry").path()).collect();
        files.sort();
        assert!(!files.is_empty(), "{} is empty", folder.display());
        for file in files {
            let bytes = fs::read(&file).expect("a readable seed");
            for length in [bytes.len(), bytes.len() / 2, bytes.len() * 4 / 5] {
                let all = panic::catch_unwind(|| trial(&bytes[..length]));
                assert!(all.is_ok(), "{}, its first {length} bytes: see above", file.display());
            }
        }
    }
}

#[test]
fn maps() {
    run(trials::map, &["tests/fuzz_seeds/map", "tests/diagnostics", "tests/findings"]);
}

#[test]
fn files() {
    run(trials::file, &["tests/fuzz_seeds/file", "maps/takes"]);
}

#[test]
fn bytes() {
    run(trials::bytes, &["tests/fuzz_seeds/bytes", "maps/takes"]);
}

#[test]
fn texts() {
    run(trials::text, &["tests/fuzz_seeds/text", "tests/rules"]);
}
