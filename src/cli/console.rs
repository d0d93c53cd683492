//! What every command says to the terminal: a line, a complaint, or why it ends without having done its work.

use std::io::{IsTerminal, Write};

use crate::map::{clean_json, clean_lines};

/// Why a command ends without having done its work.
#[derive(Debug)]
pub(super) enum Failure {
    /// The command line is wrong, or a file cannot be read as what it should be: exit code 2.
    Wrong(String),
    /// It could not be done, or a map has errors: exit code 1.
    Failed(String),
}

/// A sentence on standard error, without what would command the terminal: names in maps and of ports may hold anything. A
/// reader that is gone is no reason to stop.
pub(super) fn complain(sentence: &str) {
    complain_drawn(&clean_lines(sentence));
}

/// The same for what is clean and may be coloured.
pub(super) fn complain_drawn(sentence: &str) {
    let _ = writeln!(std::io::stderr(), "{sentence}");
}

/// A line on standard output, or several, likewise.
pub(super) fn tell(line: &str) {
    let _ = writeln!(std::io::stdout(), "{}", clean_lines(line));
}

/// JSON on standard output, likewise.
pub(super) fn tell_json(json: &str) {
    let _ = writeln!(std::io::stdout(), "{}", clean_json(json));
}

/// Whether diagnostics may be coloured.
pub(super) fn colour() -> bool {
    std::io::stderr().is_terminal() && std::env::var_os("NO_COLOR").is_none()
}
