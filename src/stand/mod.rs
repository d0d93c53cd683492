//! The stand: the page for a tablet on the music stand with the live socket behind it, and the same on paper.
//! `docs/stand.md` has the form of what page and program say to each other, and how it is protected.
//!
//! The stand knows nothing of the terminal. What comes in here reaches the music only by a
//! [`Remote`](crate::daemon::Remote); what goes out comes from a
//! [`LiveView`](crate::daemon::LiveView), an [`Observer`](crate::daemon::observer::Observer) and reports, and nobody who looks is ever waited for. What is said of
//! zones, cues and messages to the player is worded here, for the terminal too.

mod ask;
mod assets;
mod door;
pub mod drawing;
mod frames;
mod hall;
mod hands;
mod hosts;
pub(crate) mod letters;
mod lookout;
mod messages;
mod moved;
mod pages;
mod places;
mod server;
pub mod sheet;
mod trouble;
mod viewer;
pub(crate) mod words;

pub use assets::{ASSETS, Asset};
pub use server::{Open, OpenError, open};
