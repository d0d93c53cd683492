//! The page of a performance: opened where the gear wants it, and told where it is.

use std::sync::Arc;

use super::log::Log;
use super::maps;
use crate::daemon::observer::Observer;
use crate::daemon::requests::RequestHandler;
use crate::daemon::{Daemon, Remote, Show, persist};
use crate::map::Stand;
use crate::page::{self, Open, StandOptions};
use crate::wording::page as wording;

/// The address of the page that opens its keys at once, and sounds with the first of them.
pub(super) fn to_play_on(link: &str) -> String {
    format!("{link}#play")
}

/// Opens the page of a performance that does not run yet where `stand` wants it, and says where it is and what a network
/// leaves open; where it cannot be opened, why. The music goes on without it.
pub(super) fn open(
    daemon: &mut Daemon,
    (show, stand): (&Arc<Show>, &Stand),
    (remote, observer): (&Remote, &Arc<Observer>),
    log: Option<&Log>,
) -> (Option<Open>, Vec<String>) {
    let (asking, coming) = (log.cloned(), log.cloned());
    let asked = move |words: &str| asking.iter().for_each(|log| log.words(words));
    let came = move |words: &str| coming.iter().for_each(|log| log.words(words));
    let handler = Arc::new(RequestHandler::new(remote.clone(), Arc::clone(observer), maps::read, asked));
    let devices = persist::devices();
    let wanted = StandOptions { stand, devices: devices.as_deref() };
    match page::open(wanted, daemon, show, handler, came) {
        Ok(None) => (None, Vec::new()),
        Ok(Some(open)) => {
            let words = words_for(&open.link(), stand);
            (Some(open), words)
        }
        Err(error) => (None, vec![format!("  {}", wording::not_opened(&error))]),
    }
}

/// Where the page is, and what a network leaves open.
pub(super) fn words_for(link: &str, stand: &Stand) -> Vec<String> {
    let in_network = stand.is_in_network().then(|| format!("  {}", wording::IN_A_NETWORK));
    [format!("  {}", wording::address(link))].into_iter().chain(in_network).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_a_network_leaves_open_is_said_where_there_is_one() {
        let words = |listen: &str| {
            let stand = Stand { listen: Some(listen.parse().unwrap()), ..Stand::default() };
            words_for("http://choir.local:7340/", &stand)
        };
        for here in ["127.0.0.1:7340", "[::1]:7340", "[::ffff:127.0.0.1]:7340"] {
            assert_eq!(words(here), ["  the page is at http://choir.local:7340/"]);
        }
        for network in ["0.0.0.0:7340", "[::]:7340", "192.0.2.7:7340"] {
            let words = words(network);
            assert_eq!(words.len(), 2);
            assert_eq!(words[1].trim_start(), wording::IN_A_NETWORK);
        }
    }
}
