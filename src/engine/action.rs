//! Actions as the engine has them: what they name looked up among the names of a set, and back.

use std::convert::Infallible;

use super::ids::Action;
use super::plan::Plan;
use crate::evening::entry_named;
use crate::map::{self, ActionError, LookUp, clean, zone_turned};
use crate::music::Key;

impl Action {
    /// Reads an action such as `next-song`, `song 3`, `section Chorus`, `key Eb` or `zone bed off`.
    ///
    /// # Errors
    /// An unknown word, or a name that this set does not have.
    pub fn parse(text: &str, plan: &Plan) -> Result<Action, ActionError> {
        map::Action::read(text)?.resolve(&mut PlanNumbers(plan))
    }

    /// The words that [`Action::parse`] reads as this, as far as the plan's names can be told apart.
    #[must_use]
    pub fn words(&self, plan: &Plan) -> String {
        let Ok(named) = self.resolve(&mut PlanNames(plan));
        named.written()
    }
}

/// The spelling of a key that an action leads to: which one was written makes no difference.
pub(super) fn usual(key: Key) -> Key {
    Key::usual(key.tonic(), key.is_minor(), false)
}

/// The numbers of what follows a word.
struct PlanNumbers<'p>(&'p Plan);

impl LookUp<&str, &str, Key> for PlanNumbers<'_> {
    type Song = usize;
    type Name = u16;
    type Key = Key;
    type Error = ActionError;

    fn song(&mut self, song: &str) -> Result<usize, ActionError> {
        entry_named(&self.0.titles, song).ok_or_else(|| ActionError::NoSuch("song", song.to_owned()))
    }

    fn section(&mut self, name: &str) -> Result<u16, ActionError> {
        let index = named(&self.0.section_names, name);
        index.map(|index| index as u16).ok_or_else(|| ActionError::NoSuch("section", name.to_owned()))
    }

    fn zone(&mut self, written: &str, _: Option<bool>) -> Result<(u16, Option<bool>), ActionError> {
        let zone = |name: &str| named(&self.0.zone_names, name).map(|index| index as u16);
        let (name, on) = zone_turned(written, |name| zone(name).is_some());
        zone(name).map(|number| (number, on)).ok_or_else(|| ActionError::NoSuch("zone", name.to_owned()))
    }

    fn key(&mut self, key: Key) -> Key {
        usual(key)
    }
}

/// The one of these names that is meant: as it is, or as it is shown, without what would disturb a terminal or a page.
fn named(names: &[String], wanted: &str) -> Option<usize> {
    let is_shown_so = |name: &String| clean(name) == wanted;
    names.iter().position(|name| name == wanted).or_else(|| names.iter().position(is_shown_so))
}

/// The names for an action's numbers.
struct PlanNames<'p>(&'p Plan);

impl LookUp<usize, u16, Key> for PlanNames<'_> {
    type Song = String;
    type Name = String;
    type Key = Key;
    type Error = Infallible;

    /// A song may be called "7", and its title counts before a position.
    fn song(&mut self, entry: usize) -> Result<String, Infallible> {
        let position = (entry + 1).to_string();
        let is_read = entry_named(&self.0.titles, &position) == Some(entry);
        Ok(if is_read { position } else { self.0.title(entry).to_owned() })
    }

    fn section(&mut self, name: u16) -> Result<String, Infallible> {
        Ok(self.0.section_names.get(usize::from(name)).cloned().unwrap_or_default())
    }

    fn zone(&mut self, name: u16, on: Option<bool>) -> Result<(String, Option<bool>), Infallible> {
        Ok((self.0.zone_name(name).to_owned(), on))
    }

    fn key(&mut self, key: Key) -> Key {
        key
    }
}
