//! `handspan listen`: what arrives at the inputs, in words, with the line of a map that means it.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use super::console::{Failure, tell};
use super::gear_file::{GearFile, WrittenInput};
use super::signals;
use crate::daemon::changes::Saved;
use crate::daemon::repeats::Repeats;
use crate::ports::{self, Arrival, Backend, Direction, FoundPort, InputWish, Match, Ports, Wish};
use crate::wording::received::{self, Hearing};

pub(super) const HELP: &str = "With a set or a gear file it calls the inputs as the gear file does. \
--write adds to that file: a port that it has no input for; with an action after it a cue that does this on the next \
thing that arrives. Comments are kept; what the file was stays beside it as .bak.

Examples:
  handspan listen                               whatever is plugged in
  handspan listen evening/set.toml
  handspan listen evening/set.toml --write      play a key: its keyboard becomes an input
  handspan listen evening/set.toml --write next-section      press a pedal: it is the cue for that

Exit codes: 0 done, 1 it could not be done, 2 the command line is wrong or a file cannot be read.";

/// How often it looks whether it is to end.
const LOOK: Duration = Duration::from_millis(300);
/// Where a switch is on.
const ON: u8 = 64;

/// What the command line asks for.
pub(super) struct ListenOptions<'a> {
    /// A set or a gear file.
    pub file: Option<&'a str>,
    /// Whether what arrives is written into the gear file; with an action, as a cue.
    pub write: Option<Option<&'a str>>,
    /// What gives the ports; none where none are to be opened.
    pub backend: Option<Backend>,
}

pub(super) fn run(wanted: &ListenOptions<'_>) -> Result<(), Failure> {
    let gear = wanted.file.map(GearFile::open).transpose()?;
    if wanted.write.is_some() && gear.is_none() {
        return Err(Failure::Wrong("--write needs a set or a gear file: handspan listen gear.toml --write".to_owned()));
    }
    let Some(backend) = wanted.backend else { return Err(Failure::Failed(received::NO_PORTS.to_owned())) };
    let found = ports::list(backend).map_err(|error| Failure::Wrong(error.to_string()))?;
    let Sources { sources, wish, left_out } = Sources::of(&found, gear.as_ref());
    left_out.iter().for_each(|words| tell(words));
    if sources.is_empty() {
        return Err(Failure::Failed(received::NO_INPUTS.to_owned()));
    }
    let mut ports = ports::open(backend, &wish).map_err(|error| Failure::Wrong(error.to_string()))?;
    let stop = Arc::new(AtomicBool::new(false));
    let (stopper, waker) = (Arc::clone(&stop), ports.waker());
    signals::listen(move || {
        stopper.store(true, Ordering::Release);
        waker.wake();
    })
    .map_err(|error| Failure::Failed(format!("signals cannot be listened to ({error}): start it again.")))?;
    tell(received::BEGINS);
    let ear = Ear { sources, gear, write: wanted.write, repeats: Repeats::default() };
    listen(ports.as_mut(), ear, &stop, &mut |line| tell(line))
}

/// Listens until it is stopped, or something was written.
fn listen(
    ports: &mut dyn Ports,
    mut ear: Ear<'_>,
    stop: &AtomicBool,
    tell: &mut dyn FnMut(&str),
) -> Result<(), Failure> {
    while !stop.load(Ordering::Acquire) {
        let Arrival::Message { input, bytes } = ports.wait(Some(LOOK)) else { continue };
        let bytes = bytes.to_vec();
        ear.lines(input, &bytes, Instant::now()).iter().for_each(|line| tell(line));
        if let Some(words) = ear.write(input, &bytes)? {
            tell(&words);
            return Ok(());
        }
    }
    Ok(())
}

/// A port that is listened to.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Listened {
    /// As the gear file calls and writes it, or would.
    input: WrittenInput,
    /// Whether the gear file has it.
    in_gear: bool,
}

/// All ports that are listened to, as they are asked for.
struct Sources {
    sources: Vec<Listened>,
    wish: Wish,
    /// What is not listened to, in sentences.
    left_out: Vec<String>,
}

impl Sources {
    fn of(found: &[FoundPort], gear: Option<&GearFile>) -> Sources {
        let found: Vec<&FoundPort> =
            found.iter().filter(|port| port.direction == Direction::Input && !port.ours).collect();
        let written = gear.map(GearFile::inputs).unwrap_or_default();
        let meant = meant(&written, &found);
        let mut all = Sources { sources: Vec::new(), wish: Wish::default(), left_out: Vec::new() };
        for port in &found {
            let same = |other: &&&FoundPort| other.name() == port.name() && other.serial == port.serial;
            if found.iter().filter(same).count() > 1 {
                let words = received::alike(&port.name());
                all.left_out.extend((!all.left_out.contains(&words)).then_some(words));
                continue;
            }
            let known = written.iter().zip(&meant).find(|(_, meant)| meant.as_ref() == Some(*port));
            let name = match known {
                Some((input, _)) => input.name.clone(),
                None => new_name(&port.client, all.sources.iter().map(|known| &known.input).chain(&written)),
            };
            let input = WrittenInput { name, port: port.name(), serial: port.serial.clone() };
            all.add(input, known.is_some());
        }
        // Taken up when they come.
        for (input, _) in written.iter().zip(&meant).filter(|(_, meant)| meant.is_none()) {
            all.add(input.clone(), true);
        }
        all
    }

    fn add(&mut self, input: WrittenInput, in_gear: bool) {
        let WrittenInput { name, port, serial } = input.clone();
        self.wish.inputs.push(InputWish { name, port, serial, optional: true });
        self.sources.push(Listened { input, in_gear });
    }
}

/// The port that each input of the gear file means, where it is connected.
fn meant(written: &[WrittenInput], found: &[&FoundPort]) -> Vec<Option<FoundPort>> {
    let input = |input: &WrittenInput| InputWish {
        name: input.name.clone(),
        port: input.port.clone(),
        serial: input.serial.clone(),
        optional: true,
    };
    let wish = Wish { inputs: written.iter().map(input).collect(), ..Wish::default() };
    let found: Vec<FoundPort> = found.iter().map(|port| (*port).clone()).collect();
    let one = |met: Match| match met {
        Match::One(port) => Some(port),
        _ => None,
    };
    ports::look_up(&wish, &found).0.into_iter().map(one).collect()
}

/// A name for a device's input that no other has: of its letters and digits.
fn new_name<'a>(device: &str, others: impl Iterator<Item = &'a WrittenInput>) -> String {
    let letters = |letter: char| if letter.is_ascii_alphanumeric() { letter.to_ascii_lowercase() } else { ' ' };
    let words: String = device.chars().map(letters).collect();
    let name = words.split_whitespace().collect::<Vec<_>>().join("-");
    let name = if name.is_empty() { "keyboard".to_owned() } else { name };
    let taken: Vec<&str> = others.map(|other| other.name.as_str()).collect();
    let mut names = std::iter::once(name.clone()).chain((2..).map(|number| format!("{name}-{number}")));
    names.find(|name| !taken.contains(&name.as_str())).unwrap_or(name)
}

/// How an input is heard; without a gear file, as one that stands there with nothing but its port.
fn hearing(gear: Option<&GearFile>, input: &WrittenInput) -> Hearing {
    let plain = || Hearing { channel: None, renumber: Vec::new(), middle_c: 4 };
    gear.map_or_else(plain, |gear| gear.hearing(&input.name))
}

/// What it listens to, and what it has told.
struct Ear<'a> {
    sources: Vec<Listened>,
    gear: Option<GearFile>,
    write: Option<Option<&'a str>>,
    repeats: Repeats,
}

impl Ear<'_> {
    /// The lines for a message: what it is; the first time also what a map has for it.
    fn lines(&mut self, input: usize, bytes: &[u8], now: Instant) -> Vec<String> {
        let Some(Listened { input: source, in_gear }) = self.sources.get(input) else { return Vec::new() };
        let hearing = hearing(self.gear.as_ref(), source);
        let Some(line) = received::received(&source.name, bytes, &hearing) else { return Vec::new() };
        let is_first = self.repeats.is_new(input);
        let Some(is_new) = self.repeats.tells(input, bytes, now) else { return Vec::new() };
        let mut lines = vec![line];
        if is_new {
            lines.extend(received::trigger(&source.name, bytes, &hearing).map(|trigger| format!("    {trigger}")));
        }
        if is_first && !in_gear {
            lines.extend(self.gear.is_some().then(|| received::not_in_the_gear(&source.port)));
            let written = received::input_lines(&source.name, &source.port, source.serial.as_deref());
            lines.extend(written.lines().map(|line| format!("    {line}")));
        }
        lines
    }

    /// Writes what is to be made of a message into the gear file; what was done.
    fn write(&mut self, input: usize, bytes: &[u8]) -> Result<Option<String>, Failure> {
        let (Some(action), Some(gear)) = (self.write, &mut self.gear) else { return Ok(None) };
        let Some(Listened { input: source, in_gear }) = self.sources.get(input) else { return Ok(None) };
        let comes_up = bytes[0] & 0xF0 == 0xB0 && bytes.get(2).is_some_and(|value| *value < ON);
        let trigger = |gear: &GearFile| received::trigger(&source.name, bytes, &gear.hearing(&source.name));
        if comes_up || trigger(gear).is_none() {
            return Ok(None);
        }
        gear.read_again()?;
        let Some(trigger) = trigger(gear) else { return Ok(None) };
        if *in_gear && action.is_none() {
            return Err(Failure::Failed(received::known_already(&source.name)));
        }
        if !in_gear {
            gear.add_input(source, bytes[0] & 0xF0 == 0x90);
        }
        if let Some(action) = action {
            gear.add_cue(&trigger, action)?;
        }
        Ok(Some(Saved::words(&[gear.save()?])))
    }
}

#[cfg(test)]
mod tests {
    use std::fs;

    use super::*;
    use crate::ports::memory::World;

    const GEAR: &str = "[inputs.keyboard]\nport = \"stage\"\n[outputs.keys]\nvirtual = true\n[sounds.grand]\n\
                        output = \"keys\"\nchannel = 1\n";

    fn plugged(world: &World, client: &str) -> FoundPort {
        world.plug(Direction::Input, client, "MIDI 1", None);
        FoundPort { port: "MIDI 1".into(), ..FoundPort::named(client, Direction::Input) }
    }

    /// What is told of messages of a stage piano (1) and a foot board (2), and the gear file afterwards.
    fn heard(
        gear: &str,
        write: Option<Option<&str>>,
        played: &[(usize, &[u8])],
    ) -> (Result<(), Failure>, Vec<String>, String) {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("gear.toml");
        fs::write(&path, gear).unwrap();
        let gear = GearFile::open(path.to_str().unwrap()).unwrap_or_else(|failure| panic!("{failure:?}"));
        let world = World::default();
        let found = [plugged(&world, "Stage Piano"), plugged(&world, "Foot Board")];
        let Sources { sources, wish, left_out } = Sources::of(&found, Some(&gear));
        assert_eq!(left_out, Vec::<String>::new());
        let mut ports = world.open(&wish).unwrap();
        played.iter().for_each(|(address, bytes)| world.play(*address, bytes));
        let (stop, mut lines) = (AtomicBool::new(false), Vec::new());
        let ear = Ear { sources, gear: Some(gear), write, repeats: Repeats::default() };
        // What was played last is told last.
        let ends = played.last().map(|(_, bytes)| bytes.to_vec());
        let told = listen(&mut ports, ear, &stop, &mut |line| {
            lines.push(line.to_owned());
            if ends == Some(vec![0xFC]) && line.contains("clock stop") {
                stop.store(true, Ordering::Release);
            }
        });
        (told, lines, fs::read_to_string(path).unwrap())
    }

    #[test]
    fn what_arrives_is_told_with_the_line_of_a_map() {
        let played: &[(usize, &[u8])] = &[
            (1, &[0xB0, 64, 127]),
            (1, &[0xB0, 64, 0]),
            (1, &[0xB0, 64, 127]),
            (1, &[0x90, 60, 80, 0x80, 60, 0]),
            (2, &[0xB2, 80, 127]),
            (1, &[0xB0, 1, 10, 0xB0, 1, 11, 0xB0, 1, 12]),
            (1, &[0xFC]),
        ];
        let (told, lines, gear) = heard(GEAR, None, played);
        assert!(told.is_ok());
        assert_eq!(
            lines,
            [
                "keyboard: control 64 is 127: the right pedal",
                "    when = { input = \"keyboard\", control = 64 }",
                "keyboard: control 64 is 0: the right pedal",
                "keyboard: control 64 is 127: the right pedal",
                "keyboard: note C4, velocity 80",
                "    when = { input = \"keyboard\", note = 60 }",
                "foot-board: control 80 is 127 (channel 3)",
                "    when = { input = \"foot-board\", control = 80 }",
                "The gear file has no input for \"Foot Board: MIDI 1\". It would be:",
                "    [inputs.foot-board]",
                "    port = \"Foot Board: MIDI 1\"",
                "keyboard: control 1 is 10: the modulation wheel",
                "    when = { input = \"keyboard\", control = 1 }",
                "keyboard: clock stop",
                "    when = { input = \"keyboard\", clock = \"stop\" }",
            ]
        );
        assert_eq!(gear, GEAR, "nothing was to be written");
    }

    #[test]
    fn what_arrives_is_written_where_that_is_wanted() {
        let pedal: &[(usize, &[u8])] = &[(2, &[0xF8]), (2, &[0xB0, 80, 0]), (2, &[0xB0, 80, 127])];
        let (told, lines, gear) = heard(GEAR, Some(Some("section Chorus")), pedal);
        // The gear is looked at by itself: which sections there are is another file's affair.
        let cue =
            "\n[[cue]]\nwhen = { input = \"foot-board\", control = 80 }\ndo = \"section\"\nsection = \"Chorus\"\n";
        match told {
            Ok(()) => {
                assert!(gear.contains("[inputs.foot-board]\nport = \"Foot Board: MIDI 1\"\nplay = false\n"), "{gear}");
                assert!(gear.contains(cue) && lines.last().is_some_and(|line| line.starts_with("Saved to ")), "{gear}");
            }
            Err(failure) => panic!("{failure:?}"),
        }
        let (told, _, gear) = heard(GEAR, Some(None), &[(2, &[0x90, 60, 80])]);
        assert!(told.is_ok() && gear.contains("[inputs.foot-board]") && gear.contains("play = true"), "{gear}");
        let (told, _, gear) = heard(GEAR, Some(None), &[(1, &[0x90, 60, 80])]);
        assert!(matches!(told, Err(Failure::Failed(words)) if words == received::known_already("keyboard")));
        assert_eq!(gear, GEAR);
    }

    #[test]
    fn the_line_of_a_cue_is_as_the_input_is_heard() {
        let heard_as = "middle_c = \"C3\"\n[inputs.keyboard]\nport = \"stage\"\nchannel = 1\nrenumber = { 7 = 11 }\n";
        let gear = GEAR.replace("[inputs.keyboard]\nport = \"stage\"\n", heard_as);
        let played: &[(usize, &[u8])] =
            &[(1, &[0x90, 60, 80]), (1, &[0xB0, 7, 100]), (1, &[0xB2, 80, 127]), (2, &[0xB2, 7, 100]), (1, &[0xFC])];
        let (told, lines, _) = heard(&gear, None, played);
        assert!(told.is_ok());
        assert_eq!(
            lines,
            [
                "keyboard: note C3, velocity 80",
                "    when = { input = \"keyboard\", note = 60 }",
                "keyboard: control 7 is 100: the volume, counts as 11",
                "    when = { input = \"keyboard\", control = 11 }",
                "keyboard: control 80 is 127 (channel 3, which this input does not receive)",
                "foot-board: control 7 is 100: the volume (channel 3)",
                "    when = { input = \"foot-board\", control = 7 }",
                "The gear file has no input for \"Foot Board: MIDI 1\". It would be:",
                "    [inputs.foot-board]",
                "    port = \"Foot Board: MIDI 1\"",
                "keyboard: clock stop",
                "    when = { input = \"keyboard\", clock = \"stop\" }",
            ]
        );
        let (told, _, written) = heard(&gear, Some(Some("panic")), &[(1, &[0xB2, 80, 127]), (1, &[0x90, 60, 80])]);
        assert!(told.is_ok() && written.contains("note = 60 }") && !written.contains("control = 80"), "{written}");
    }

    #[test]
    fn what_an_editor_saved_meanwhile_stays() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("gear.toml");
        fs::write(&path, GEAR).unwrap();
        let gear = || GearFile::open(path.to_str().unwrap()).unwrap_or_else(|failure| panic!("{failure:?}"));
        let ear = |gear: GearFile| {
            let Sources { sources, .. } = Sources::of(&[], Some(&gear));
            Ear { sources, gear: Some(gear), write: Some(Some("panic")), repeats: Repeats::default() }
        };
        let mut first = ear(gear());
        let saved = GEAR.replace("port = \"stage\"\n", "port = \"stage\"\nrenumber = { 80 = 81 } # new\n");
        fs::write(&path, &saved).unwrap();
        assert!(first.write(0, &[0xB0, 80, 127]).is_ok_and(|said| said.is_some()));
        let text = fs::read_to_string(&path).unwrap();
        assert!(text.starts_with(&saved) && text.contains("control = 81 }"), "{text}");
        // With other inputs nobody knows any longer which of them this one is.
        let mut second = ear(gear());
        let saved = text.replace("[inputs.keyboard]", "[inputs.piano]");
        fs::write(&path, &saved).unwrap();
        let told = second.write(0, &[0xB0, 82, 127]);
        assert!(matches!(&told, Err(Failure::Failed(words)) if words.contains("start it again")), "{told:?}");
        assert_eq!(fs::read_to_string(&path).unwrap(), saved);
    }

    #[test]
    fn ports_that_cannot_be_told_apart_are_left_out() {
        let world = World::default();
        let found = [plugged(&world, "Box"), plugged(&world, "Box"), plugged(&world, "box")];
        let all = Sources::of(&found, None);
        assert_eq!(all.left_out, [received::alike("Box: MIDI 1")]);
        assert_eq!(all.sources.len(), 1);
        assert_eq!(new_name("♪", std::iter::empty()), "keyboard");
        let taken = [all.sources[0].input.clone()];
        assert_eq!(new_name("BOX", taken.iter()), "box-2");
    }
}
