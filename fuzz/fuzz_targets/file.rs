//! Fuzzes `trials::file`.
#![no_main]

#[allow(dead_code)]
#[path = "../../tests/fuzz_seeds/trials.rs"]
mod trials;

libfuzzer_sys::fuzz_target!(|data: &[u8]| trials::file(data));
