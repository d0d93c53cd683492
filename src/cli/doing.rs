//! `handspan do`: has something done by the handspan that plays.

use super::console::{Failure, tell};
use super::maps;
use super::reach::{self, Meant};
use crate::daemon::control::{Ask, Outcome};
use crate::map::{Word, followed};

/// What can be done, for `--help`.
pub(super) fn help() -> String {
    let rows = || Word::all().map(Word::row).map(|row| (followed(row.word, row.after), row.help));
    let width = rows().map(|(words, _)| words.len()).max().unwrap_or(0);
    let lines = rows().map(|(words, help)| format!("  {words:width$}  {help}\n"));
    format!("Actions:\n{}\n{MORE_HELP}", lines.collect::<String>())
}

/// What follows the actions.
const MORE_HELP: &str = "Changes to the set; they hold for this run, and longer once they are saved:
  move-song TITLE POSITION  to this position in the set, counted from 1
  add-song FILE (KEY)       at the end; the file is looked for from here, then from the
                            set's folder
  remove-song TITLE         its map stays where it is
  song-singer TITLE NAME    who of the set's singers sings it, by the name in the set's file or
                            the one that is shown; nobody: no singer
  song-key TITLE KEY        the room's key of any song; the current one moves at once,
                            unless its key was changed by hand
  adjust-zone ZONE FIELD VALUE
                            level, octave, keys, linger or on of a zone of the song that is played,
                            such as: bed level -3, bed keys C3 B5, bed linger next, bed on off
  adjust-song tempo VALUE   the tempo of the song that is played
  undo-change               takes back the last of them
  save-set                  writes them into the set's file and the songs'; the old ones stay beside
                            them as .bak, the first ones of all as .original

About the page:
  page-forget-waits         nobody waits any longer for wrong passcodes
  page-disconnect           every page is disconnected and asked for the passcode again
  page-close                no page until the next start

Examples:
  handspan do next-song
  handspan do section Chorus
  handspan do song-key \"Carry the Light\" Eb
  handspan do add-song songs/weir-gate.toml D --name rehearsal

Exit codes: 0 done, 1 it could not be done, 2 the command line is wrong or there is no such action.";

pub(super) fn run(mut words: Vec<String>, name: Option<&str>) -> Result<(), Failure> {
    let (folder, name) = match reach::meant(name)? {
        Meant::One(folder, name) => (folder, name),
        Meant::Several(_, names) => return Err(reach::say_which(&names)),
    };
    if words.first().is_some_and(|word| word == "add-song") {
        words.get_mut(1).into_iter().for_each(maps::from_here);
    }
    let answer = reach::ask(&folder, &name, Ask::Do { words })?;
    let said = answer.words;
    match answer.outcome {
        Outcome::Done => {
            tell(&said);
            Ok(())
        }
        Outcome::Failed | Outcome::Busy => Err(Failure::Failed(said)),
        Outcome::Wrong => Err(Failure::Wrong(said)),
    }
}
