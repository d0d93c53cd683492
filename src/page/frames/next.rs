//! What comes next: the song with its key, and the key that the next section goes to.

use serde::Serialize;

use crate::daemon::Show;
use crate::engine::Snapshot;
use crate::evening::{Keys, Order};
use crate::wording::keys;

/// What comes next.
#[derive(Debug, Clone, Default, PartialEq, Serialize)]
pub(in crate::page) struct Next {
    /// Title of the song or pause that follows.
    next: Option<String>,
    /// The room's key on entering it.
    next_key: Option<String>,
    /// In words, where the room's key changes with the next section.
    next_section_key: Option<String>,
}

impl Next {
    /// What comes after where the set stands.
    pub fn of(show: &Show, snapshot: &Snapshot) -> Next {
        let number = snapshot.next_song.unwrap_or(snapshot.standing.entry + 1);
        let entry = show.book.set.entries.get(number);
        Next {
            next: entry.map(|_| show.plan.title(number).to_owned()),
            next_key: Keys::on_entering(&show.book, number).map(|key| key.to_string()),
            next_section_key: section_key(show, snapshot),
        }
    }
}

/// What is said of the key that the next section goes to; nothing in a pause, from which no section follows.
fn section_key(show: &Show, snapshot: &Snapshot) -> Option<String> {
    let standing = &snapshot.standing;
    let (entry, song) = standing.playing(&show.book).filter(|_| standing.song == Some(standing.entry))?;
    let order = Order::of(entry, song);
    let ahead = order.steps.get(standing.order_step + 1)?.lift;
    let here = order.lift_seen_from(standing.order_step, standing.section);
    let key = Keys::of(&show.book, entry, song).room_at(ahead, standing.transposed).to_string();
    (ahead != here).then(|| keys::goes_to(&key, ahead > here))
}
