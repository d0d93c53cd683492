//! What the page is told, and what is told of it.

use std::fmt::Display;

use super::notices::sentence;
use crate::map::{Listed, Place, Source};

/// A page, for the log and as who asks for something.
pub(crate) fn name(number: u64, address: &dyn Display) -> String {
    format!("page {number} at {address}")
}

/// A page was let in.
pub(crate) fn connected(page: &dyn Display, controls: bool) -> String {
    let may = if controls { "can control" } else { "view only" };
    format!("{page}: connected, {may}")
}

/// A page has left.
pub(crate) fn disconnected(page: &dyn Display) -> String {
    format!("{page}: disconnected")
}

/// A page gave a wrong passcode.
pub(crate) fn wrong_passcode(page: &dyn Display) -> String {
    format!("{page}: wrong passcode")
}

/// Pages that were let in and wrong passcodes, where so many came that not each is told.
pub(crate) fn more_came(pages: u64, wrong: u64) -> String {
    let counted = |count: u64, what: &str| {
        let ending = if count == 1 { "" } else { "s" };
        (count > 0).then(|| format!("{count} more {what}{ending}"))
    };
    let counts: Vec<String> =
        [counted(pages, "page"), counted(wrong, "wrong passcode")].into_iter().flatten().collect();
    format!("{} in the last minute", counts.join(" and "))
}

/// Where the page is.
pub(crate) fn address(link: &str) -> String {
    format!("the page is at {link}")
}

/// What is left open where other machines reach the page.
pub(crate) const IN_A_NETWORK: &str = "nothing on it is encrypted: others in the network can read and change what page and program send; \
                                       use a network of your own, and a long passcode that is used nowhere else";

/// The page cannot be opened.
pub(crate) fn not_opened(error: &dyn Display) -> String {
    format!("{error}; the music goes on without it")
}

/// A press that took too long on its way.
pub(crate) const TOO_LATE: &str = "That came too late: press again.";
/// A press for what the thumb has not seen yet.
pub(crate) const JUST_MOVED: &str = "The set has just moved: look, and press again.";
/// What reads a file of this machine.
pub(crate) const AT_THE_COMPUTER: &str = "A song is added at the computer: handspan do add-song FILE.";
/// What is done about the page itself.
pub(crate) const PAGE_AT_THE_COMPUTER: &str = "What concerns the page itself is done at the computer.";
/// A page of another user of this machine wants to write the set's file.
pub(crate) const NOT_YOUR_FILE: &str =
    "The set is saved by the user who plays it, or with a passcode: handspan do save-set.";
/// A saved gear file has other passcodes.
pub(crate) const OTHER_PASSCODES: &str = "The passcodes have changed: every page is asked again.";
/// Waits for wrong passcodes were taken away.
pub(crate) const WAITS_FORGOTTEN: &str = "Nobody waits for a wrong passcode any longer.";
/// Every page was disconnected.
pub(crate) const ALL_DISCONNECTED: &str = "All pages are disconnected; each is asked for the passcode again.";
/// The page was closed.
pub(crate) const CLOSED: &str = "The page is closed until the next start.";
/// There is no page to do something about.
pub(crate) const NO_PAGE: &str = "There is no page.";
/// A press on a page that has the viewing passcode.
pub(crate) const VIEW_ONLY: &str = "This page is view only: it cannot control the set.";
/// Many presses at once.
pub(crate) const TOO_MUCH: &str = "Too much at once: wait for what was pressed before.";
/// A page from before an update.
pub(crate) const OTHER_VERSION: &str = "This page is of another version: load it again.";
/// No room for one more.
pub(crate) const TOO_MANY: &str = "Too many pages are connected at this moment.";
/// A page without a passcode.
pub(crate) const PASSCODE_WANTED: &str = "This stand asks for its passcode.";
/// A page with another passcode.
pub(crate) const PASSCODE_WRONG: &str = "That is not the passcode.";
/// A page that has to wait before it may try again.
pub(crate) const TOO_MANY_PASSCODES: &str = "Too many wrong passcodes: wait a little.";

/// What `check` found, in a line: the sentence, where, and what to do.
pub(crate) fn finding(found: &Listed<'_>, sources: &[Source]) -> String {
    // Where the set lies is nobody's business who looks at the page.
    let place = |place: Place<'_>| format!(" ({}, line {})", place.beside_the_set(sources), place.line);
    let place = found.place.map_or_else(String::new, place);
    let help = found.help.map_or_else(String::new, |help| format!(" {}", sentence(&help)));
    format!("{}{place}{help}", sentence(&found.title))
}

/// The gear file wants no page.
pub(crate) const OFF: &str = "the gear file says listen = \"off\" below [stand]";

/// Without ports there is nothing else to play on.
pub(crate) fn needed_without_ports(why: &dyn Display) -> String {
    format!("without ports only the page can be played on, and it cannot be opened: {why}.")
}
