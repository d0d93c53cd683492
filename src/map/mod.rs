//! The map files: TOML text to gear, songs and set as written, with positions and diagnostics.
//!
//! [`load`] is given a path and a way to read files; it touches nothing else. A [`Book`] comes out only if
//! nothing is wrong; what is wrong comes as [`Diagnostic`]s, all of them at once.

mod action;
mod agree;
mod clean;
mod cue;
mod curve;
mod diagnostic;
mod draft;
mod examples;
mod file_names;
mod gear;
mod hand;
mod load;
mod model;
mod names;
mod nearest;
mod numbers;
mod picture;
mod places;
mod reader;
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

pub use action::{Action, ActionError, LONGEST_FADE, LookUp, Plain, Resolved, Row, USUAL_FADE, With, Word, followed};
pub use clean::{clean, clean_json, clean_lines};
pub(crate) use diagnostic::quoted;
pub use diagnostic::{Diagnostic, FaultKind, Level, Listed, ListedAlso, Place};
pub use file_names::{file_name, file_names};
pub use load::{Loaded, load};
pub use model::*;
pub use nearest::nearest;
pub use schema::{schema, schemas};
pub use send::{Occasion, Send, SendMessage};
pub use zone::Zone;
