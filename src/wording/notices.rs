//! What the engine notices, in a sentence each; a cue that fires is in `cues`.

use super::{keys, on_off};
use crate::engine::{Notice, Plan, Snapshot};
use crate::evening::Keys;
use crate::map::Book;

/// What a notice is about: the maps, the same compiled, and what the engine knew then.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Context<'a> {
    pub book: &'a Book,
    pub plan: &'a Plan,
    pub snapshot: &'a Snapshot,
}

impl Context<'_> {
    /// The sentence for a notice; none where another one tells it.
    pub fn notice(&self, notice: Notice) -> Option<String> {
        let Context { plan, snapshot, .. } = *self;
        Some(match notice {
            Notice::Song => self.song(),
            Notice::Section => format!("{}, {}.", self.section()?, self.room()?),
            Notice::Key => {
                let room = capital(&self.room()?);
                format!("{room}, {}.", keys::from_tonight(snapshot.standing.transposed))
            }
            Notice::Zone(name, on) => {
                format!("Zone {} is {}.", plan.zone_name(name), on_off(on))
            }
            Notice::Drone(on) => format!("The drone is {}.", on_off(on)),
            Notice::Fade => "Held notes fade out.".to_owned(),
            Notice::NothingToFade => "No note is held that could fade.".to_owned(),
            Notice::Cue(cue, on) => format!("{} is {}.", plan.cue_name(cue)?, on_off(on)),
            Notice::LinedUp(entry) => {
                let key = Keys::on_entering(self.book, entry).map(|key| key.to_string());
                format!("{}.", keys::next_song(plan.title(entry), key.as_deref()))
            }
            Notice::Loop(input) => format!(
                "{} answers everything that it receives: its cues are off until it has been silent for a second. \
                 See that it does not send back what it receives.",
                plan.input_name(input)
            ),
            Notice::Tracks(true) => "The tracks player runs.".to_owned(),
            Notice::Tracks(false) => "The tracks player has stopped.".to_owned(),
            Notice::Tempo => "The tapped tempo counts now.".to_owned(),
            Notice::NothingThere => "Nothing changes: there is no such song, section, zone or drone here.".to_owned(),
            Notice::NoSuchKey => {
                "Nothing changes: that key is more than an octave away, or of the other mode.".to_owned()
            }
            Notice::HeldBack(1) => {
                "One message that starts something was not sent, so that nothing runs before you do. \
                                    resend-messages sends it (key a in the terminal)."
                    .to_owned()
            }
            Notice::HeldBack(count) => format!(
                "{count} messages that start something were not sent, so that nothing runs before you do. \
                 resend-messages sends them (key a in the terminal)."
            ),
            Notice::SaidAgain => {
                format!("The messages for the entry of \"{}\" were sent again.", plan.title(snapshot.standing.entry))
            }
            Notice::Panic => "Panic: everything is silent.".to_owned(),
            Notice::SetUpAgain => "All sounds were set up again.".to_owned(),
            // What a cue did is told by what follows; that maps were loaded has a report of its own.
            Notice::Fired(_) | Notice::TakenOver => return None,
        })
    }

    /// The song or pause with its section and the room's key.
    fn song(&self) -> String {
        if self.pause().is_some() {
            return format!("{}: a pause.", self.entry());
        }
        let rest = [self.section(), self.room()].into_iter().flatten();
        format!("{}.", std::iter::once(self.entry()).chain(rest).collect::<Vec<_>>().join(", "))
    }

    /// The song or pause where the set is: `3/13 Candle by Candle`.
    pub fn entry(&self) -> String {
        let entry = self.snapshot.standing.entry;
        format!("{}/{} {}", entry + 1, self.plan.entries(), self.plan.title(entry))
    }

    /// What is played in a pause; none where it is a song.
    pub fn pause(&self) -> Option<&'static str> {
        let standing = &self.snapshot.standing;
        let entry = self.book.set.entries.get(standing.entry)?;
        let song = entry.song.and_then(|song| self.book.songs.get(song));
        match (song, standing.song) {
            (Some(_), _) => None,
            (None, Some(_)) => Some("a pause; the keys go on playing the song before"),
            (None, None) => Some("a pause; the keys play nothing yet"),
        }
    }

    /// The section, with its step of tonight's order: `Verse (1 of 5)`.
    pub fn section(&self) -> Option<String> {
        let standing = &self.snapshot.standing;
        let (_, song) = standing.playing(self.book)?;
        let section = song.sections.get(standing.section)?;
        let steps = self.plan.order_length(standing.song?);
        Some(format!("{} ({} of {steps})", section.name.value, standing.order_step + 1))
    }

    /// The section that follows in tonight's order.
    pub fn next_section(&self) -> Option<&str> {
        let standing = &self.snapshot.standing;
        let here = standing.song?;
        self.plan.section_name(here, self.plan.section_at(here, standing.order_step + 1)?)
    }

    /// The room's key at this moment: `room Ab`.
    pub fn room(&self) -> Option<String> {
        let standing = &self.snapshot.standing;
        let (entry, song) = standing.playing(self.book)?;
        Some(keys::room(&Keys::of(self.book, entry, song).room(standing.tonic).to_string()))
    }

    /// Where the set is, in a line: `3/13 Candle by Candle, Verse`.
    pub fn title_line(&self) -> String {
        let standing = &self.snapshot.standing;
        let here = standing.song.filter(|song| *song == standing.entry);
        let section = here.and_then(|song| self.plan.section_name(song, standing.section));
        section.map_or_else(|| self.entry(), |section| format!("{}, {section}", self.entry()))
    }
}

/// With a capital at the beginning.
pub(crate) fn capital(words: &str) -> String {
    let mut letters = words.chars();
    let first: String = letters.next().into_iter().flat_map(char::to_uppercase).collect();
    format!("{first}{}", letters.as_str())
}

/// An error's words as a sentence.
pub(crate) fn sentence(error: &dyn std::fmt::Display) -> String {
    let words = error.to_string();
    let end = if words.ends_with(['.', '?', '!']) || words.contains('\n') { "" } else { "." };
    format!("{}{end}", capital(&words))
}
