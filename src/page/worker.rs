//! The thread that has things done, one after the other, while nobody who looks is kept waiting.

use std::sync::atomic::Ordering;

use axum::extract::ws::Utf8Bytes;
use crossbeam_channel::Receiver;

use super::frames;
use super::hub::{Hub, Job, Viewer};
use super::messages::Do;
use super::owner;
use super::seen::SetPosition;
use crate::daemon::observer::Observer;
use crate::daemon::requests::{Ask, Outcome, PageRequest, RequestHandler};
use crate::wording::page::{AT_THE_COMPUTER, JUST_MOVED, NOT_YOUR_FILE, PAGE_AT_THE_COMPUTER, TOO_LATE};

/// What was pressed longer ago does not act, in milliseconds;
pub(super) const STALE: f64 = 1_500.0;
/// and nobody presses so far in the future.
const AHEAD: f64 = 1_000.0;

/// What one viewer may have waiting to be done: who asks without end is not in the others' way.
pub(super) const WAITING: usize = 8;

/// Whether what was pressed then may act now, both in milliseconds.
pub(super) fn is_fresh(at: f64, now: u64) -> bool {
    let age = now as f64 - at;
    (-AHEAD..=STALE).contains(&age)
}

/// Does what is asked for until the end.
pub(super) fn answer_all(hub: &Hub, handler: &RequestHandler, observer: &Observer, jobs: &Receiver<Job>) {
    for asked in jobs {
        let Job::Do(viewer, asked) = asked else { return };
        let (done, words) = answer(hub, (handler, observer), &viewer, &asked);
        viewer.asking.fetch_sub(1, Ordering::AcqRel);
        viewer.send(&answered(asked.ask, done, &words));
    }
}

/// The frame that says what came of it.
pub(super) fn answered(ask: u32, done: bool, words: &str) -> Utf8Bytes {
    frames::text(&frames::Frame::Answer { ask, done, words })
}

fn answer(hub: &Hub, (handler, observer): (&RequestHandler, &Observer), viewer: &Viewer, asked: &Do) -> (bool, String) {
    if !is_fresh(asked.at, hub.now()) {
        return (false, TOO_LATE.to_owned());
    }
    let word = asked.words.first().map_or("", String::as_str);
    if word == "add-song" {
        // It reads a file of this machine, and says what is wrong in it.
        return (false, AT_THE_COMPUTER.to_owned());
    }
    if PageRequest::parse(word).is_some() {
        return (false, PAGE_AT_THE_COMPUTER.to_owned());
    }
    // Without a passcode every user of this machine can press; the file is one user's.
    if word == "save-set" && !hub.auth.asks() && !owner::is_ours(viewer.ends.from, viewer.ends.at) {
        return (false, NOT_YOUR_FILE.to_owned());
    }
    // What means the song that is played, by where it stands, must not reach another one.
    let steps = ["next-", "previous-", "adjust-", "undo-"].iter().any(|first| word.starts_with(first));
    if steps && !hub.seen.is_still(asked.seen, &SetPosition::of(&observer.state())) {
        return (false, JUST_MOVED.to_owned());
    }
    let answer = handler.answer(&viewer.name.to_string(), Ask::Do { words: asked.words.clone() });
    (answer.outcome == Outcome::Done, answer.words)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_is_old_does_not_act() {
        assert!(is_fresh(1_000.0, 1_000) && is_fresh(1_000.0, 2_500) && is_fresh(1_200.0, 1_000));
        assert!(!is_fresh(1_000.0, 2_501) && !is_fresh(0.0, 60_000));
        assert!(!is_fresh(9_000.0, 1_000), "a clock that is that wrong says nothing");
    }
}
