//! What paper says to who has never played the set, and what is said while it is printed.

use super::listed;
use crate::map::{Cue, Input, Plain, Trigger, With, Word};
use crate::midi::U7;
use crate::music::note;

/// How something is done to the set without a cue.
pub(crate) struct Steering {
    /// What is done.
    pub what: &'static str,
    /// The actions that do it.
    pub words: &'static [Word],
    /// The keys of the terminal, one for each.
    pub keys: &'static str,
    /// Where to press on the page.
    pub page: &'static str,
}

const fn steering(what: &'static str, words: &'static [Word], keys: &'static str, page: &'static str) -> Steering {
    Steering { what, words, keys, page }
}

/// What a substitute has to do in any case, the most frequent first.
pub(crate) const STEERING: [Steering; 8] = [
    steering("next song", &[Word::Plain(Plain::NextSong)], "↓", "next song"),
    steering("next section", &[Word::Plain(Plain::NextSection)], "→", "next section"),
    steering("panic: all notes off", &[Word::Plain(Plain::Panic)], "!", "panic (hold it)"),
    steering("fade the held notes", &[Word::With(With::Fade)], "f", "fade"),
    steering("the drone, on or off", &[Word::With(With::Drone)], "d", "drone"),
    steering("previous song", &[Word::Plain(Plain::PreviousSong)], "↑", "previous song"),
    steering("previous section", &[Word::Plain(Plain::PreviousSection)], "←", "previous section"),
    steering(
        "½ tone up, down, back to tonight's",
        &[Word::Plain(Plain::RaiseKey), Word::Plain(Plain::LowerKey), Word::Plain(Plain::TonightsKey)],
        "+ - 0",
        "the same words",
    ),
];

/// What a cue waits for, as a player calls it: `keyboard: the left pedal, twice`.
pub(crate) fn comes(cue: &Cue, input: Option<&Input>) -> String {
    let trigger = cue.when.trigger;
    let what = match trigger {
        Trigger::Control { number, .. } => super::received::controller(number)
            .map_or_else(|| format!("controller {}", u8::from(number)), str::to_owned),
        // What has a channel of its own is no key under the hand.
        Trigger::Key { key, channel: None, .. } if input.is_some_and(|input| input.play) => {
            format!("the key {}", U7::try_from(key).map(|key| note::name(key.into(), 4)).unwrap_or_default())
        }
        Trigger::Program { program: None, .. } => "any program".to_owned(),
        Trigger::SongSelect(None) => "any song select".to_owned(),
        _ => super::cues::what(trigger, None),
    };
    let mut words = vec![match trigger.channel() {
        Some(channel) => format!("{what} on channel {}", channel.number()),
        None => what,
    }];
    words.push(super::cues::press(trigger).to_owned());
    words.retain(|word| !word.is_empty());
    format!("{}: {}", cue.when.input.value, words.join(", "))
}

/// How the set is started, in the folder of its maps.
pub(crate) fn start(file: &str) -> String {
    format!("handspan play {file}")
}

/// What belongs to that.
pub(crate) fn starting(file: &str) -> String {
    format!(
        "In a terminal, in the folder with {file}. It says what is not connected, and the address of its page. q ends it."
    )
}

/// What a keyboard of few keys must send.
pub(crate) fn octave(low: &str) -> String {
    format!("set its octave buttons so that its lowest key sends {low}")
}

/// Before the first key of a new map.
pub(crate) const EARS: &str = "Ears: a level may jump when sounds change. Turn monitors down before the line check and at \
    a new map, and have someone at the desk.";

/// What the keys do in a pause.
pub(crate) fn in_a_pause(before: Option<(&str, &str, &str)>) -> String {
    match before {
        Some((title, room, fingers)) => format!("{title}; room {room}, fingers {fingers}"),
        None => "nothing: no song has begun".to_owned(),
    }
}

/// There is no font to write a PDF with.
pub(crate) const NO_FONT: &str = "the system has no font: install one, such as DejaVu Sans (Debian: fonts-dejavu-core)";

/// A file is not made.
pub(crate) fn no_pdf(why: &str) -> String {
    format!("There is no PDF: {why}. The HTML file is written and whole.")
}

/// Letters that no font has, each with a word in which it is.
pub(crate) fn missing(letters: &[(char, String)]) -> String {
    /// So many are named.
    const MOST: usize = 8;
    let named: Vec<String> = letters
        .iter()
        .take(MOST)
        .map(|(letter, word)| format!("\"{letter}\" (U+{:04X}) of \"{word}\"", u32::from(*letter)))
        .collect();
    let more = letters.len().saturating_sub(MOST);
    let more = if more == 0 { String::new() } else { format!(", nor {more} more") };
    let named: Vec<&str> = named.iter().map(String::as_str).collect();
    format!(
        "No font of this system has {}{more}: the PDF has a box there. All else is written; a font that has them helps.",
        listed(&named)
    )
}

/// What takes a while.
pub(crate) const LOOKING_FOR_FONTS: &str = "looking for fonts …";

/// How far the PDF is.
pub(crate) fn drawn(sheets: usize, of: usize) -> String {
    format!("{sheets} of {of} sheets are drawn …")
}

/// A file that is written.
pub(crate) fn written(path: &str, pages: Option<usize>) -> String {
    match pages {
        None => path.to_owned(),
        Some(1) => format!("{path}  (1 page)"),
        Some(pages) => format!("{path}  ({pages} pages)"),
    }
}

/// The chords of a section as degrees of the chart's key.
pub(crate) fn degrees(chords: &str) -> String {
    format!("degrees: {chords}")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn letters_without_a_font_are_named_with_their_word() {
        assert_eq!(
            missing(&[('雪', "雪の夜".to_owned()), ('❄', "❄".to_owned())]),
            "No font of this system has \"雪\" (U+96EA) of \"雪の夜\" and \"❄\" (U+2744) of \"❄\": the PDF has a box \
             there. All else is written; a font that has them helps."
        );
        let many: Vec<(char, String)> = ('a'..='l').map(|letter| (letter, letter.to_string())).collect();
        assert!(missing(&many).contains("\"h\" (U+0068) of \"h\", nor 4 more: the PDF"), "{}", missing(&many));
    }

    #[test]
    fn cues_are_called_as_a_player_calls_them() {
        let gear = |cues: &str| {
            let gear = format!(
                "[inputs.keys]\nport = \"k\"\nplay = true\n[inputs.pads]\nport = \"p\"\nplay = false\n[outputs.out]\nvirtual = true\n\
                 [sounds.grand]\noutput = \"out\"\nchannel = 1\n{cues}"
            );
            let mut file = |path: &str| match path {
                "set" => Ok(b"title = \"E\"\ngear = \"gear\"\n[[song]]\nmap = \"song\"\n".to_vec()),
                "gear" => Ok(gear.clone().into_bytes()),
                _ => Ok(b"title = \"S\"\nkey = \"C\"\n[[zone]]\nsound = \"grand\"\n".to_vec()),
            };
            crate::map::load("set", &mut file).book.expect("it loads").gear
        };
        let called = |when: &str| {
            let gear = gear(&format!("[[cue]]\nwhen = {{ {when} }}\ndo = \"panic\"\n"));
            let cue = gear.cues.first().expect("a cue").clone();
            comes(&cue, gear.inputs.iter().find(|input| input.name.value == cue.when.input.value))
        };
        assert_eq!(called("input = \"keys\", control = 67, press = \"double\""), "keys: the left pedal, twice");
        assert_eq!(
            called("input = \"keys\", control = 66, press = \"long\""),
            "keys: the middle pedal, held for 0.7 s"
        );
        assert_eq!(called("input = \"keys\", control = 80"), "keys: controller 80");
        assert_eq!(called("input = \"keys\", note = \"C8\""), "keys: the key C8");
        assert_eq!(called("input = \"pads\", note = \"C2\""), "pads: note C2");
        assert_eq!(called("input = \"pads\", note = \"C2\", channel = 10"), "pads: note C2 on channel 10");
        assert_eq!(called("input = \"pads\", program = 3"), "pads: program 3");
        assert_eq!(called("input = \"pads\", transport = \"stop\""), "pads: transport stop");
    }

    #[test]
    fn files_and_progress_are_told() {
        assert_eq!(written("paper/evening.html", None), "paper/evening.html");
        assert_eq!(written("paper/evening.pdf", Some(14)), "paper/evening.pdf  (14 pages)");
        assert_eq!(written("evening.pdf", Some(1)), "evening.pdf  (1 page)");
        assert_eq!(drawn(3, 14), "3 of 14 sheets are drawn …");
        assert_eq!(
            no_pdf(NO_FONT),
            "There is no PDF: the system has no font: install one, such as DejaVu Sans (Debian: fonts-dejavu-core). \
             The HTML file is written and whole."
        );
    }

    #[test]
    fn pauses_starts_and_small_keyboards_have_their_words() {
        assert_eq!(in_a_pause(Some(("Snow", "F", "C"))), "Snow; room F, fingers C");
        assert_eq!(in_a_pause(None), "nothing: no song has begun");
        assert_eq!(start("evening.toml"), "handspan play evening.toml");
        assert_eq!(
            starting("evening.toml"),
            "In a terminal, in the folder with evening.toml. It says what is not connected, and the address of its page. q \
             ends it."
        );
        assert_eq!(octave("C2"), "set its octave buttons so that its lowest key sends C2");
    }
}
