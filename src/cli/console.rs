//! What every command says to the terminal: a line, a complaint, or why it ends without having done its work.

use std::io::{IsTerminal, Write};

/// Why a command ends without having done its work.
#[derive(Debug)]
pub(super) enum Failure {
    /// The command line is wrong, or a file cannot be read as what it should be: exit code 2.
    Wrong(String),
    /// It could not be done, or a map has errors: exit code 1.
    Failed(String),
}

/// A sentence on standard error. A reader that is gone is no reason to stop.
pub(super) fn complain(sentence: &str) {
    let _ = writeln!(std::io::stderr(), "{sentence}");
}

/// A line on standard output. A reader that is gone is no reason to stop.
pub(super) fn tell(line: &str) {
    let _ = writeln!(std::io::stdout(), "{line}");
}

/// Whether diagnostics may be coloured.
pub(super) fn colour() -> bool {
    std::io::stderr().is_terminal() && std::env::var_os("NO_COLOR").is_none()
}
