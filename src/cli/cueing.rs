//! Which cues of a take fired, when that was known, and what they did (rule R19), in the player's words.

#[cfg(test)]
mod tests;

use crate::engine::{self, By, Notice, Rehearsal};
use crate::evening::title_of;
use crate::map::{Book, Cue};
use crate::midi::file::{Take, TakeKind};
use crate::wording::cues;

/// A cue that fired.
pub(super) struct FiredCue<'a> {
    /// The step of the rehearsal in which it did.
    pub step: usize,
    /// When, in microseconds.
    pub at: u64,
    /// What let it fire.
    pub by: By,
    /// The input that it came from.
    pub input: &'a str,
    /// The cue.
    pub cue: &'a Cue,
    /// The number that came in, from 1, where one did.
    received: Option<u8>,
    /// What the engine noticed from there until another fired.
    notices: &'a [Notice],
}

impl FiredCue<'_> {
    /// What came, such as `control 67`.
    pub fn what(&self) -> String {
        cues::what(self.cue.when.trigger, self.received)
    }

    /// What the press was; nothing for a single one that was known at once, and for messages.
    pub fn how(&self) -> &'static str {
        cues::pressed(self.cue.when.trigger, self.by)
    }

    /// What it did, with the song or pause that it led to.
    pub fn does(&self, book: &Book, rehearsal: &Rehearsal) -> (String, Option<String>) {
        let Some(step) = rehearsal.steps.get(self.step) else { return (String::new(), None) };
        let does = cues::did(self.cue, self.received, self.notices);
        let title = self.notices.contains(&Notice::Song).then(|| title_of(book, step.standing.entry).to_owned());
        (does, title)
    }

    /// One line for a list.
    pub fn line(&self, book: &Book, rehearsal: &Rehearsal) -> String {
        let (does, title) = self.does(book, rehearsal);
        let how = match self.how() {
            "" => String::new(),
            how => format!(" {how}"),
        };
        let title = title.map_or_else(String::new, |title| format!(": {title}"));
        format!("{:8.2} s  {}: {}{how} → {does}{title}", self.at as f64 / 1e6, self.input, self.what())
    }
}

/// All cues that fired in a rehearsal.
pub(super) fn fired<'a>(book: &'a Book, rehearsal: &'a Rehearsal) -> Vec<FiredCue<'a>> {
    let all: Vec<&Cue> = book.cues().collect();
    let steps = rehearsal.steps.iter().enumerate();
    let told = steps.flat_map(|(step, told)| {
        // A cue is told of before what comes of it.
        let parts = told.notices.chunk_by(|_, next| !matches!(next, Notice::Fired(_)));
        parts.map(move |notices| (step, notices))
    });
    let fired = told.filter_map(|(step, notices)| match notices.first() {
        Some(Notice::Fired(engine::Fired { cue, at, by, received })) => {
            let cue = *all.get(cue.index())?;
            let (at, by, received) = (at.0, *by, *received);
            Some(FiredCue { step, at, by, input: &cue.when.input.value, cue, received, notices })
        }
        _ => None,
    });
    fired.collect()
}

/// The input that a take's events come from, event by event.
pub(super) fn inputs_of(book: &Book, take: &Take, input: usize) -> Vec<usize> {
    let mut from = input;
    let heard = take.events.iter().map(|event| {
        if let TakeKind::Marker(text) = &event.kind {
            from = named(book, text, "from").unwrap_or(from);
        }
        from
    });
    heard.collect()
}

/// The input that a marker of this word names.
fn named(book: &Book, marker: &str, word: &str) -> Option<usize> {
    let name = marker.strip_prefix(word)?.strip_prefix(' ')?.trim();
    book.gear.inputs.iter().position(|input| input.name.value.trim() == name)
}
