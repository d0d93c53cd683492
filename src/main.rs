//! handspan's command line.
fn main() {}
