//! `handspan schema`: what a kind of map may hold, for editors.

use super::console::tell;
use crate::map::{MapKind, json_schema};

/// The kind of map, as the command line says it.
#[derive(Debug, Clone, Copy, clap::ValueEnum)]
pub(super) enum KindOption {
    Gear,
    Song,
    Set,
}

impl From<KindOption> for MapKind {
    fn from(kind: KindOption) -> Self {
        match kind {
            KindOption::Gear => MapKind::Gear,
            KindOption::Song => MapKind::Song,
            KindOption::Set => MapKind::Set,
        }
    }
}

/// Writes the schema to standard output.
pub(super) fn run(kind: MapKind) {
    tell(json_schema(kind).trim_end());
}
