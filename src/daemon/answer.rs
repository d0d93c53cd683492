//! What an action did, in a sentence.

use super::state::{EntryState, SongState};
use super::{Outcome, Show};
use crate::engine::{Action, ActionError, Notice, Snapshot};
use crate::evening::{Keys, Standing};
use crate::map::nearest;

/// Whether an action did something, and the sentence on it.
pub(super) fn outcome(action: Action, outcome: &Outcome, show: &Show) -> (bool, String) {
    let Outcome { noticed, snapshot, .. } = outcome;
    let standing = &snapshot.standing;
    let refused = |notice: &&Notice| matches!(notice, Notice::NothingThere | Notice::NoSuchKey);
    if let Some(notice) = noticed.all().iter().find(refused) {
        return (false, why_not(action, *notice, standing, show));
    }
    let told: Vec<String> = noticed.all().iter().filter_map(|notice| told(*notice, snapshot, show)).collect();
    if !told.is_empty() {
        return (true, told.join(" "));
    }
    let here = SongState::of(show, snapshot);
    let sentence = match (action, here.as_ref().and_then(|song| song.section.as_ref())) {
        (Action::Song(_), _) => format!("\"{}\" is current already: nothing has changed.", title(show, standing)),
        (Action::Section(_), Some(section)) => format!("{} is current already: nothing has changed.", section.name),
        _ => "Done.".to_owned(),
    };
    (true, sentence)
}

/// Why words are no action of this set, with what may have been meant.
pub(super) fn no_action(error: &ActionError, show: &Show) -> String {
    let book = &show.book;
    let near = match error {
        ActionError::Unknown(text) => {
            let words = Action::known().iter().chain(&super::changes::WORDS).copied();
            let word = text.split_whitespace().next().unwrap_or_default();
            match words.clone().find(|known| *known == word) {
                Some(known) => return format!("\"{known}\" takes nothing more after it, or not this: \"{text}\"."),
                None => match nearest(word, words.clone()) {
                    Some(near) => return format!("\"{word}\" is no action: did you mean \"{near}\"?"),
                    None => {
                        let all: Vec<&str> = words.collect();
                        return format!("\"{word}\" is no action. There are: {}.", all.join(", "));
                    }
                },
            }
        }
        ActionError::NoSuch("song", name) => {
            nearest(name, (0..show.plan.entries()).map(|entry| show.plan.title(entry)))
        }
        ActionError::NoSuch("section", name) => {
            let sections = book.songs.iter().flat_map(|song| &song.sections);
            nearest(name, sections.map(|section| section.name.value.as_str()))
        }
        ActionError::NoSuch("zone", name) => {
            let zones = book.songs.iter().flat_map(|song| &song.zones);
            nearest(name, zones.map(|zone| zone.name.as_str()))
        }
        _ => None,
    };
    near.map_or_else(|| format!("{error}."), |near| format!("{error}: did you mean \"{near}\"?"))
}

fn title<'s>(show: &'s Show, standing: &Standing) -> &'s str {
    show.plan.title(standing.entry)
}

/// The key that the room hears.
pub(super) fn heard(show: &Show, standing: &Standing) -> Option<String> {
    let (entry, song) = standing.playing(&show.book)?;
    Some(Keys::of(&show.book, entry, song).room(standing.tonic).to_string())
}

fn why_not(action: Action, notice: Notice, standing: &Standing, show: &Show) -> String {
    if notice == Notice::NoSuchKey {
        return "Not that key: it is more than an octave away, or of the other mode.".to_owned();
    }
    match action {
        Action::Section(_) if standing.song == Some(standing.entry) => {
            format!("\"{}\" has no such section.", title(show, standing))
        }
        Action::Zone { name, .. } if standing.song.is_some() => {
            let song = show.plan.title(standing.song.unwrap_or_default());
            format!("\"{song}\" has no zone \"{}\".", show.plan.zone_name(name))
        }
        Action::Drone(_) if standing.song.is_some() => {
            format!("\"{}\" has no drone.", show.plan.title(standing.song.unwrap_or_default()))
        }
        Action::NextSong | Action::PreviousSong => "There is nothing further that way.".to_owned(),
        _ if standing.song != Some(standing.entry) => {
            format!("\"{}\" is no song that could do that.", title(show, standing))
        }
        _ => "There is nothing further that way.".to_owned(),
    }
}

/// A notice in a sentence; those that say nothing new here, in none.
fn told(notice: Notice, snapshot: &Snapshot, show: &Show) -> Option<String> {
    let standing = &snapshot.standing;
    Some(match notice {
        Notice::Song => {
            let EntryState { position, title, pause, .. } = EntryState::of(show, standing);
            let entries = show.plan.entries();
            match SongState::of(show, snapshot) {
                Some(song) if !pause => {
                    let section = song.section.map_or_else(String::new, |section| format!(", {}", section.name));
                    format!("{position}/{entries} {title}{section}, heard in {}.", song.keys.room)
                }
                _ => format!("{position}/{entries} {title}: a pause."),
            }
        }
        Notice::Section => {
            let song = SongState::of(show, snapshot)?;
            let section = song.section?;
            let heard = song.keys.room;
            format!("{} ({} of {}), heard in {heard}.", section.name, section.step, section.of)
        }
        Notice::Key => {
            let added = match standing.added {
                0 => "tonight's key".to_owned(),
                added => format!("{added:+} from tonight's key"),
            };
            format!("Heard in {} from here on: {added}.", heard(show, standing)?)
        }
        Notice::Zone(name, on) => {
            format!("Zone {} is {}.", show.plan.zone_name(name), if on { "on" } else { "off" })
        }
        Notice::LinedUp(entry) => format!("Next song: {}.", show.plan.title(entry)),
        Notice::Tempo => "Another tempo was tapped.".to_owned(),
        Notice::Drone(on) => format!("The drone is {}.", if on { "on" } else { "off" }),
        Notice::Fade => "What rings without a finger fades.".to_owned(),
        Notice::HeldBack(1) => "One message that starts something was held back: resend-messages says it.".to_owned(),
        Notice::HeldBack(count) => {
            format!("{count} messages that start something were held back: resend-messages says them.")
        }
        Notice::SaidAgain => format!("What entering \"{}\" says was said again.", title(show, standing)),
        Notice::Panic => "Panic: everything is silent.".to_owned(),
        Notice::SetUpAgain => "All sounds were set up again.".to_owned(),
        _ => return None,
    })
}
