//! `handspan try SET TAKE`: any take through any set, what the hand played beside what each output got.

use std::path::Path;
use std::sync::Arc;

use super::console::{Failure, tell};
use super::telling::{self, HAND, tabulate, tally, telling};
use super::{maps, replay, table};
use crate::engine::{Plan, Rehearsal};

/// Shows a take that was played on `input`, song by song as it goes through the set.
pub(super) fn run(set: &str, path: &Path, input: Option<&str>) -> Result<(), Failure> {
    let book = maps::load_sound(set)?;
    let input = replay::input_number(&book, input)?;
    let take = replay::read_take(path)?;
    let plan = Arc::new(Plan::new(&book));
    let rehearsal = Rehearsal::new(&plan, &take, input, 0);
    replay::report(&rehearsal, &take);
    tell(&format!("{}, as {} plays it.", book.set.title, path.display()));
    tell("Left, what the hand played; beside it, what each output got: its channel, then the message.");
    let moments = table::moments(&book, &rehearsal, &take, input);
    let mut shown = Vec::new();
    for stay in moments.chunk_by(|one, next| one.standing.entry == next.standing.entry) {
        let chosen = telling(stay);
        let entry = stay.first().map_or(0, |moment| moment.standing.entry);
        tell(&format!("\n{}", plan.title(entry)));
        let song = book.set.entries.get(entry).and_then(|entry| book.songs.get(entry.song?));
        // What was shown once is known.
        if let Some(song) = song.filter(|_| !shown.contains(&entry)) {
            telling::song(&book, song, entry);
            shown.push(entry);
        }
        tabulate(&book, &rehearsal, (stay, &chosen), HAND);
    }
    tell(&format!("\n  {}", tally(&book, &rehearsal, &take)));
    Ok(())
}
