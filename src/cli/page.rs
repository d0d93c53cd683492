//! The page of a performance: opened where the gear wants it, and told where it is.

use std::sync::Arc;

use super::log::Log;
use super::maps;
use crate::daemon::observer::Observer;
use crate::daemon::requests::RequestHandler;
use crate::daemon::{Daemon, Remote, Show, persist};
use crate::page::{self, Open, StandOptions};
use crate::wording::page as wording;

/// Opens the page of a performance that does not run yet, and says where it is; where it cannot be opened, why. The music
/// goes on without it.
pub(super) fn open(
    daemon: &mut Daemon,
    show: &Arc<Show>,
    remote: &Remote,
    observer: &Arc<Observer>,
    log: Option<&Log>,
) -> (Option<Open>, Option<String>) {
    let (asking, coming) = (log.cloned(), log.cloned());
    let asked = move |words: &str| asking.iter().for_each(|log| log.words(words));
    let came = move |words: &str| coming.iter().for_each(|log| log.words(words));
    let handler = Arc::new(RequestHandler::new(remote.clone(), Arc::clone(observer), maps::read, asked));
    let devices = persist::devices();
    let wanted = StandOptions { stand: &show.book.gear.stand, devices: devices.as_deref() };
    match page::open(wanted, daemon, show, handler, came) {
        Ok(None) => (None, None),
        Ok(Some(open)) => {
            let words = format!("  {}", wording::address(&open.link()));
            (Some(open), Some(words))
        }
        Err(error) => (None, Some(format!("  {}", wording::not_opened(&error)))),
    }
}
