//! Trouble on stage, with the real program: what happens to the music when something comes out, dies, floods or is
//! changed.

mod stale;

use crate::Said;

type Scenario = Box<dyn FnOnce() -> Said>;

/// All of this folder, with names.
pub fn scenarios() -> Vec<(String, Scenario)> {
    stale::scenarios()
}
