//! `handspan set`: the set's file without an editor, by the same changes as those of a running performance.

use std::path::PathBuf;

use clap::Subcommand;

use super::console::{Failure, tell};
use super::maps;
use crate::daemon::Show;
use crate::daemon::changes::{self, Change, ChangeError, Saved};
use crate::map::Book;
use crate::wording::notices::sentence;

pub(super) const HELP: &str =
    "Comments and layout are kept. What the file was before stays beside it as .bak, and what it was \
before the first such change as .original. A set that is being played takes the change as it takes any saved map.

Examples:
  handspan set evening/set.toml add evening/songs/lantern.toml
  handspan set evening/set.toml add evening/songs/lantern.toml Eb --position 2
  handspan set evening/set.toml move Lantern 1
  handspan set evening/set.toml key Lantern F
  handspan set evening/set.toml singer Lantern guest
  handspan set evening/set.toml remove Lantern

Exit codes: 0 done, 1 it could not be done, 2 the command line is wrong or a file cannot be read.";

/// What is done to the set.
#[derive(Debug, Subcommand)]
pub(super) enum SetChange {
    /// Adds a song at the end, or at a position.
    Add {
        /// The song's map: it is looked for from here, then from the set's folder.
        file: PathBuf,
        /// The room's key tonight; the chart's if not given.
        key: Option<String>,
        /// Its position in the set, counted from 1.
        #[arg(long, value_name = "NUMBER")]
        position: Option<String>,
    },
    /// Moves a song or pause to another position.
    Move {
        /// Its title in any case, or its position.
        title: String,
        /// The new position, counted from 1.
        position: String,
    },
    /// Takes a song or pause out of the set; its map stays where it is.
    Remove {
        /// Its title in any case, or its position.
        title: String,
    },
    /// Gives a song its key tonight, as the room hears it.
    Key {
        /// Its title in any case, or its position.
        title: String,
        /// The key, such as Eb or F#m.
        key: String,
    },
    /// Says who sings a song tonight.
    Singer {
        /// Its title in any case, or its position.
        title: String,
        /// One of the set's singers, by the name in its file or the one that is shown; or nobody.
        name: String,
    },
}

impl SetChange {
    /// The words that ask a running performance for it.
    fn words(&self) -> Vec<String> {
        let words: &[&str] = match self {
            SetChange::Add { file, key, .. } => {
                let mut file = file.to_string_lossy().into_owned();
                maps::from_here(&mut file);
                return ["add-song".to_owned(), file].into_iter().chain(key.clone()).collect();
            }
            SetChange::Move { title, position } => &["move-song", title, position],
            SetChange::Remove { title } => &["remove-song", title],
            SetChange::Key { title, key } => &["song-key", title, key],
            SetChange::Singer { title, name } => &["song-singer", title, name],
        };
        words.iter().map(|word| (*word).to_owned()).collect()
    }
}

pub(super) fn run(set: &str, asked: &SetChange) -> Result<(), Failure> {
    let mut show = Show::new(maps::load_sound(set)?);
    let mut said = vec![make(&mut show, &asked.words())?];
    if let SetChange::Add { position: Some(position), .. } = asked {
        let words = ["move-song".to_owned(), last(&show.book), position.clone()];
        said.push(make(&mut show, &words)?);
    }
    save(set, &show, &said)
}

/// Makes one change, and writes the set's file.
pub(super) fn write(set: &str, words: &[String]) -> Result<(), Failure> {
    let mut show = Show::new(maps::load_sound(set)?);
    let said = make(&mut show, words)?;
    save(set, &show, &[said])
}

fn save(set: &str, show: &Show, said: &[String]) -> Result<(), Failure> {
    let (written, _) =
        changes::save(set, maps::read, &show.changes).map_err(|error| Failure::Failed(sentence(&error)))?;
    said.iter().for_each(|said| tell(said));
    tell(&Saved::words(&written));
    Ok(())
}

/// Makes a change to the set as it is by now; what it means.
fn make(show: &mut Show, words: &[String]) -> Result<String, Failure> {
    let refused = |error: ChangeError| match error.is_wrong() {
        true => Failure::Wrong(sentence(&error)),
        false => Failure::Failed(sentence(&error)),
    };
    let change = Change::parse(words, show, None).map_err(refused)?;
    let (book, changes) = changes::amend(show, change.clone(), maps::read).map_err(refused)?;
    *show = Show::changed(book, changes);
    Ok(change.done(show, None))
}

/// The position of the last entry, as one says it: its title may be another's too.
fn last(book: &Book) -> String {
    book.set.entries.len().to_string()
}
