//! A take in words: a song with its keyboards, and below it the moments that tell what it does.

use super::console::tell;
use super::keyboard;
use super::table::{self, Moment, MomentKind};
use crate::engine::{Notice, Rehearsal};
use crate::evening::{Keys, worth_drawing};
use crate::map::{Book, Song};
use crate::midi::file::{Take, TakeKind};
use crate::wording;
use crate::wording::zones::{self, Detail};

/// Keys shown after the beginning of a song and of each section; all of them are in the replayed files.
pub(super) const KEYS_SHOWN: usize = 5;
/// Sections shown of each song.
const SECTIONS_SHOWN: usize = 3;
/// Cues shown of each song.
const CUES_SHOWN: usize = 4;
/// Moments of one fade are no further apart, in microseconds.
const STEP_OF_A_FADE: u64 = 60_000;
/// Wrong notes shown of each song.
const WRONG_SHOWN: usize = 2;
/// The heading over what the hand does.
pub(super) const HAND: &str = "the hand";
/// Columns of a keyboard.
const KEYBOARD: usize = 88;

/// A song of tonight with its keys, its keyboards and what its zones do.
pub(super) fn song(book: &Book, song: &Song, entry: usize) {
    let keys = Keys::of(book, &book.set.entries[entry], song);
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
}

/// Some moments as a table, with a sign where others are left out.
pub(super) fn tabulate(book: &Book, rehearsal: &Rehearsal, (moments, chosen): (&[Moment<'_>], &[usize]), first: &str) {
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
        table::rows(&moments[*index], &used).iter().for_each(|row| tell(row));
    }
}

fn outputs_used(book: &Book, rehearsal: &Rehearsal) -> Vec<usize> {
    let said = |output: &usize| rehearsal.steps.iter().any(|step| step.said.iter().any(|line| line.output == *output));
    (0..book.gear.outputs.len()).filter(said).collect()
}

/// The moments that tell what a song does: how it and its first sections begin, the first keys after that with what is
/// decided from them; what somebody asks for; and one or two of each thing that is there to help.
pub(super) fn telling(moments: &[Moment<'_>]) -> Vec<usize> {
    let mut told = Vec::new();
    let (mut sections, mut keys_left) = (0, 0);
    let (mut wrong_left, mut silent_left, mut late_left) = (WRONG_SHOWN, WRONG_SHOWN, 1);
    let mut cues_left = CUES_SHOWN;
    let mut was_key = false;
    // Where something follows chords, more than one of them is worth seeing.
    let decides = moments.iter().any(|moment| moment.kind == MomentKind::Decision);
    for (index, moment) in moments.iter().enumerate() {
        // With the first moment a song begins, whatever led to it.
        let kind = if index == 0 { MomentKind::Begins } else { moment.kind };
        let is_told = match kind {
            MomentKind::Begins => {
                sections += 1;
                keys_left = match sections {
                    1 if decides => 2 * KEYS_SHOWN,
                    1..=SECTIONS_SHOWN => KEYS_SHOWN,
                    _ => 0,
                };
                sections <= SECTIONS_SHOWN
            }
            MomentKind::Key => take_one(&mut keys_left),
            MomentKind::Decision => was_key,
            MomentKind::WrongKey => take_one(&mut wrong_left),
            MomentKind::SilentKey => take_one(&mut silent_left),
            MomentKind::LateFinger => take_one(&mut late_left),
            MomentKind::Asked => moment.notices.iter().any(|notice| match notice {
                Notice::Drone(_) => true,
                Notice::Fade => moments.get(index + 1).is_some_and(|next| next.kind == MomentKind::Fade),
                _ => false,
            }),
            MomentKind::Fade => is_edge(moments, index),
            MomentKind::Cue => take_one(&mut cues_left),
            MomentKind::Other => false,
        };
        // What is decided belongs to the keys above it.
        match kind {
            MomentKind::Key | MomentKind::WrongKey | MomentKind::SilentKey | MomentKind::Begins => was_key = is_told,
            _ => {}
        }
        if is_told {
            told.push(index);
        }
    }
    told
}

/// Whether there is one more to be shown; it is taken.
fn take_one(left: &mut usize) -> bool {
    let is_left = *left > 0;
    *left -= usize::from(is_left);
    is_left
}

/// Whether a moment of a fade is its first or last, whatever is played meanwhile.
pub(super) fn is_edge(moments: &[Moment<'_>], index: usize) -> bool {
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

/// How many keys were pressed and how many notes each output got, and whether all of them ended.
pub(super) fn tally(book: &Book, rehearsal: &Rehearsal, take: &Take) -> String {
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
