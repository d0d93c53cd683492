//! `handspan try`: the main job on any machine, with nothing plugged in and no sound system.

use std::fs;
use std::io;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use super::telling::in_which_keys;
use super::{Failure, demo, keyboard, render, tell};
use crate::engine::words::{channel, describe_in};
use crate::engine::{Action, Cause, Keys, Notice, Plan, Rehearsal, Step};
use crate::map::{self, Book};
use crate::midi::file::{self, Take, TakeKind};

/// Keys shown after the beginning of a song and of each section; all of them are in the rendered files.
const KEYS_SHOWN: usize = 4;
/// Sections shown of each song.
const SECTIONS_SHOWN: usize = 3;
/// Columns of the hand's part, and of each output's.
const COLUMN: usize = 20;
/// Columns of a keyboard.
const KEYBOARD: usize = 88;

pub(super) fn run(out: Option<PathBuf>) -> Result<(), Failure> {
    let folder = folder(out)?;
    leave_maps(&folder)?;
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
        render::write(&book, &rehearsal, &take, &folder.join("rendered").join(stem))?;
    }
    let take = demo_take(demo::WHOLE_TAKE)?;
    let rehearsal = Rehearsal::new(&plan, &take, 0, 0);
    render::write(&book, &rehearsal, &take, &folder.join("rendered").join("whole-set"))?;
    tell(&format!(
        "\nThe whole set, {:.0} minutes of playing: {}",
        take.end as f64 / 60e6,
        tally(&book, &rehearsal, &take)
    ));
    tell(&format!("The maps, the takes and what came of them are in {}", folder.display()));
    let set = folder.join(demo::SET);
    tell(&format!(
        "Change a map there and hear what it does:\n  handspan render {} {} --out {}",
        set.display(),
        folder.join(demo::WHOLE_TAKE).display(),
        folder.join("again").display()
    ));
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

fn leave_maps(folder: &Path) -> Result<(), Failure> {
    for (path, bytes) in demo::FILES {
        let path = folder.join(path);
        let written = path.parent().map_or(Ok(()), fs::create_dir_all).and_then(|()| fs::write(&path, bytes));
        written.map_err(|error| {
            Failure::Wrong(format!("{} cannot be written ({error}): give --out another folder.", path.display()))
        })?;
    }
    Ok(())
}

fn demo_file(path: &str) -> io::Result<Vec<u8>> {
    let file = demo::FILES.iter().find(|(name, _)| *name == path);
    file.map(|(_, bytes)| bytes.to_vec()).ok_or_else(|| io::ErrorKind::NotFound.into())
}

fn demo_book() -> Result<Book, Failure> {
    let loaded = map::load(demo::SET, &mut demo_file);
    loaded.book.ok_or_else(|| {
        let faults: Vec<String> = loaded.diagnostics.iter().map(|fault| fault.render(&loaded.sources, false)).collect();
        Failure::Undone(faults.join("\n"))
    })
}

fn demo_take(path: &str) -> Result<Take, Failure> {
    let bytes = demo_file(path).map_err(|error| Failure::Undone(format!("{path}: {error}")))?;
    file::read(&bytes).map_err(|error| Failure::Undone(format!("{path}: {error}")))
}

/// The name of a song's file, without its ending.
fn stem(book: &Book, song: usize) -> Option<&str> {
    let path = &book.sources.get(book.songs.get(song)?.title.spot.file)?.path;
    Path::new(path).file_stem()?.to_str()
}

/// The song that a take's first marker asks for.
fn first_song(take: &Take, plan: &Plan) -> Option<usize> {
    take.events.iter().find_map(|event| match &event.kind {
        TakeKind::Marker(text) => match Action::from_marker(text, plan) {
            Ok(Action::Song(entry)) => Some(entry),
            _ => None,
        },
        TakeKind::Message(_) => None,
    })
}

fn show(book: &Book, song: usize, entry: usize, rehearsal: &Rehearsal, take: &Take) {
    let song = &book.songs[song];
    let keys = Keys::of(book, &book.set.entries[entry], song);
    tell(&format!("\n{}", song.title.value));
    tell(&format!("  {}", in_which_keys(&keys, song)));
    for input in keyboard::worth_drawing(book, song) {
        tell(&format!("\n  {}", input.name.value));
        keyboard::draw(book, song, &keys, input, KEYBOARD).iter().for_each(|line| tell(&format!("  {line}")));
    }
    let used = outputs_used(book, rehearsal);
    let heading: String =
        used.iter().map(|output| format!("{:COLUMN$}", book.gear.outputs[*output].name.value)).collect();
    tell(&format!("\n  {:>9}  {:COLUMN$}{}", "", "the hand", heading.trim_end()));
    let mut before = None;
    for index in telling_steps(rehearsal, take) {
        if before.is_some_and(|before| before + 1 != index) {
            tell(&format!("  {:>9}  …", ""));
        }
        before = Some(index);
        rows(&rehearsal.steps[index], take, &used, &keys).iter().for_each(|row| tell(row));
    }
    tell(&format!("  {}", tally(book, rehearsal, take)));
}

fn outputs_used(book: &Book, rehearsal: &Rehearsal) -> Vec<usize> {
    let said = |output: &usize| rehearsal.steps.iter().any(|step| step.said.iter().any(|line| line.output == *output));
    (0..book.gear.outputs.len()).filter(said).collect()
}

/// The steps that tell what a song does: how it and its first sections begin, and the first keys after that.
fn telling_steps(rehearsal: &Rehearsal, take: &Take) -> Vec<usize> {
    let mut told = Vec::new();
    let mut sections = 0;
    let mut keys_left = 0;
    for (index, step) in rehearsal.steps.iter().enumerate() {
        let event = match step.cause {
            Cause::Event(event) => take.events.get(event).map(|event| &event.kind),
            Cause::Start | Cause::End => None,
        };
        let begins = step.cause == Cause::Start || step.notices.contains(&Notice::Section);
        let is_key = matches!(event, Some(TakeKind::Message(bytes)) if bytes.first().is_some_and(|status| status & 0xF0 == 0x90));
        if begins && sections < SECTIONS_SHOWN {
            sections += 1;
            keys_left = KEYS_SHOWN;
            told.push(index);
        } else if is_key && keys_left > 0 {
            keys_left -= 1;
            told.push(index);
        }
    }
    told
}

/// What the hand did in one step, and what each output got of it, as many lines as the fullest needs.
fn rows(step: &Step, take: &Take, used: &[usize], keys: &Keys) -> Vec<String> {
    let hand = match step.cause {
        Cause::Start => "(the song begins)".to_owned(),
        Cause::End => "(the end)".to_owned(),
        Cause::Event(index) => match take.events.get(index).map(|event| &event.kind) {
            Some(TakeKind::Message(bytes)) => describe_in(bytes, keys.play_in),
            Some(TakeKind::Marker(text)) => format!("({text})"),
            None => String::new(),
        },
    };
    let got = |output: usize| step.said.iter().filter(move |line| line.output == output);
    let height = used.iter().map(|output| got(*output).count()).max().unwrap_or(0);
    let row = |row: usize| {
        let time = if row == 0 { format!("{:7.3} s", step.at as f64 / 1e6) } else { String::new() };
        let hand = if row == 0 { hand.as_str() } else { "" };
        let cells: String = used
            .iter()
            .map(|output| {
                let cell = got(*output).nth(row).map_or_else(String::new, |line| {
                    let channel = channel(&line.bytes).map_or_else(String::new, |channel| format!("{channel:2}: "));
                    format!("{channel}{}", describe_in(&line.bytes, keys.tonight))
                });
                format!("{cell:COLUMN$}")
            })
            .collect();
        format!("  {time:>9}  {hand:COLUMN$}{cells}").trim_end().to_owned()
    };
    (0..height.max(1)).map(row).collect()
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
    format!("{} keys pressed became {}; {ended}.", pressed.count(), notes.join(", "))
}
