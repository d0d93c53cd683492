//! `handspan try`: the main job on any machine, with nothing plugged in and no sound system.

use std::fs;
use std::io;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use super::console::{Failure, tell};
use super::table::{self, Moment, MomentKind};
use super::telling::{self, HAND, KEYS_SHOWN, is_edge, tabulate, tally, telling};
use super::{demo, practice, replay};
use crate::engine::{Action, Event, MarkerEvent, Notice, Plan, Rehearsal};
use crate::map::{self, Book};
use crate::midi::file::{self, Take, TakeKind};

/// Keys shown after each cue.
const AFTER_A_CUE: usize = 2;
/// Piano and pad with one hand: what is worth hearing first.
const FIRST: &str = "song Frost on the Window";

/// Tells what the demo does, and where `plays` says so lets the player play it.
pub(super) fn run(out: Option<PathBuf>, plays: bool) -> Result<(), Failure> {
    let folder = folder(out)?;
    let mut left = leave_maps(&folder)?;
    let book = demo_book()?;
    let plan = Arc::new(Plan::new(&book));
    tell(&format!("{}: {} songs, played from recorded takes.", book.set.title, book.songs.len()));
    tell("Left, what the hand played; beside it, what each output got: its channel, then the message.");
    for song in 0..book.songs.len() {
        let Some(stem) = stem(&book, song) else { continue };
        let take = demo_take(&format!("takes/{stem}.mid"))?;
        let entry = first_song(&take, &plan).unwrap_or(0);
        let rehearsal = Rehearsal::new(&plan, &take, 0, entry);
        show(&book, song, entry, &rehearsal, &take);
        left.extend(leave_replayed(&book, (&rehearsal, &take), &folder, stem)?);
    }
    let take = demo_take(demo::WHOLE_TAKE)?;
    let rehearsal = Rehearsal::new(&plan, &take, 0, 0);
    show_drone(&book, &plan, &rehearsal, &take);
    left.extend(leave_replayed(&book, (&rehearsal, &take), &folder, "whole-set")?);
    let directing = demo_take(demo::DIRECTING)?;
    let directed = Rehearsal::new(&plan, &directing, 0, 0);
    show_cues(&book, &directed, &directing);
    left.extend(leave_replayed(&book, (&directed, &directing), &folder, "directing")?);
    tell(&format!(
        "\nThe whole set, {:.0} minutes of playing\n  {}",
        take.end as f64 / 60e6,
        tally(&book, &rehearsal, &take)
    ));
    tell(&format!("The maps, the takes and what came of them are in {}", folder.display()));
    say_left_alone(&left);
    let set = folder.join(demo::SET);
    tell(&format!(
        "Change a map there and hear what it does:\n  handspan replay {} {} --out {}",
        set.display(),
        folder.join(demo::WHOLE_TAKE).display(),
        folder.join("again").display()
    ));
    if plays {
        return practice::run(&set, Some(FIRST));
    }
    tell("Play it yourself, on a page with keys and sound:\n  handspan try --page");
    Ok(())
}

/// The folder asked for, or a new one for temporary files.
fn folder(out: Option<PathBuf>) -> Result<PathBuf, Failure> {
    match out {
        Some(folder) => Ok(folder),
        None => {
            tempfile::Builder::new().prefix("handspan-try-").tempdir().map(|folder| folder.keep()).map_err(|error| {
                Failure::Wrong(format!("no folder for temporary files can be made ({error}): name one with --out."))
            })
        }
    }
}

/// Leaves the maps and takes of the demo in a folder. What is there and differs is somebody's own: it is left alone, and
/// named in what is returned.
fn leave_maps(folder: &Path) -> Result<Vec<PathBuf>, Failure> {
    let mut left = Vec::new();
    for (path, bytes) in demo::FILES {
        let path = folder.join(path);
        if leads_out(folder, &path) || replay::is_another(&path, bytes) {
            left.push(path);
            continue;
        }
        let written = path.parent().map_or(Ok(()), fs::create_dir_all).and_then(|()| fs::write(&path, bytes));
        written.map_err(|error| {
            Failure::Wrong(format!("{} cannot be written ({error}): give --out another folder.", path.display()))
        })?;
    }
    Ok(left)
}

/// Leaves what came of a take in the folder, with the same care.
fn leave_replayed(
    book: &Book,
    played: (&Rehearsal, &Take),
    folder: &Path,
    name: &str,
) -> Result<Vec<PathBuf>, Failure> {
    let out = folder.join("replayed").join(name);
    if leads_out(folder, &out) {
        return Ok(vec![out]);
    }
    let written = replay::write(book, played, &out, replay::Others::LeftAlone)?;
    Ok(written.into_iter().filter(|written| written.left_alone).map(|written| written.path).collect())
}

/// Whether a link below the folder is on the way to a path in it.
fn leads_out(folder: &Path, path: &Path) -> bool {
    let on_the_way = path.ancestors().take_while(|above| *above != folder);
    on_the_way.into_iter().any(|above| fs::symlink_metadata(above).is_ok_and(|there| there.is_symlink()))
}

/// Says what was left alone, as far as one reads it.
fn say_left_alone(left: &[PathBuf]) {
    const SHOWN: usize = 8;
    if left.is_empty() {
        return;
    }
    tell("Left alone, because something else is there:");
    left.iter().take(SHOWN).for_each(|path| tell(&format!("  {}", path.display())));
    if left.len() > SHOWN {
        tell(&format!("  and {} more", left.len() - SHOWN));
    }
}

fn demo_file(path: &str) -> io::Result<Vec<u8>> {
    let file = demo::FILES.iter().find(|(name, _)| *name == path);
    file.map(|(_, bytes)| bytes.to_vec()).ok_or_else(|| io::ErrorKind::NotFound.into())
}

fn demo_book() -> Result<Book, Failure> {
    let loaded = map::load(demo::SET, &mut demo_file);
    loaded.book.ok_or_else(|| {
        let faults: Vec<String> = loaded.diagnostics.iter().map(|fault| fault.render(&loaded.sources, false)).collect();
        Failure::Failed(faults.join("\n"))
    })
}

fn demo_take(path: &str) -> Result<Take, Failure> {
    let bytes = demo_file(path).map_err(|error| Failure::Failed(format!("{path}: {error}")))?;
    file::read(&bytes).map_err(|error| Failure::Failed(format!("{path}: {error}")))
}

/// The name of a song's file, without its ending.
fn stem(book: &Book, song: usize) -> Option<&str> {
    let path = &book.sources.get(book.songs.get(song)?.title.spot.file)?.path;
    Path::new(path).file_stem()?.to_str()
}

/// The song that a take's first marker asks for.
fn first_song(take: &Take, plan: &Plan) -> Option<usize> {
    take.events.iter().find_map(|event| match &event.kind {
        TakeKind::Marker(text) => match MarkerEvent::parse(text, plan) {
            Ok(MarkerEvent::Happened(Event::Action(Action::Song(entry)))) => Some(entry),
            _ => None,
        },
        TakeKind::Message(_) => None,
    })
}

fn show(book: &Book, song: usize, entry: usize, rehearsal: &Rehearsal, take: &Take) {
    let song = &book.songs[song];
    tell(&format!("\n{}", song.title.value));
    telling::song(book, song, entry);
    let moments = table::moments(book, rehearsal, take, 0);
    let chosen = telling(&moments);
    tabulate(book, rehearsal, (&moments, &chosen), HAND);
    tell(&format!("  {}", tally(book, rehearsal, take)));
}

/// How pedals, a key and the tracks player move the set.
fn show_cues(book: &Book, rehearsal: &Rehearsal, take: &Take) {
    let moments = table::moments(book, rehearsal, take, 0);
    let mut keys_left = 0;
    let mut chosen = Vec::new();
    for (index, moment) in moments.iter().enumerate() {
        let is_told = match moment.kind {
            MomentKind::Begins | MomentKind::Cue => {
                keys_left = AFTER_A_CUE;
                true
            }
            MomentKind::Key if keys_left > 0 => {
                keys_left -= 1;
                true
            }
            MomentKind::Fade => is_edge(&moments, index),
            _ => false,
        };
        if is_told {
            chosen.push(index);
        }
    }
    tell("\nThe set moved by cues: two pedals, the topmost key, the player of recorded tracks");
    tell("  Below what came in: what it did (→). A press that may still become another is known later.");
    tabulate(book, rehearsal, (&moments, &chosen), "what comes in");
}

/// How the drone goes on between songs, in the take over the whole set.
fn show_drone(book: &Book, plan: &Plan, rehearsal: &Rehearsal, take: &Take) {
    let moments = table::moments(book, rehearsal, take, 0);
    let chosen = under_talking(&moments);
    let mut titles: Vec<&str> = chosen.iter().map(|index| plan.title(moments[*index].standing.entry)).collect();
    titles.dedup();
    if titles.len() > 1 {
        tell(&format!("\nThe drone under talking, in the take over the whole set\n  {}", titles.join(" → ")));
        tabulate(book, rehearsal, (&moments, &chosen), HAND);
    }
}

/// From where the drone is turned on to where it has faded: the changes of song, and the first keys of a song with which
/// it moves.
fn under_talking(moments: &[Moment<'_>]) -> Vec<usize> {
    let Some(begin) = moments.iter().position(|moment| moment.notices.contains(&Notice::Drone(true))) else {
        return Vec::new();
    };
    let mut told = vec![begin];
    let (mut keys_left, mut fading) = (0, false);
    for (index, moment) in moments.iter().enumerate().skip(begin + 1) {
        let is_told = match moment.kind {
            MomentKind::Asked if moment.notices.contains(&Notice::Song) => {
                if fading {
                    break;
                }
                keys_left = KEYS_SHOWN - 1;
                true
            }
            MomentKind::Asked if moment.notices.contains(&Notice::Fade) => {
                fading = true;
                true
            }
            MomentKind::Key if keys_left > 0 => {
                keys_left -= 1;
                true
            }
            MomentKind::Fade => is_edge(moments, index),
            _ => false,
        };
        if is_told {
            told.push(index);
        }
    }
    told
}
