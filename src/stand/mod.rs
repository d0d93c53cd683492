//! The stand: the page for a tablet on the music stand, and the live socket behind it. `docs/stand.md` has the form of
//! what page and program say to each other, and how it is protected.
//!
//! The stand knows nothing of the terminal. What comes in here reaches the music only by a
//! [`Remote`](crate::daemon::Remote); what goes out comes from a [`Sight`](crate::daemon::Sight), a
//! [`Chronicle`](crate::daemon::state::Chronicle) and reports, and nobody who looks is ever waited for.

mod ask;
mod assets;
mod door;
mod frames;
mod hall;
mod hands;
mod hosts;
mod lookout;
mod messages;
mod moved;
mod pages;
mod places;
mod server;
mod trouble;
mod viewer;

use std::net::SocketAddr;

pub use assets::{ASSETS, Asset};
pub use server::{Open, OpenError, open};

/// How the stand is set up.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Stand {
    /// Where it listens; none: there is no stand.
    pub listen: Option<SocketAddr>,
    /// Whether somebody wrote that down: then no other port is tried where this one is taken.
    pub asked: bool,
    /// Who says this may move the set. None: everybody who reaches the address, which then must be of this machine alone.
    pub passcode: Option<String>,
    /// Who says this may look.
    pub viewing_passcode: Option<String>,
    /// Number of the input as which the page's keyboard plays; none where no input plays.
    pub plays: Option<usize>,
}
