//! Names that a map gives to its things: which are known, and which known one was meant.

use super::diagnostic::{Diagnostic, FaultKind, did_you_mean, one_of, quoted};
use super::nearest::nearest;
use super::reader::MapFile;
use super::{At, Curve};

/// What songs have to know of the gear: its names, whatever else may be wrong with it.
#[derive(Debug)]
pub(super) struct Names {
    /// Inputs, and whether zones may listen to each.
    pub inputs: Known<bool>,
    /// Outputs.
    pub outputs: Known<()>,
    /// Sounds.
    pub sounds: Known<()>,
    /// Curves, as far as they could be read.
    pub curves: Known<Option<Curve>>,
}

impl Names {
    /// No names; `whole` is false where the gear could not be read.
    pub fn none(whole: bool) -> Self {
        Self {
            inputs: Known::new("input", "the gear file", whole),
            outputs: Known::new("output", "the gear file", whole),
            sounds: Known::new("sound", "the gear file", whole),
            curves: Known::new("curve", "the gear file", whole),
        }
    }
}

/// The names of one kind of thing, each with what is known about it.
#[derive(Debug)]
pub(super) struct Known<T> {
    /// What such a thing is called, such as "sound".
    pub noun: &'static str,
    /// Where they are written, such as "the gear file".
    pub home: &'static str,
    /// All of them, in file order.
    pub list: Vec<(String, T)>,
    /// Whether the list is whole; if the file that holds it could not be read, no name can be called unknown.
    pub whole: bool,
}

impl<T> Known<T> {
    /// None known yet.
    pub fn new(noun: &'static str, home: &'static str, whole: bool) -> Self {
        Self { noun, home, list: Vec::new(), whole }
    }

    /// The thing of this name, without a report.
    pub fn get(&self, name: &str) -> Option<&T> {
        self.list.iter().find(|(known, _)| known == name).map(|(_, value)| value)
    }

    /// The thing of this name; reports it where there is none.
    pub fn find(&self, map_file: &MapFile<'_>, name: &At<String>) -> Option<&T> {
        let found = self.get(&name.value);
        if found.is_none() && self.whole {
            map_file.report(self.unknown(name));
        }
        found
    }

    /// How a thing of this name begins in the file that holds it.
    fn definition(&self, name: &str) -> String {
        let bare = !name.is_empty() && name.chars().all(|c| c.is_ascii_alphanumeric() || c == '-' || c == '_');
        let key = if bare { name.to_owned() } else { quoted(name) };
        match self.noun {
            noun @ ("section" | "zone") => format!("[[{noun}]] with name = {}", quoted(name)),
            "curve" => format!("{key} = {{ lighter = 30 }} below [curves]"),
            noun => format!("[{noun}s.{key}]"),
        }
    }

    fn unknown(&self, name: &At<String>) -> Diagnostic {
        let names = || self.list.iter().map(|(known, _)| known.as_str());
        let title = format!("there is no {} called {} in {}", self.noun, quoted(&name.value), self.home);
        let add = format!("add {} to {}", self.definition(&name.value), self.home);
        let help = match nearest(&name.value, names()) {
            Some(near) => did_you_mean(near),
            None if self.list.is_empty() => add,
            None => format!("write {}, or {add}", one_of(names())),
        };
        Diagnostic::error(FaultKind::Finding, name.spot, title).help(help)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_name_that_was_meant_is_found() {
        let known = || ["velocity", "velocity_by", "sound", "keys", "on"].into_iter();
        assert_eq!(nearest("velocty", known()), Some("velocity"));
        assert_eq!(nearest("Sound", known()), Some("sound"));
        assert_eq!(nearest("key", known()), Some("keys"));
        assert_eq!(nearest("trumpet", known()), None);
        assert_eq!(nearest("", known()), None);
        assert_eq!(nearest(&"velocity".repeat(200), known()), None);
    }
}
