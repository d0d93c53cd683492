//! `handspan try`: the main job on any machine, with nothing plugged in and no sound system.

use std::fs;
use std::io;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use super::console::{Failure, tell};
use super::table::{self, Moment, MomentKind};
use super::{demo, keyboard, practice, replay};
use crate::engine::{Action, Event, MarkerEvent, Notice, Plan, Rehearsal};
use crate::evening::{Keys, worth_drawing};
use crate::map::{self, Book};
use crate::midi::file::{self, Take, TakeKind};
use crate::wording;
use crate::wording::zones::{self, Detail};

/// Keys shown after the beginning of a song and of each section; all of them are in the replayed files.
const KEYS_SHOWN: usize = 5;
/// Sections shown of each song.
const SECTIONS_SHOWN: usize = 3;
/// Moments of one fade are no further apart, in microseconds.
const STEP_OF_A_FADE: u64 = 60_000;
/// Wrong notes shown of each song.
const WRONG_SHOWN: usize = 2;
/// Keys shown after each cue.
const AFTER_A_CUE: usize = 2;
/// The heading over what the hand does.
const HAND: &str = "the hand";
/// Columns of a keyboard.
const KEYBOARD: usize = 88;

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
        return practice::run(&set);
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
    let keys = Keys::of(book, &book.set.entries[entry], song);
    tell(&format!("\n{}", song.title.value));
    tell(&format!("  {}", wording::keys::tonight(&keys, song)));
    for input in worth_drawing(book, song) {
        tell(&format!("\n  {}", input.name.value));
        let drawn = keyboard::draw(book, song, &keys, input, KEYBOARD);
        drawn.iter().for_each(|line| tell(format!("  {line}").trim_end()));
    }
    let words = zones::words(book, song, &keys, Detail::Helping);
    if !words.is_empty() {
        tell("");
        words.iter().for_each(|line| tell(&format!("  {line}")));
    }
    let moments = table::moments(book, rehearsal, take);
    let chosen = telling(&moments);
    tabulate(book, rehearsal, &moments, &chosen, HAND);
    tell(&format!("  {}", tally(book, rehearsal, take)));
}

/// Some moments as a table, with a sign where others are left out.
fn tabulate(book: &Book, rehearsal: &Rehearsal, moments: &[Moment<'_>], chosen: &[usize], first: &str) {
    let used = outputs_used(book, rehearsal);
    let is_told = |output: &usize| {
        let mut told = chosen.iter().flat_map(|index| &moments[*index].said);
        told.any(|line| line.output == *output)
    };
    let used: Vec<usize> = used.into_iter().filter(is_told).collect();
    tell(&format!("\n{}", table::heading(book, &used, first)));
    let mut before = None;
    for index in chosen {
        if before.is_some_and(|before| before + 1 != *index) {
            tell(&table::gap());
        }
        before = Some(*index);
        table::rows(book, &moments[*index], &used).iter().for_each(|row| tell(row));
    }
}

fn outputs_used(book: &Book, rehearsal: &Rehearsal) -> Vec<usize> {
    let said = |output: &usize| rehearsal.steps.iter().any(|step| step.said.iter().any(|line| line.output == *output));
    (0..book.gear.outputs.len()).filter(said).collect()
}

/// The moments that tell what a song does: how it and its first sections begin, the first keys after that with what is
/// decided from them; what somebody asks for; and one or two of each thing that is there to help.
fn telling(moments: &[Moment<'_>]) -> Vec<usize> {
    let mut told = Vec::new();
    let (mut sections, mut keys_left) = (0, 0);
    let (mut wrong_left, mut silent_left, mut late_left) = (WRONG_SHOWN, WRONG_SHOWN, 1);
    let mut was_key = false;
    // Where something follows chords, more than one of them is worth seeing.
    let decides = moments.iter().any(|moment| moment.kind == MomentKind::Decision);
    for (index, moment) in moments.iter().enumerate() {
        let is_told = match moment.kind {
            MomentKind::Begins => {
                sections += 1;
                keys_left = match sections {
                    1 if decides => 2 * KEYS_SHOWN,
                    1..=SECTIONS_SHOWN => KEYS_SHOWN,
                    _ => 0,
                };
                sections <= SECTIONS_SHOWN
            }
            MomentKind::Key if keys_left > 0 => {
                keys_left -= 1;
                true
            }
            MomentKind::Decision => was_key,
            MomentKind::WrongKey if wrong_left > 0 => {
                wrong_left -= 1;
                true
            }
            MomentKind::SilentKey if silent_left > 0 => {
                silent_left -= 1;
                true
            }
            MomentKind::LateFinger if late_left > 0 => {
                late_left -= 1;
                true
            }
            MomentKind::Asked => moment.notices.iter().any(|notice| match notice {
                Notice::Drone(_) => true,
                Notice::Fade => moments.get(index + 1).is_some_and(|next| next.kind == MomentKind::Fade),
                _ => false,
            }),
            MomentKind::Fade => is_edge(moments, index),
            _ => false,
        };
        // What is decided belongs to the keys above it.
        match moment.kind {
            MomentKind::Key | MomentKind::WrongKey | MomentKind::SilentKey | MomentKind::Begins => was_key = is_told,
            _ => {}
        }
        if is_told {
            told.push(index);
        }
    }
    told
}

/// Whether a moment of a fade is its first or last, whatever is played meanwhile.
fn is_edge(moments: &[Moment<'_>], index: usize) -> bool {
    let here = moments[index].at;
    let fades = |moment: &&Moment<'_>| moment.kind == MomentKind::Fade && moment.at.abs_diff(here) < STEP_OF_A_FADE;
    let begins = !moments[..index]
        .iter()
        .rev()
        .take_while(|moment| here - moment.at < STEP_OF_A_FADE)
        .any(|moment| fades(&moment));
    let ends = !moments[index + 1..]
        .iter()
        .take_while(|moment| moment.at - here < STEP_OF_A_FADE)
        .any(|moment| fades(&moment));
    begins || ends
}

/// How pedals, a key and the tracks player move the set.
fn show_cues(book: &Book, rehearsal: &Rehearsal, take: &Take) {
    let moments = table::moments(book, rehearsal, take);
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
    tabulate(book, rehearsal, &moments, &chosen, "what comes in");
}

/// How the drone goes on between songs, in the take over the whole set.
fn show_drone(book: &Book, plan: &Plan, rehearsal: &Rehearsal, take: &Take) {
    let moments = table::moments(book, rehearsal, take);
    let chosen = under_talking(&moments);
    let mut titles: Vec<&str> = chosen.iter().map(|index| plan.title(moments[*index].standing.entry)).collect();
    titles.dedup();
    if titles.len() > 1 {
        tell(&format!("\nThe drone under talking, in the take over the whole set\n  {}", titles.join(" → ")));
        tabulate(book, rehearsal, &moments, &chosen, HAND);
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

/// How many keys were pressed and how many notes each output got, and whether all of them ended.
fn tally(book: &Book, rehearsal: &Rehearsal, take: &Take) -> String {
    let is_on = |bytes: &[u8]| matches!(bytes, [status, _, velocity] if status & 0xF0 == 0x90 && *velocity > 0);
    let is_off = |bytes: &[u8]| matches!(bytes, [status, ..] if status & 0xF0 == 0x80);
    let pressed = take.events.iter().filter(|event| matches!(&event.kind, TakeKind::Message(bytes) if is_on(bytes)));
    let mut hanging = 0;
    let mut notes = Vec::new();
    for output in outputs_used(book, rehearsal) {
        let lines = rehearsal.lines_of(output);
        let count = |is: &dyn Fn(&[u8]) -> bool| lines.iter().filter(|(_, bytes)| is(bytes)).count();
        let ons = count(&is_on);
        hanging += ons - count(&is_off).min(ons);
        if ons > 0 {
            notes.push(format!("{ons} notes to {}", book.gear.outputs[output].name.value));
        }
    }
    let ended = if hanging == 0 { "every one ended".to_owned() } else { format!("{hanging} never ended") };
    format!("{} keys pressed made {}; {ended}.", pressed.count(), notes.join(", "))
}
