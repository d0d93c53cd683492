//! Where the set stood in which state that was shown, so that two thumbs make one step.

use std::sync::{Mutex, PoisonError};

use crate::daemon::state::State;

/// What `next` and `previous` go by.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct SetPosition {
    entry: usize,
    song: Option<usize>,
    section: Option<usize>,
    next_song: Option<String>,
}

impl SetPosition {
    pub fn of(state: &State) -> SetPosition {
        SetPosition {
            entry: state.entry.position,
            song: state.song.as_ref().map(|song| song.position),
            section: state.song.as_ref().and_then(|song| song.section.as_ref()).map(|section| section.step),
            next_song: state.next_song.clone(),
        }
    }
}

/// The position that was shown last, and the numbers of the states that showed it.
#[derive(Debug, Default)]
pub(super) struct Seen(Mutex<Shown>);

#[derive(Debug, Default)]
struct Shown {
    position: Option<SetPosition>,
    since: u64,
    latest: u64,
}

impl Seen {
    /// One more state is shown; returns its number, from 1.
    pub fn show(&self, position: SetPosition) -> u64 {
        let mut shown = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        shown.latest += 1;
        if shown.position.as_ref() != Some(&position) {
            shown.since = shown.latest;
            shown.position = Some(position);
        }
        shown.latest
    }

    /// Whether the set still stands where state number `seen` showed it.
    pub fn is_still(&self, seen: u64, now: &SetPosition) -> bool {
        let shown = self.0.lock().unwrap_or_else(PoisonError::into_inner);
        (shown.since..=shown.latest).contains(&seen) && shown.position.as_ref() == Some(now)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(entry: usize, section: usize) -> SetPosition {
        SetPosition { entry, song: Some(entry), section: Some(section), next_song: None }
    }

    #[test]
    fn what_was_seen_holds_until_the_set_moves() {
        let seen = Seen::default();
        assert!(!seen.is_still(0, &at(1, 1)), "nothing has been shown");
        assert_eq!([seen.show(at(1, 1)), seen.show(at(1, 1))], [1, 2]);
        assert!(seen.is_still(1, &at(1, 1)) && seen.is_still(2, &at(1, 1)));
        assert!(!seen.is_still(3, &at(1, 1)), "nobody has seen that yet");
        assert!(!seen.is_still(2, &at(1, 2)), "moved, and not shown yet");
        seen.show(at(1, 2));
        assert!(!seen.is_still(2, &at(1, 2)) && seen.is_still(3, &at(1, 2)));
        seen.show(at(1, 1));
        assert!(!seen.is_still(2, &at(1, 1)), "it went away and came back");
        let next = SetPosition { next_song: Some("Nine Bells".to_owned()), ..at(1, 1) };
        assert!(!seen.is_still(4, &next), "next would lead elsewhere now");
    }
}
