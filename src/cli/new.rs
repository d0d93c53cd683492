//! `handspan new`: a folder with a gear file, a song and a set to start from, and the schemas that they name.

use std::fs::{self, File};
use std::io::{self, BufRead, ErrorKind, IsTerminal, Write};
use std::path::{Path, PathBuf};

use super::console::{Failure, tell};
use crate::map::{MapKind, clean, json_schema};
use crate::ports::{self, Backend, Direction, FoundPort, InputWish, Match, OutputWish, Target, Wish};
use crate::wording::received::toml_text;

pub(super) const HELP: &str =
    "At a terminal it asks which of the connected ports to use, unless --input and --output say so. \
Without either it writes placeholders, and says which. Nothing that is there is ever replaced.

Examples:
  handspan new evening
  handspan new evening --input \"stage piano\"
  handspan new evening --input \"stage piano\" --output synth

Exit codes: 0 done, 1 it could not be done, 2 the command line is wrong.";

/// The maps that are laid out, by their paths in the folder. Words in capitals in them are filled in.
const MAPS: [(&str, &str); 3] = [
    ("gear.toml", include_str!("new/gear.toml")),
    ("songs/first-song.toml", include_str!("new/first-song.toml")),
    ("set.toml", include_str!("new/set.toml")),
];
/// The schemas beside them, so that an editor finds them without a network.
const SCHEMAS: [(&str, MapKind); 3] =
    [("schema/gear.json", MapKind::Gear), ("schema/song.json", MapKind::Song), ("schema/set.json", MapKind::Set)];
/// The folders of all these.
const FOLDERS: [&str; 2] = ["songs", "schema"];
/// What stands where no input was chosen: part of a name that no port has.
const NO_INPUT: &str = "my keyboard";
/// The same for an output, on systems without virtual ports.
const NO_OUTPUT: &str = "my synthesizer";

/// What the command line asks for.
pub(super) struct NewOptions<'a> {
    pub folder: &'a Path,
    /// Part of the names of the ports to use, where they were given.
    pub input: Option<&'a str>,
    pub output: Option<&'a str>,
    pub backend: Backend,
}

pub(super) fn run(wanted: &NewOptions<'_>) -> Result<(), Failure> {
    let folder = wanted.folder;
    let names = MAPS.map(|(name, _)| name).into_iter().chain(SCHEMAS.map(|(name, _)| name));
    let paths: Vec<PathBuf> = names.map(|name| folder.join(name)).collect();
    if let Some(there) = paths.iter().find(|path| fs::symlink_metadata(path).is_ok()) {
        let there = there.display();
        return Err(Failure::Failed(format!("{there} is there already: nothing was laid out. Name another folder.")));
    }
    let found = ports::list(wanted.backend).unwrap_or_default();
    let input = choose(Direction::Input, wanted.input, &found)?;
    let output = choose(Direction::Output, wanted.output, &found)?;
    let has_virtual = ports::capabilities(wanted.backend).virtual_ports;
    let maps = MAPS.map(|(_, text)| {
        let text =
            text.replace("INPUT\n", &input_lines(&input)).replace("OUTPUT\n", &output_lines(&output, has_virtual));
        with_passcodes(text)
    });
    let schemas = SCHEMAS.map(|(_, kind)| json_schema(kind));
    let texts: Vec<String> = maps.into_iter().chain(schemas).collect();
    lay_out(folder, &paths, &texts).map_err(|(path, error)| {
        Failure::Failed(format!("{} cannot be written ({error}): nothing was laid out.", path.display()))
    })?;
    paths.iter().take(MAPS.len()).for_each(|path| tell(&path.display().to_string()));
    let said = [said_of_input(&input), said_of_output(&output, has_virtual)];
    said.into_iter().flatten().for_each(|line| tell(&line));
    tell(&next_steps(&folder.join("set.toml"), folder));
    Ok(())
}

/// A text with a passcode of its own in each place for one: one that everybody has protects nobody.
fn with_passcodes(text: String) -> String {
    text.split("PASSCODE").map(str::to_owned).reduce(|before, after| before + &passcode() + &after).unwrap_or_default()
}

/// A random passcode of five syllables twice, which is easy to type: some 63 bits. Where the system has no random bytes it
/// is too short, and the reader of maps says so.
fn passcode() -> String {
    const CONSONANTS: &[u8; 16] = b"bdfghjklmnprstvw";
    const VOWELS: &[u8; 5] = b"aeiou";
    let mut random = [0; 20];
    if getrandom::fill(&mut random).is_err() {
        return String::new();
    }
    let letter = |letters: &[u8], at: u8| char::from(letters[usize::from(at) % letters.len()]);
    let syllables = random.chunks(2).map(|pair| [letter(CONSONANTS, pair[0]), letter(VOWELS, pair[1])]);
    let letters: Vec<char> = syllables.flatten().collect();
    let words = letters.chunks(10).map(|word| word.iter().collect::<String>());
    words.collect::<Vec<_>>().join(" ")
}

/// What is written of a port.
enum Chosen {
    /// Nobody said which.
    Open,
    /// The gear file's words for one that is connected.
    Connected(FoundPort, String),
    /// Part of a name that no port has now.
    Away(String),
}

/// The port that the flag names, or that the player chooses at a terminal.
fn choose(direction: Direction, wanted: Option<&str>, found: &[FoundPort]) -> Result<Chosen, Failure> {
    let among: Vec<&FoundPort> = found.iter().filter(|port| port.direction == direction && !port.ours).collect();
    if let Some(wanted) = wanted {
        return named(direction, wanted, found);
    }
    if among.is_empty() || !io::stdin().is_terminal() || !io::stdout().is_terminal() {
        return Ok(Chosen::Open);
    }
    let question = match direction {
        Direction::Input => "Which keyboard do you play on?",
        Direction::Output => "What makes the sound?",
    };
    tell(question);
    among.iter().enumerate().for_each(|(number, port)| tell(&format!("  {}  {}", number + 1, port.name())));
    let answer = ask(&format!("1 to {}, or Enter for none yet: ", among.len()), &mut io::stdin().lock());
    let chosen = answer.and_then(|number| among.get(number.checked_sub(1)?).copied());
    Ok(chosen.map_or(Chosen::Open, |port| Chosen::Connected(port.clone(), words_for(port, &among))))
}

/// Asks until the answer is a number or nothing.
fn ask(question: &str, answers: &mut dyn BufRead) -> Option<usize> {
    loop {
        let _ = write!(io::stdout(), "{question}").and_then(|()| io::stdout().flush());
        let mut line = String::new();
        let read = answers.read_line(&mut line).ok()?;
        match line.trim() {
            _ if read == 0 => return None,
            "" => return None,
            number => match number.parse() {
                Ok(number) => return Some(number),
                Err(_) => continue,
            },
        }
    }
}

/// The port that has these words in its name.
fn named(direction: Direction, wanted: &str, found: &[FoundPort]) -> Result<Chosen, Failure> {
    if wanted.trim().is_empty() {
        return Err(Failure::Wrong("a port's name is missing; `handspan ports` lists them.".to_owned()));
    }
    let (name, port, optional) = (String::new(), wanted.to_owned(), true);
    let wish = match direction {
        Direction::Input => Wish { inputs: vec![InputWish { name, port, serial: None, optional }], ..Wish::default() },
        Direction::Output => {
            Wish { outputs: vec![OutputWish { name, target: Target::Port(port), optional }], ..Wish::default() }
        }
    };
    let (inputs, outputs) = ports::look_up(&wish, found);
    match inputs.into_iter().chain(outputs).next() {
        Some(Match::One(port)) => Ok(Chosen::Connected(port, wanted.to_owned())),
        Some(Match::Several(ties)) => {
            let names: Vec<String> = ties.iter().map(|port| format!("\"{}\"", clean(&port.name()))).collect();
            Err(Failure::Wrong(format!(
                "\"{wanted}\" fits several ports: {}. Write a longer part of one.",
                names.join(", ")
            )))
        }
        _ => Ok(Chosen::Away(wanted.to_owned())),
    }
}

/// What the gear file says for a port: its device's name, where no other port has that.
fn words_for(port: &FoundPort, among: &[&FoundPort]) -> String {
    let alone = among.iter().filter(|other| other.client == port.client).count() == 1;
    if alone { port.client.clone() } else { port.name() }
}

/// The line for a port that was chosen.
fn port_line(words: &str) -> String {
    format!("port = {}  # part of the port's name; `handspan ports` lists them\n", toml_text(words))
}

/// The line for a port that may be missing, and why.
fn optional_line(why: &str) -> String {
    format!("optional = true              # {why}\n")
}

const UNTIL_CONNECTED: &str = "no complaint until it is connected; take this line out then";
const NOT_CONNECTED: &str = "it was not connected when this was written";

fn input_lines(chosen: &Chosen) -> String {
    match chosen {
        Chosen::Open => format!(
            "port = {}         # write part of your keyboard's name here; `handspan ports` lists them\n{}",
            toml_text(NO_INPUT),
            optional_line(UNTIL_CONNECTED)
        ),
        Chosen::Connected(port, words) => {
            let serial = port.serial.as_ref().map_or_else(String::new, |serial| {
                format!("serial = {}  # tells it from another one of its kind\n", toml_text(serial))
            });
            port_line(words) + &serial
        }
        Chosen::Away(words) => port_line(words) + &optional_line(NOT_CONNECTED),
    }
}

fn output_lines(chosen: &Chosen, has_virtual: bool) -> String {
    match chosen {
        Chosen::Open if has_virtual => {
            "virtual = true               # other programs see it as the port \"piano\" of \"handspan\": connect one to it\n".to_owned()
        }
        Chosen::Open => format!(
            "port = {}      # write part of the name of what sounds here; `handspan ports` lists them\n{}",
            toml_text(NO_OUTPUT),
            optional_line(UNTIL_CONNECTED)
        ),
        Chosen::Connected(_, words) => port_line(words),
        Chosen::Away(words) => port_line(words) + &optional_line(NOT_CONNECTED),
    }
}

fn said_of_input(chosen: &Chosen) -> Option<String> {
    match chosen {
        Chosen::Open => Some(format!(
            "No input was chosen: gear.toml has \"{NO_INPUT}\" in its place. Write part of your keyboard's name there."
        )),
        Chosen::Connected(..) => None,
        Chosen::Away(words) => Some(format!("No input has \"{words}\" in its name now: it is taken up when it comes.")),
    }
}

fn said_of_output(chosen: &Chosen, has_virtual: bool) -> Option<String> {
    match chosen {
        Chosen::Open if has_virtual => Some(
            "No output was chosen: while it plays, other programs see the port \"piano\" of \"handspan\". Connect yours to it."
                .to_owned(),
        ),
        Chosen::Open => Some(format!(
            "No output was chosen: gear.toml has \"{NO_OUTPUT}\" in its place. Write part of the name of what sounds there."
        )),
        Chosen::Connected(..) => None,
        Chosen::Away(words) => Some(format!("No output has \"{words}\" in its name now: it is taken up when it comes.")),
    }
}

fn next_steps(set: &Path, folder: &Path) -> String {
    let (set, song) = (set.display(), folder.join("songs/second.toml"));
    format!(
        "\nNext:\n  handspan try {set}                  play it on a page, with nothing plugged in\n  \
         handspan check {set}                what could go wrong\n  handspan listen {set}               what your \
         keyboard sends\n  handspan play {set}                 play it\n  handspan set {set} add {}   one more song",
        song.display()
    )
}

/// Writes all files, or none. What is there by now is left alone, and so is the folder.
fn lay_out(folder: &Path, paths: &[PathBuf], texts: &[String]) -> Result<(), (PathBuf, io::Error)> {
    let mut written: Vec<&PathBuf> = Vec::new();
    let made: Vec<PathBuf> = FOLDERS.iter().map(|name| folder.join(name)).chain([folder.to_owned()]).collect();
    let new: Vec<&PathBuf> = made.iter().filter(|folder| !folder.exists()).collect();
    for (path, text) in paths.iter().zip(texts) {
        let parent = path.parent().unwrap_or(folder);
        let file = fs::create_dir_all(parent).and_then(|()| File::create_new(path));
        let is_ours = !matches!(&file, Err(error) if error.kind() == ErrorKind::AlreadyExists);
        if let Err(error) = file.and_then(|mut file| file.write_all(text.as_bytes())) {
            written.extend(is_ours.then_some(path));
            written.iter().for_each(|path| drop(fs::remove_file(path)));
            // Only what is empty goes.
            new.iter().for_each(|folder| drop(fs::remove_dir(folder)));
            return Err((path.clone(), error));
        }
        written.push(path);
    }
    Ok(())
}

#[cfg(test)]
mod tests {
    use super::*;

    fn port(client: &str, port: &str, direction: Direction) -> FoundPort {
        FoundPort { port: port.into(), ..FoundPort::named(client, direction) }
    }

    #[test]
    fn a_port_is_written_as_shortly_as_tells_it_apart() {
        let found = [
            port("Stage Piano", "MIDI 1", Direction::Input),
            port("Box", "A", Direction::Input),
            port("Box", "B", Direction::Input),
        ];
        let among: Vec<&FoundPort> = found.iter().collect();
        assert_eq!(
            found.iter().map(|port| words_for(port, &among)).collect::<Vec<_>>(),
            ["Stage Piano", "Box: A", "Box: B"]
        );
    }

    #[test]
    fn a_flag_means_a_port_as_the_gear_file_does() {
        let found = [
            port("Box", "A", Direction::Input),
            port("Box", "B", Direction::Input),
            port("Synth", "in", Direction::Output),
        ];
        assert!(
            matches!(named(Direction::Input, "box: a", &found), Ok(Chosen::Connected(_, words)) if words == "box: a")
        );
        assert!(matches!(named(Direction::Output, "synth", &found), Ok(Chosen::Connected(..))));
        assert!(matches!(named(Direction::Input, "synth", &found), Ok(Chosen::Away(_))), "it is an output");
        assert!(
            matches!(named(Direction::Input, "box", &found), Err(Failure::Wrong(words)) if words.contains("\"Box: A\""))
        );
        assert!(matches!(named(Direction::Input, " ", &found), Err(Failure::Wrong(_))));
    }

    #[test]
    fn an_answer_is_a_number_or_none_yet() {
        let answer = |typed: &str| ask("", &mut typed.as_bytes());
        assert_eq!(answer("2\n"), Some(2));
        assert_eq!(answer("\n"), None);
        assert_eq!(answer(""), None);
        assert_eq!(answer("the piano\n1\n"), Some(1));
    }

    #[test]
    fn no_two_passcodes_are_the_same() {
        let text = with_passcodes("a = \"PASSCODE\"\nb = \"PASSCODE\"\n".to_owned());
        let codes: Vec<&str> = text.split('"').skip(1).step_by(2).collect();
        assert!(codes.len() == 2 && codes[0] != codes[1], "{text}");
        assert!(codes.iter().all(|code| code.len() == 21 && code.is_ascii()), "{text}");
    }

    #[test]
    fn what_cannot_be_laid_out_whole_leaves_nothing() {
        let folder = tempfile::tempdir().unwrap();
        let new = folder.path().join("evening");
        fs::create_dir(&new).unwrap();
        fs::write(new.join("songs"), "no folder").unwrap();
        let paths = MAPS.map(|(name, _)| new.join(name));
        let texts = MAPS.map(|(_, text)| text.to_owned());
        let (path, _) = lay_out(&new, &paths, &texts).unwrap_err();
        assert_eq!(path, paths[1]);
        assert_eq!(fs::read_dir(&new).unwrap().count(), 1, "only what was there");
        assert_eq!(fs::read_to_string(new.join("songs")).unwrap(), "no folder");
    }
}
