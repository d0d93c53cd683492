//! What happens to the engine, and the words for it: scripts, the markers of takes and their recorder share them.

use super::ids::Action;
use super::ids::CueId;
use super::plan::Plan;
use crate::evening::Standing;
use crate::map::ActionError;
use crate::midi::Message;

/// Something that happens to the engine. All but messages have words, which [`Event::parse`] reads.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Event<'a> {
    /// `start`: the set begins with this entry, at this step of its order; sends that set something going are held back.
    Start {
        /// Index of the entry.
        entry: usize,
        /// Place in its order.
        order_step: usize,
    },
    /// The set goes on where it ended unexpectedly; nothing is said that enters a song. `resume` with entry, entry of the
    /// song that the keys play (0 for none), step of the order and section, all counted from 1, and the semitones that were transposed.
    Resume(Standing),
    /// A message from an input.
    Message {
        /// Number of the input.
        input: usize,
        /// What it said.
        message: Message<'a>,
    },
    /// Somebody does something to the set: `do` with any action, or `song 2`, `section Chorus`, `key Eb` by themselves.
    Action(Action),
    /// `found keyboard`: an input's port is there again.
    InputBack(usize),
    /// `close 2`: a cue that an earlier run left on goes off; counted from 1.
    CloseCue(CueId),
    /// `lost keyboard`: an input's port is gone, or messages of it may be lost (rule R17).
    InputLost(usize),
    /// `back piano`: something is connected to an output again, after nothing was (rule R21).
    OutputBack(usize),
    /// `joined piano`: one more program was connected to an output (rule R21).
    OutputJoined(usize),
    /// `silence piano`: an output may hold what another run of ours left there, and everything is silenced at it
    /// (rule R16).
    Silence(usize),
    /// `time`: only time has passed.
    Time,
    /// `stop`: everything ends.
    Stop,
}

/// What a marker of a take says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum MarkerEvent {
    /// `from pedals`: what follows comes from the input of this number.
    From(usize),
    /// Something happened besides messages.
    Happened(Event<'static>),
}

impl MarkerEvent {
    /// Reads a marker.
    ///
    /// # Errors
    /// An unknown word, or a name that this set does not have.
    pub fn parse(text: &str, plan: &Plan) -> Result<MarkerEvent, ActionError> {
        match text.trim().split_once(char::is_whitespace) {
            Some(("from", name)) => input(name, plan).map(MarkerEvent::From),
            _ => Event::parse(text, plan).map(MarkerEvent::Happened),
        }
    }

    /// The words that [`MarkerEvent::parse`] reads as this.
    #[must_use]
    pub fn words(&self, plan: &Plan) -> String {
        match self {
            MarkerEvent::From(input) => format!("from {}", plan.input_name(*input)),
            MarkerEvent::Happened(event) => event.words(plan),
        }
    }
}

fn numbered(noun: &'static str, names: &[String], name: &str) -> Result<usize, ActionError> {
    let number = names.iter().position(|known| known.trim() == name.trim());
    number.ok_or_else(|| ActionError::NoSuch(noun, name.trim().to_owned()))
}

fn input(name: &str, plan: &Plan) -> Result<usize, ActionError> {
    numbered("input", &plan.input_names, name)
}

fn output(name: &str, plan: &Plan) -> Result<usize, ActionError> {
    numbered("output", &plan.output_names, name)
}

impl Event<'static> {
    /// Reads what happens besides messages.
    ///
    /// # Errors
    /// An unknown word, or a name that this set does not have.
    pub fn parse(text: &str, plan: &Plan) -> Result<Event<'static>, ActionError> {
        let text = text.trim();
        match text.split_once(char::is_whitespace) {
            None if text == "start" => Ok(Event::Start { entry: 0, order_step: 0 }),
            None if text == "time" => Ok(Event::Time),
            None if text == "stop" => Ok(Event::Stop),
            Some(("do", action)) => Action::parse(action, plan).map(Event::Action),
            Some(("song" | "section" | "key", _)) => Action::parse(text, plan).map(Event::Action),
            Some(("found", name)) => input(name, plan).map(Event::InputBack),
            Some(("lost", name)) => input(name, plan).map(Event::InputLost),
            Some(("back", name)) => output(name, plan).map(Event::OutputBack),
            Some(("joined", name)) => output(name, plan).map(Event::OutputJoined),
            Some(("silence", name)) => output(name, plan).map(Event::Silence),
            Some(("resume", order_step)) => resume(order_step).map(Event::Resume),
            Some(("close", number)) => {
                let number = number.trim().parse::<u16>().ok().and_then(|number| number.checked_sub(1));
                let known = number.filter(|number| usize::from(*number) < plan.cues.len());
                let cue = known.ok_or_else(|| ActionError::NoSuch("cue", text.to_owned()))?;
                Ok(Event::CloseCue(CueId(cue)))
            }
            _ => Err(ActionError::Unknown(text.to_owned())),
        }
    }
}

impl Event<'_> {
    /// The same event, if it is no message.
    #[must_use]
    pub fn besides_messages(self) -> Option<Event<'static>> {
        Some(match self {
            Event::Message { .. } => return None,
            Event::Start { entry, order_step } => Event::Start { entry, order_step },
            Event::Resume(standing) => Event::Resume(standing),
            Event::Action(action) => Event::Action(action),
            Event::InputBack(input) => Event::InputBack(input),
            Event::CloseCue(cue) => Event::CloseCue(cue),
            Event::InputLost(input) => Event::InputLost(input),
            Event::OutputBack(output) => Event::OutputBack(output),
            Event::OutputJoined(output) => Event::OutputJoined(output),
            Event::Silence(output) => Event::Silence(output),
            Event::Time => Event::Time,
            Event::Stop => Event::Stop,
        })
    }

    /// The words that [`Event::parse`] reads as this, as far as the plan's names can be told apart; none for a message.
    #[must_use]
    pub fn words(&self, plan: &Plan) -> String {
        match self {
            Event::Message { .. } => String::new(),
            Event::Start { .. } => "start".to_owned(),
            Event::Time => "time".to_owned(),
            Event::Stop => "stop".to_owned(),
            Event::Action(action @ (Action::Song(_) | Action::Section(_) | Action::Key(_))) => action.words(plan),
            Event::Action(action) => format!("do {}", action.words(plan)),
            Event::InputBack(input) => format!("found {}", plan.input_name(*input)),
            Event::InputLost(input) => format!("lost {}", plan.input_name(*input)),
            Event::OutputBack(output) => format!("back {}", plan.output_name(*output)),
            Event::OutputJoined(output) => format!("joined {}", plan.output_name(*output)),
            Event::Silence(output) => format!("silence {}", plan.output_name(*output)),
            Event::CloseCue(cue) => format!("close {}", cue.0 + 1),
            Event::Resume(Standing { entry, song, order_step, section, transposed, .. }) => {
                let song = song.map_or(0, |song| song + 1);
                format!("resume {} {song} {} {} {transposed}", entry + 1, order_step + 1, section + 1)
            }
        }
    }
}

fn resume(words: &str) -> Result<Standing, ActionError> {
    let unknown = || ActionError::NoSuch("place to resume at", words.trim().to_owned());
    let numbers: Option<Vec<i32>> = words.split_whitespace().map(|word| word.parse().ok()).collect();
    let [entry, song, order_step, section, transposed] = numbers.as_deref().unwrap_or_default() else {
        return Err(unknown());
    };
    let index = |number: i32| usize::try_from(i64::from(number) - 1).map_err(|_| unknown());
    let song = if *song == 0 { None } else { Some(index(*song)?) };
    let (entry, order_step, section) = (index(*entry)?, index(*order_step)?, index(*section)?);
    Ok(Standing { entry, song, order_step, section, transposed: *transposed, ..Standing::default() })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::map::Plain;
    use crate::music::Key;

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
        let mut events = vec![Event::InputLost(0), Event::InputLost(1), Event::OutputBack(1), Event::Silence(0)];
        events.push(Event::Resume(Standing {
            entry: 2,
            song: Some(1),
            order_step: 4,
            section: 0,
            transposed: -3,
            ..Standing::default()
        }));
        events.extend([
            Event::Resume(Standing::default()),
            Event::Start { entry: 0, order_step: 0 },
            Event::Time,
            Event::Stop,
        ]);
        events.extend((0..4).map(|entry| Event::Action(Action::Song(entry))));
        events.extend((0..2).map(|name| Event::Action(Action::Section(name))));
        for tonic in 0..12 {
            events.extend([true, false].map(|minor| Event::Action(Action::Key(Key::usual(tonic, minor, false)))));
        }
        for name in 0..2 {
            events.extend([None, Some(true), Some(false)].map(|on| Event::Action(Action::Zone { name, on })));
        }
        let plain = [
            Action::Plain(Plain::NextSong),
            Action::Plain(Plain::PreviousSong),
            Action::Plain(Plain::FromTheTop),
            Action::Plain(Plain::NextSection),
            Action::Plain(Plain::PreviousSection),
            Action::Plain(Plain::RaiseKey),
            Action::Plain(Plain::LowerKey),
            Action::Plain(Plain::TonightsKey),
            Action::Plain(Plain::ResendMessages),
            Action::Plain(Plain::Tap),
            Action::LineUp(0),
            Action::Drone(None),
            Action::Drone(Some(true)),
            Action::Drone(Some(false)),
            Action::Fade(2_000_000),
            Action::Fade(500_000),
            Action::Plain(Plain::ResendSounds),
            Action::Plain(Plain::Panic),
        ];
        events.extend(plain.map(Event::Action));
        for event in events {
            let words = event.words(&plan);
            assert_eq!(Event::parse(&words, &plan), Ok(event), "{words}");
            assert_eq!(MarkerEvent::parse(&words, &plan), Ok(MarkerEvent::Happened(event)));
        }
        let from = MarkerEvent::From(1);
        assert_eq!(MarkerEvent::parse(&from.words(&plan), &plan), Ok(from));
    }

    #[test]
    fn the_words_are_those_of_the_command_line() {
        let plan = plan();
        let words = |event: Event<'static>| event.words(&plan);
        assert_eq!(words(Event::Action(Action::Song(1))), "song 2");
        // The fourth song's position is the second song's title.
        assert_eq!(words(Event::Action(Action::Song(3))), "song Candle by Candle");
        assert_eq!(words(Event::Action(Action::Key(Key::usual(3, false, false)))), "key Eb");
        assert_eq!(words(Event::Action(Action::Zone { name: 0, on: Some(false) })), "do zone bed off");
        assert_eq!(words(Event::OutputBack(1)), "back mixing desk");
        assert_eq!(
            words(Event::Resume(Standing { song: Some(3), transposed: -1, ..Standing::default() })),
            "resume 1 4 1 1 -1"
        );
    }

    #[test]
    fn names_that_the_set_lacks_are_said() {
        let error = Event::parse("lost pedals", &plan()).unwrap_err();
        assert_eq!(error.to_string(), "there is no input \"pedals\" in this set");
        for text in [
            "resume",
            "resume 0 1 1 1 0",
            "resume 1 1 1 1",
            "resume 1 1 1 1 x",
            "resume 1 -1 1 1 0",
            "resume -2147483648 1 1 1 0",
        ] {
            assert!(Event::parse(text, &plan()).is_err(), "{text}");
        }
    }
}
