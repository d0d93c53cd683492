//! The map files: TOML text to gear, songs and set as written, with positions and diagnostics.

mod model;

pub use model::*;
