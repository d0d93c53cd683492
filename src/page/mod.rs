//! The page for a tablet on the music stand, with the live socket behind it. `docs/stand.md` has the form of what page
//! and program say to each other, and how it is protected.
//!
//! The page knows nothing of the terminal. What comes in here reaches the music only by a
//! [`Remote`](crate::daemon::Remote); what goes out comes from a [`LiveView`](crate::daemon::LiveView), an
//! [`Observer`](crate::daemon::observer::Observer) and reports, and nobody who looks is ever waited for.

mod arrivals;
mod assets;
mod auth;
mod devices;
mod frames;
mod hosts;
mod hub;
mod keyboard;
mod limits;
mod messages;
mod names;
mod owner;
mod publisher;
mod requests;
mod salt;
mod scram;
mod seen;
mod server;
mod trouble;
mod viewer;
mod visit;
mod worker;

pub use assets::{ASSETS, Asset};
pub use server::{Open, OpenError, StandOptions, open};
