//! The set: songs, sections and keys, the messages that go with them, and the clock.
//!
//! | file | rules |
//! | --- | --- |
//! | `change` | R5, R8: actions, songs, sections, keys |
//! | `entering` | R8: what is done on entering and leaving |
//! | `held_back` | R8: what the start held back of them |
//! | `zones_in_use` | R8, R9, R21: zones going in and out of use |
//! | `sends` | R8, R20: messages to other machines, now and later |
//! | `clock` | R18: the clock that comes in, the tempo that goes out |

mod change;
pub(super) mod clock;
mod entering;
pub(super) mod held_back;
pub(super) mod sends;
mod zones_in_use;
