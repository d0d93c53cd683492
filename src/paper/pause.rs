//! The sheet of a pause: what is to be done, and what the keys play meanwhile.

use super::sheet::Block;
use super::{rows, song};
use crate::evening::{Keys, title};
use crate::map::{Book, Entry};
use crate::music::Key;
use crate::wording::paper;

/// What stands on the sheet of a pause, at its place in the set from 0.
pub(super) fn blocks(book: &Book, (place, entry): (usize, &Entry)) -> Vec<Block> {
    let before = book.set.entries[..place].iter().rev().find_map(|entry| Some((entry, book.songs.get(entry.song?)?)));
    let keys = before.map(|(entry, song)| Keys::of(book, entry, song));
    let said = before
        .zip(keys)
        .map(|((entry, _), keys)| (title(book, entry).to_owned(), keys.tonight.to_string(), keys.play_in.to_string()));
    let said = said.as_ref().map(|(title, room, fingers)| (title.as_str(), room.as_str(), fingers.as_str()));
    let mut blocks = vec![Block::Fact("a pause", entry.remark.clone().unwrap_or_else(|| "no remark".to_owned()))];
    blocks.push(Block::Fact("the keys play", paper::in_a_pause(said)));
    blocks.extend(song::next(book, place));
    let key = keys.map_or_else(|| Key::usual(0, false, true), |keys| keys.tonight);
    blocks.extend(rows::of_pause(entry, key).map(Block::Table));
    blocks
}
