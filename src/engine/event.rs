//! What a take's markers say: the words for what happened besides messages, written and read.

use super::Standing;
use super::action::{Action, ActionError, USUAL_FADE};
use super::ids::CueId;
use super::plan::Plan;
use crate::music::Key;

/// Something that happened in a take besides messages.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Marker {
    /// Something was done to the set: `song 2`, `section Chorus`, `key Eb`, or `do` with any action.
    Do(Action),
    /// What follows comes from the input of this number: `from pedals`.
    From(usize),
    /// The input of this number was found again: `found keyboard`.
    Found(usize),
    /// A cue that an earlier run left standing on went off, counted from 1: `close 2`.
    Close(CueId),
    /// The input of this number was lost (rule R17): `lost keyboard`.
    Lost(usize),
    /// The output of this number came back, after nobody had listened to it (rule R21): `back piano`.
    Back(usize),
    /// One more listener joined the output of this number (rule R21): `joined piano`.
    Joined(usize),
    /// The output of this number was silenced (rule R16): `silence piano`.
    Silence(usize),
    /// The set begins only here, after what an earlier run had left was silenced: `begin`.
    Begin,
    /// A set that had been broken off went on here: `resume` with entry, entry of the song that the keys play (0 for
    /// none), place and section, all counted from 1, and the semitones that were added.
    Resume(Standing),
}

impl Marker {
    /// Reads a marker.
    ///
    /// # Errors
    /// An unknown word, or a name that this set does not have.
    pub fn parse(text: &str, plan: &Plan) -> Result<Marker, ActionError> {
        let text = text.trim();
        let named = |noun, names: &[String], name: &str| {
            let number = names.iter().position(|known| known.trim() == name.trim());
            number.ok_or_else(|| ActionError::NoSuch(noun, name.trim().to_owned()))
        };
        match text.split_once(char::is_whitespace) {
            None if text == "begin" => Ok(Marker::Begin),
            Some(("from", name)) => named("input", &plan.input_names, name).map(Marker::From),
            Some(("found", name)) => named("input", &plan.input_names, name).map(Marker::Found),
            Some(("close", number)) => {
                let number = number.trim().parse::<u16>().ok().and_then(|number| number.checked_sub(1));
                let known = number.filter(|number| usize::from(*number) < plan.cues.len());
                known
                    .map(|number| Marker::Close(CueId(number)))
                    .ok_or_else(|| ActionError::NoSuch("cue", text.to_owned()))
            }
            Some(("lost", name)) => named("input", &plan.input_names, name).map(Marker::Lost),
            Some(("back", name)) => named("output", &plan.output_names, name).map(Marker::Back),
            Some(("joined", name)) => named("output", &plan.output_names, name).map(Marker::Joined),
            Some(("silence", name)) => named("output", &plan.output_names, name).map(Marker::Silence),
            Some(("resume", place)) => resume(place).map(Marker::Resume),
            _ => Action::from_marker(text, plan).map(Marker::Do),
        }
    }

    /// The words that [`Marker::parse`] reads as this, as far as the plan's names can be told apart.
    #[must_use]
    pub fn words(&self, plan: &Plan) -> String {
        let name = |names: &[String], number: usize| names.get(number).cloned().unwrap_or_default();
        match self {
            Marker::Do(action @ (Action::Song(_) | Action::Section(_) | Action::Key { .. })) => action.words(plan),
            Marker::Do(action) => format!("do {}", action.words(plan)),
            Marker::From(input) => format!("from {}", name(&plan.input_names, *input)),
            Marker::Found(input) => format!("found {}", name(&plan.input_names, *input)),
            Marker::Close(cue) => format!("close {}", cue.0 + 1),
            Marker::Lost(input) => format!("lost {}", name(&plan.input_names, *input)),
            Marker::Back(output) => format!("back {}", name(&plan.output_names, *output)),
            Marker::Joined(output) => format!("joined {}", name(&plan.output_names, *output)),
            Marker::Silence(output) => format!("silence {}", name(&plan.output_names, *output)),
            Marker::Begin => "begin".to_owned(),
            Marker::Resume(Standing { entry, song, place, section, added, .. }) => {
                let song = song.map_or(0, |song| song + 1);
                format!("resume {} {song} {} {} {added}", entry + 1, place + 1, section + 1)
            }
        }
    }
}

fn resume(words: &str) -> Result<Standing, ActionError> {
    let unknown = || ActionError::NoSuch("place to resume at", words.trim().to_owned());
    let numbers: Option<Vec<i32>> = words.split_whitespace().map(|word| word.parse().ok()).collect();
    let [entry, song, place, section, added] = numbers.as_deref().unwrap_or_default() else { return Err(unknown()) };
    let index = |number: i32| usize::try_from(i64::from(number) - 1).map_err(|_| unknown());
    let song = if *song == 0 { None } else { Some(index(*song)?) };
    let (entry, place, section) = (index(*entry)?, index(*place)?, index(*section)?);
    Ok(Standing { entry, song, place, section, added: *added, ..Standing::default() })
}

impl Action {
    /// The words that [`Action::parse`] reads as this, as far as the plan's names can be told apart.
    #[must_use]
    pub fn words(&self, plan: &Plan) -> String {
        let word = match *self {
            Action::NextSong => "next-song",
            Action::PreviousSong => "previous-song",
            Action::FromTheTop => "from-the-top",
            Action::NextSection => "next-section",
            Action::PreviousSection => "previous-section",
            Action::RaiseKey => "raise-key",
            Action::LowerKey => "lower-key",
            Action::TonightsKey => "tonights-key",
            Action::ResendMessages => "resend-messages",
            Action::Drone(None) => "drone",
            Action::Drone(Some(true)) => "drone on",
            Action::Drone(Some(false)) => "drone off",
            Action::Fade(USUAL_FADE) => "fade",
            Action::Fade(time) => return format!("fade {}", time.0 / 1000),
            Action::ResendSounds => "resend-sounds",
            Action::Panic => "panic",
            Action::Tap => "tap",
            Action::LineUp(entry) => {
                let song = Action::Song(entry).words(plan);
                return format!("line-up {}", song.strip_prefix("song ").unwrap_or_default());
            }
            Action::Song(entry) => {
                let by_place = format!("song {}", entry + 1);
                // A song may be called "7", and its title counts before a place.
                let known = Action::parse(&by_place, plan) == Ok(*self);
                return if known { by_place } else { format!("song {}", plan.title(entry)) };
            }
            Action::Section(name) => {
                return format!("section {}", plan.section_names.get(usize::from(name)).map_or("", String::as_str));
            }
            Action::Key { tonic, minor } => return format!("key {}", Key::usual(tonic, minor, false)),
            Action::Zone { name, on } => {
                let turn = match on {
                    None => "",
                    Some(true) => " on",
                    Some(false) => " off",
                };
                return format!("zone {}{turn}", plan.zone_name(name));
            }
        };
        word.to_owned()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::engine::ids::Micros;

    fn plan() -> Plan {
        let names = |names: &[&str]| names.iter().map(|name| (*name).to_owned()).collect::<Vec<_>>();
        Plan {
            titles: names(&["Snow at the Weir Gate", "4", "Welcome", "Candle by Candle"]),
            section_names: names(&["Verse", "Last chorus"]),
            zone_names: names(&["bed", "lights on"]),
            input_names: names(&["keyboard", "upper stand"]),
            output_names: names(&["piano", "mixing desk"]),
            ..Plan::default()
        }
    }

    #[test]
    fn what_is_written_is_read_as_the_same() {
        let plan = plan();
        let mut markers = vec![Marker::From(1), Marker::Lost(0), Marker::Lost(1), Marker::Back(1), Marker::Silence(0)];
        markers.push(Marker::Resume(Standing {
            entry: 2,
            song: Some(1),
            place: 4,
            section: 0,
            added: -3,
            ..Standing::default()
        }));
        markers.extend([Marker::Resume(Standing::default()), Marker::Begin]);
        markers.extend((0..4).map(|entry| Marker::Do(Action::Song(entry))));
        markers.extend((0..2).map(|name| Marker::Do(Action::Section(name))));
        for tonic in 0..12 {
            markers.extend([true, false].map(|minor| Marker::Do(Action::Key { tonic, minor })));
        }
        for name in 0..2 {
            markers.extend([None, Some(true), Some(false)].map(|on| Marker::Do(Action::Zone { name, on })));
        }
        let plain = [
            Action::NextSong,
            Action::PreviousSong,
            Action::FromTheTop,
            Action::NextSection,
            Action::PreviousSection,
            Action::RaiseKey,
            Action::LowerKey,
            Action::TonightsKey,
            Action::ResendMessages,
            Action::Tap,
            Action::LineUp(0),
            Action::Drone(None),
            Action::Drone(Some(true)),
            Action::Drone(Some(false)),
            Action::Fade(Micros(2_000_000)),
            Action::Fade(Micros(500_000)),
            Action::ResendSounds,
            Action::Panic,
        ];
        markers.extend(plain.map(Marker::Do));
        for marker in markers {
            let words = marker.words(&plan);
            assert_eq!(Marker::parse(&words, &plan), Ok(marker), "{words}");
        }
    }

    #[test]
    fn the_words_are_those_of_the_command_line() {
        let plan = plan();
        let words = |marker: Marker| marker.words(&plan);
        assert_eq!(words(Marker::Do(Action::Song(1))), "song 2");
        // The fourth song's place is the second song's title.
        assert_eq!(words(Marker::Do(Action::Song(3))), "song Candle by Candle");
        assert_eq!(words(Marker::Do(Action::Key { tonic: 3, minor: false })), "key Eb");
        assert_eq!(words(Marker::Do(Action::Zone { name: 0, on: Some(false) })), "do zone bed off");
        assert_eq!(words(Marker::Back(1)), "back mixing desk");
        assert_eq!(
            words(Marker::Resume(Standing { song: Some(3), added: -1, ..Standing::default() })),
            "resume 1 4 1 1 -1"
        );
    }

    #[test]
    fn names_that_the_set_lacks_are_said() {
        let error = Marker::parse("lost pedals", &plan()).unwrap_err();
        assert_eq!(error.to_string(), "there is no input \"pedals\" in this set");
        for text in [
            "resume",
            "resume 0 1 1 1 0",
            "resume 1 1 1 1",
            "resume 1 1 1 1 x",
            "resume 1 -1 1 1 0",
            "resume -2147483648 1 1 1 0",
        ] {
            assert!(Marker::parse(text, &plan()).is_err(), "{text}");
        }
    }
}
