//! The map files: TOML text to gear, songs and set as written, with positions and diagnostics.
//!
//! [`load`] is given a path and a way to read files; it touches nothing else. A [`Book`] comes out only if
//! nothing is wrong; what is wrong comes as [`Diagnostic`]s, all of them at once.

mod action;
mod agree;
mod allowed;
mod clean;
mod cue;
mod curve;
mod deeds;
mod diagnostic;
mod draft;
mod file_names;
mod gear;
mod hand;
mod kind;
mod load;
mod mend;
mod model;
mod names;
mod nearest;
mod numbers;
mod picture;
mod places;
mod reader;
mod rewritten;
mod schema;
mod secret;
mod send;
mod set;
mod song;
mod stand;
mod syntax;
mod values;
mod words;
mod zone;

pub use action::{
    Action, ActionError, LONGEST_FADE, LookUp, Plain, Resolved, Row, USUAL_FADE, With, Word, followed, zone_turned,
};
pub use allowed::octave_of_middle_c;
pub use clean::{clean, clean_json, clean_lines};
pub(crate) use diagnostic::quoted;
pub use diagnostic::{Diagnostic, FaultKind, Level, Listed, ListedAlso, Place, beside_the_set};
pub use file_names::{file_name, file_names};
pub use kind::MapKind;
pub(crate) use load::FROM_THE_SET;
pub use load::{Beside, Loaded, load, path_beside};
pub use model::*;
pub use nearest::nearest;
pub use schema::{Meaning, json_schema, known_words, meanings};
pub use secret::{LEFT_OUT, without_secrets};
pub use zone::Zone;
