//! The gear file as a text that is added to, comments and layout kept.

use toml_edit::{ArrayOfTables, DocumentMut, Item, Table, TableLike, Value};

use super::console::Failure;
use super::maps;
use crate::daemon::changes::{self, Saved};
use crate::map::{
    self, Action, ActionError, Diagnostic, Level, Loaded, USUAL_FADE, Word, nearest, octave_of_middle_c, zone_turned,
};
use crate::midi::{Channel, U7};
use crate::wording::notices::sentence;
use crate::wording::on_off;
use crate::wording::received::{self, Hearing};

/// Paths of a set and its songs that stand around a gear file which is looked at by itself.
const NO_SET: &str = "<set>";
const NO_SONG: &str = "<song>";
/// It cannot be read: so nobody knows which sections the songs have, and a cue may lead to any.
const UNKNOWN_SONG: &str = "<unknown song>";

/// A gear file, and the set through which it is read.
pub(super) struct GearFile {
    set: String,
    path: String,
    /// As it was read.
    text: String,
    document: DocumentMut,
}

/// An input as the gear file has it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct WrittenInput {
    pub name: String,
    /// Part of its port's name.
    pub port: String,
    pub serial: Option<String>,
}

impl GearFile {
    /// Opens a gear file, or that of a set.
    ///
    /// # Errors
    /// It cannot be read, or is no TOML; what is wrong has been told.
    pub(super) fn open(file: &str) -> Result<GearFile, Failure> {
        let own = maps::read_text(file)?;
        let Ok(document) = own.parse::<DocumentMut>() else { return Err(broken(NO_SET, file)) };
        let Some(gear) = document.get("gear").and_then(Item::as_str) else {
            let path = map::path_beside(NO_SET, file);
            return Ok(GearFile { set: NO_SET.to_owned(), path, text: own, document });
        };
        let path = map::path_beside(file, gear);
        let text = maps::read_text(&path)?;
        match text.parse::<DocumentMut>() {
            Ok(document) => Ok(GearFile { set: file.to_owned(), path, text, document }),
            Err(_) => Err(broken(file, &path)),
        }
    }

    /// Reads it again: an editor may have saved it since.
    ///
    /// # Errors
    /// It cannot be read any longer, or its inputs are others now.
    pub(super) fn read_again(&mut self) -> Result<(), Failure> {
        let file = if self.set == NO_SET { &self.path } else { &self.set };
        let now = GearFile::open(file)?;
        if now.path != self.path || now.inputs() != self.inputs() {
            return Err(Failure::Failed(received::other_inputs(&self.path)));
        }
        *self = now;
        Ok(())
    }

    /// Its inputs, as far as they can be understood.
    pub(super) fn inputs(&self) -> Vec<WrittenInput> {
        let Some(inputs) = self.document.get("inputs").and_then(Item::as_table_like) else { return Vec::new() };
        let text = |table: &dyn TableLike, name: &str| table.get(name).and_then(Item::as_str).map(str::to_owned);
        let written = |(name, item): (&str, &Item)| {
            let table = item.as_table_like()?;
            Some(WrittenInput { name: name.to_owned(), port: text(table, "port")?, serial: text(table, "serial") })
        };
        inputs.iter().filter_map(written).collect()
    }

    /// How the messages of an input are heard, as far as that can be understood.
    pub(super) fn hearing(&self, input: &str) -> Hearing {
        let seven_bits = |number: i64| u8::try_from(number).ok().and_then(|number| U7::try_from(number).ok());
        let table = self.document.get("inputs").and_then(|inputs| inputs.get(input)).and_then(Item::as_table_like);
        let channel = table.and_then(|table| table.get("channel")?.as_integer());
        let channel = channel.and_then(|channel| u8::try_from(channel.checked_sub(1)?).ok());
        let controls = table.and_then(|table| table.get("renumber")?.as_table_like());
        let renumbered =
            |(from, to): (&str, &Item)| Some((seven_bits(from.parse().ok()?)?, seven_bits(to.as_integer()?)?));
        let octave = self.document.get("middle_c").and_then(Item::as_str).and_then(octave_of_middle_c);
        Hearing {
            channel: channel.and_then(|channel| Channel::from_index(channel).ok()),
            renumber: controls.into_iter().flat_map(|controls| controls.iter().filter_map(renumbered)).collect(),
            middle_c: octave.unwrap_or(4),
        }
    }

    /// Adds an input. Where there are several, each says whether it is played on.
    pub(super) fn add_input(&mut self, input: &WrittenInput, plays: bool) {
        let inputs = self.document.entry("inputs").or_insert_with(|| {
            let mut table = Table::new();
            table.set_implicit(true);
            Item::Table(table)
        });
        let Some(inputs) = inputs.as_table_like_mut() else { return };
        let several = !inputs.is_empty();
        for (_, other) in inputs.iter_mut() {
            if let Some(other) = other.as_table_like_mut().filter(|other| !other.contains_key("play")) {
                other.insert("play", Value::from(true).into());
            }
        }
        let mut table = Table::new();
        table.insert("port", Value::from(input.port.as_str()).into());
        input.serial.iter().for_each(|serial| drop(table.insert("serial", Value::from(serial.as_str()).into())));
        if several {
            table.insert("play", Value::from(plays).into());
        }
        table.decor_mut().set_prefix("\n");
        inputs.insert(&input.name, Item::Table(table));
    }

    /// Adds a cue that does `action` when what `when` says arrives.
    ///
    /// # Errors
    /// There is no such action, or the cues are not written one below the other.
    pub(super) fn add_cue(&mut self, when: &str, action: &str) -> Result<(), Failure> {
        let mut cue = Table::new();
        let when: DocumentMut =
            when.parse().map_err(|_| Failure::Failed(format!("no cue can be made of this: {when}.")))?;
        when.iter().for_each(|(name, item)| drop(cue.insert(name, item.clone())));
        for (name, value) in does(action)? {
            cue.insert(name, value.into());
        }
        cue.decor_mut().set_prefix("\n");
        match self.document.entry("cue").or_insert_with(|| Item::ArrayOfTables(ArrayOfTables::new())) {
            Item::ArrayOfTables(cues) => cues.push(cue),
            _ => {
                let path = &self.path;
                return Err(Failure::Failed(format!(
                    "the cues of {path} stand in one list: write the line above into it by hand."
                )));
            }
        }
        Ok(())
    }

    /// Writes it, whole or not at all; what it was before stays beside it.
    ///
    /// # Errors
    /// What was added makes something wrong, or it cannot be written.
    pub(super) fn save(&self) -> Result<Saved, Failure> {
        let text = changes::lines_end_as(&self.text, self.document.to_string());
        let (before, after) = (self.load(None), self.load(Some(&text)));
        let known: Vec<&str> = errors(&before).map(|fault| fault.title.as_str()).collect();
        let new: Vec<_> = errors(&after).filter(|fault| !known.contains(&fault.title.as_str())).cloned().collect();
        if !new.is_empty() {
            maps::say(&new, &after.sources);
            return Err(Failure::Failed(format!("{} would have errors: it is as it was.", self.path)));
        }
        changes::replace(&self.path, &text).map_err(|error| Failure::Failed(sentence(&error)))
    }

    /// The set that it is read through, with another text of it where one is given.
    fn load(&self, text: Option<&str>) -> Loaded {
        map::load(&self.set, &mut |path| match (path, text) {
            (path, Some(text)) if path == self.path => Ok(text.as_bytes().to_vec()),
            (path, _) => read(path, &self.path),
        })
    }
}

/// Reads a map; a set and a song of nothing stand around a gear file that has none.
fn read(path: &str, gear: &str) -> std::io::Result<Vec<u8>> {
    match path {
        NO_SET => {
            let songs = format!("song = [{{ map = \"{NO_SONG}\" }}, {{ map = \"{UNKNOWN_SONG}\" }}]");
            Ok(format!("title = \"-\"\ngear = {}\n{songs}\n", Value::from(gear)).into())
        }
        NO_SONG => Ok(b"title = \"-\"\nkey = \"C\"\n".to_vec()),
        UNKNOWN_SONG => Err(std::io::ErrorKind::NotFound.into()),
        path => maps::read(path),
    }
}

fn errors(loaded: &Loaded) -> impl Iterator<Item = &Diagnostic> {
    loaded.diagnostics.iter().filter(|fault| fault.level == Level::Error)
}

/// Tells what is wrong with a file that is no TOML.
fn broken(set: &str, path: &str) -> Failure {
    let loaded = map::load(set, &mut |wanted| read(wanted, path));
    let here = |fault: &&Diagnostic| fault.spot.is_some_and(|spot| loaded.sources[spot.file].path == path);
    let found: Vec<Diagnostic> = loaded.diagnostics.iter().filter(here).cloned().collect();
    maps::say(&found, &loaded.sources);
    Failure::Wrong(format!("{path} cannot be understood: put right what is marked."))
}

/// The fields of a cue that does something, from the words of `handspan do`.
fn does(action: &str) -> Result<Vec<(&'static str, Value)>, Failure> {
    let word = action.split_whitespace().next().unwrap_or_default();
    let Some(row) = Word::read(word).map(Word::row) else {
        let near = nearest(word, Word::known()).map_or_else(String::new, |near| format!(" Did you mean \"{near}\"?"));
        return Err(Failure::Wrong(format!(
            "there is no action \"{word}\" that a cue could do.{near} `handspan do --help` lists them."
        )));
    };
    let mut fields = vec![("do", Value::from(row.word))];
    let song = |title: &str| ("song", title.parse::<i64>().map_or_else(|_| Value::from(title), Value::from));
    let state = |on| ("state", Value::from(on_off(on)));
    match Action::read(action.trim()) {
        Ok(Action::Plain(_) | Action::Fade(USUAL_FADE)) => {}
        Ok(Action::Song(title) | Action::LineUp(title)) => fields.push(song(title)),
        Ok(Action::Section(name)) => fields.push(("section", name.into())),
        Ok(Action::Key(key)) => fields.push(("key", key.to_string().into())),
        Ok(Action::Zone { name, .. }) => {
            // Which zones there are is the songs' affair.
            let (name, on) = zone_turned(name, |_| false);
            fields.push(("zone", name.into()));
            fields.extend(on.map(state));
        }
        Ok(Action::Drone(on)) => fields.extend(on.map(state)),
        Ok(Action::Fade(time)) => fields.push(("fade_ms", ((time / 1000) as i64).into())),
        Err(ActionError::Unknown(_)) => {
            return Err(Failure::Wrong(format!("\"{word}\" takes nothing more after it.")));
        }
        Err(error) => return Err(Failure::Wrong(sentence(&error))),
    }
    Ok(fields)
}

#[cfg(test)]
mod tests {
    use std::fs;

    use super::*;

    const GEAR: &str = "# Ours.\n[inputs.keyboard] # the big one\nport = \"piano\"\n\n[outputs.keys]\nvirtual = true\n\
                        [sounds.grand]\noutput = \"keys\"\nchannel = 1\n# the end\n";

    fn gear(text: &str) -> (tempfile::TempDir, GearFile) {
        let folder = tempfile::tempdir().unwrap();
        fs::write(folder.path().join("gear.toml"), text).unwrap();
        let file = GearFile::open(folder.path().join("gear.toml").to_str().unwrap());
        (folder, file.unwrap_or_else(|failure| panic!("{failure:?}")))
    }

    #[test]
    fn an_input_and_a_cue_are_added_and_everything_else_stays() {
        let (folder, mut file) = gear(GEAR);
        let pedals = WrittenInput { name: "pedals".into(), port: "Foot \"Board\"".into(), serial: Some("A1".into()) };
        file.add_input(&pedals, false);
        file.add_cue("when = { input = \"pedals\", control = 80 }", "zone grand off").unwrap();
        let saved = file.save().unwrap_or_else(|failure| panic!("{failure:?}"));
        assert_eq!(fs::read_to_string(saved.backup).unwrap(), GEAR);
        let text = fs::read_to_string(folder.path().join("gear.toml")).unwrap();
        assert!(
            text.starts_with("# Ours.\n[inputs.keyboard] # the big one\nport = \"piano\"\nplay = true\n"),
            "{text}"
        );
        assert!(text.contains("\n[inputs.pedals]\nport = 'Foot \"Board\"'\nserial = \"A1\"\nplay = false\n"), "{text}");
        let cue = "\n[[cue]]\nwhen = { input = \"pedals\", control = 80 }\ndo = \"zone\"\nzone = \"grand\"\nstate = \"off\"\n";
        assert!(text.contains(cue) && text.contains("# the end\n"), "{text}");
        let (_, file) = gear(&text);
        assert_eq!(file.inputs().len(), 2);
        assert_eq!(file.inputs()[1], pedals);
    }

    #[test]
    fn lines_end_as_before() {
        let (folder, mut file) = gear(&GEAR.replace('\n', "\r\n"));
        let pedals = WrittenInput { name: "pedals".into(), port: "Foot".into(), serial: None };
        file.add_input(&pedals, false);
        file.add_cue("when = { input = \"pedals\", control = 80 }", "panic").unwrap();
        file.save().unwrap_or_else(|failure| panic!("{failure:?}"));
        let text = fs::read_to_string(folder.path().join("gear.toml")).unwrap();
        assert!(text.contains("[inputs.pedals]") && text.contains("[[cue]]"), "{text}");
        assert_eq!(text.matches('\n').count(), text.matches("\r\n").count(), "{text:?}");
    }

    #[test]
    fn what_would_be_wrong_is_not_written() {
        let (folder, mut file) = gear(GEAR);
        file.add_cue("when = { input = \"organ\", control = 80 }", "panic").unwrap();
        assert!(matches!(file.save(), Err(Failure::Failed(words)) if words.contains("it is as it was")));
        assert_eq!(fs::read_to_string(folder.path().join("gear.toml")).unwrap(), GEAR);
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 1);
        for (action, said) in [("nxt-song", "\"next-song\""), ("panic now", "takes nothing more")] {
            let refused = file.add_cue("when = { input = \"keyboard\", control = 80 }", action);
            assert!(matches!(&refused, Err(Failure::Wrong(words)) if words.contains(said)), "{refused:?}");
        }
    }

    #[test]
    fn a_set_leads_to_its_gear_file() {
        let file = GearFile::open("maps/midwinter.toml").unwrap_or_else(|failure| panic!("{failure:?}"));
        assert_eq!(file.path, "maps/gear.toml");
        let names: Vec<String> = file.inputs().into_iter().map(|input| input.name).collect();
        assert_eq!(names, ["keyboard", "upper", "tracks"]);
        assert_eq!(errors(&file.load(None)).count(), 0);
        let broken = GearFile::open("tests/findings/plain.txt");
        assert!(matches!(broken, Err(Failure::Wrong(words)) if words.contains("put right what is marked")));
        let alone = GearFile::open("maps/gear.toml").unwrap_or_else(|failure| panic!("{failure:?}"));
        assert_eq!(alone.inputs(), file.inputs());
    }
}
