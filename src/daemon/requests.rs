//! Answers requests: has actions done, changes the set, says how it stands.

use std::sync::Arc;

use serde::{Deserialize, Serialize};

use super::changes::{self, Adjusted, Change, ChangeError, Changed, Field, Read, SaveError, Saved};
use super::inbox::Handed;
use super::observer::Observer;
use super::state::State;
use super::{PreparedMaps, Remote, Show, Unasked, wish};
use crate::engine::Action;
use crate::map::{Book, Song, Source, beside_the_set};
use crate::wording::notices::{Context, sentence};
use crate::wording::{self, actions, performance};

/// The version of the form of requests and answers.
pub const VERSION: u32 = 1;

/// The name of a performance that was given no other.
pub const USUAL_NAME: &str = "handspan";

/// The name of a tryout, which is meant by it only where a performance runs beside it.
pub const TRYOUT_NAME: &str = "try";

/// So often a change may be overtaken by maps that are saved at this moment.
const OVERTAKEN: usize = 8;

/// What a request is for.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "ask", rename_all = "kebab-case")]
pub enum Ask {
    /// Something is to be done.
    Do {
        /// The action, or the change to the set.
        words: Vec<String>,
    },
    /// How it stands.
    Status,
}

/// What came of a request.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Outcome {
    /// It was done.
    Done,
    /// It could not be done; nothing has changed.
    Failed,
    /// It was not understood; nothing has changed.
    Wrong,
    /// Too many ask at this moment; the same may be asked again a little later.
    Busy,
}

/// The answer to a request.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Answer {
    /// [`VERSION`].
    pub version: u32,
    /// What came of it.
    pub outcome: Outcome,
    /// What happened, or why not.
    pub words: String,
    /// How it stands, where that was asked.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub state: Option<State>,
}

impl Answer {
    pub(super) fn new(outcome: Outcome, words: impl Into<String>) -> Answer {
        Answer { version: VERSION, outcome, words: words.into(), state: None }
    }
}

/// What is asked for about the page itself; it does nothing to the set.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PageRequest {
    /// Nobody waits any longer for wrong passcodes.
    ForgetWaits,
    /// Every page has to come in again.
    Disconnect,
    /// There is no page until the next start.
    Close,
}

/// Does what is asked for about the page itself.
type PageRequests = Box<dyn Fn(PageRequest) + Send + Sync>;

impl PageRequest {
    /// The words for them.
    pub const WORDS: [&str; 3] = ["page-forget-waits", "page-disconnect", "page-close"];

    /// Reads one.
    #[must_use]
    pub fn parse(word: &str) -> Option<PageRequest> {
        let all = [PageRequest::ForgetWaits, PageRequest::Disconnect, PageRequest::Close];
        PageRequest::WORDS.iter().zip(all).find(|(known, _)| **known == word).map(|(_, request)| request)
    }

    /// That it was done.
    fn done(self) -> &'static str {
        match self {
            PageRequest::ForgetWaits => wording::page::WAITS_FORGOTTEN,
            PageRequest::Disconnect => wording::page::ALL_DISCONNECTED,
            PageRequest::Close => wording::page::CLOSED,
        }
    }
}

/// Who answers requests.
pub struct RequestHandler {
    remote: Remote,
    observer: Arc<Observer>,
    read: Read,
    asked: Box<dyn Fn(&str) + Send + Sync>,
    page: Option<PageRequests>,
}

/// Why something was not done: what came of it, and the sentence.
type Refusal = (Outcome, String);

impl RequestHandler {
    /// Answers for the performance that `remote` reaches; a song's map that is added is read with `read`, and what is
    /// asked for and understood is handed to `asked` before it is done, with who asks, and what is refused with the reason: a line for the log.
    #[must_use]
    pub fn new(
        remote: Remote,
        observer: Arc<Observer>,
        read: Read,
        asked: impl Fn(&str) + Send + Sync + 'static,
    ) -> RequestHandler {
        RequestHandler { remote, observer, read, asked: Box::new(asked), page: None }
    }

    /// With somebody who does what is asked for about the page itself.
    #[must_use]
    pub fn with_page(self, page: impl Fn(PageRequest) + Send + Sync + 'static) -> RequestHandler {
        RequestHandler { page: Some(Box::new(page)), ..self }
    }

    /// Who observes the performance that it answers for.
    #[must_use]
    pub fn observer(&self) -> &Arc<Observer> {
        &self.observer
    }

    /// Reaches the performance that it answers for.
    #[must_use]
    pub fn remote(&self) -> &Remote {
        &self.remote
    }

    /// Answers a request; `who` asks, as the log is told.
    #[must_use]
    pub fn answer(&self, who: &str, ask: Ask) -> Answer {
        match ask {
            Ask::Status => Answer { state: Some(self.observer.state()), ..Answer::new(Outcome::Done, String::new()) },
            Ask::Do { words } => {
                let asked = words.join(" ");
                let done = match words.first().map(String::as_str) {
                    Some(word) if words.len() == 1 && PageRequest::parse(word).is_some() => self.look_after(who, word),
                    Some("save-set") if words.len() == 1 => self.save(who),
                    Some("undo-change") if words.len() == 1 => self.undo(who),
                    Some(
                        "move-song" | "add-song" | "remove-song" | "song-key" | "song-singer" | "adjust-zone"
                        | "adjust-song",
                    ) => self.change(who, &words),
                    _ => self.act(who, &asked),
                };
                match done {
                    Ok(words) => Answer::new(Outcome::Done, words),
                    Err((outcome, why)) => {
                        (self.asked)(&actions::refused(who, &asked, &why));
                        Answer::new(outcome, why)
                    }
                }
            }
        }
    }

    fn look_after(&self, who: &str, word: &str) -> Result<String, Refusal> {
        let (Some(page), Some(request)) = (&self.page, PageRequest::parse(word)) else {
            return Err((Outcome::Failed, wording::page::NO_PAGE.to_owned()));
        };
        (self.asked)(&actions::asked(who, word));
        page(request);
        Ok(request.done().to_owned())
    }

    fn act(&self, who: &str, words: &str) -> Result<String, Refusal> {
        let more = [&changes::WORDS[..], &PageRequest::WORDS].concat();
        let read = |show: &Show| {
            let action = Action::parse(words, &show.plan)
                .map_err(|error| actions::no_action(&error, &more, &show.plan, &show.book))?;
            (self.asked)(&actions::asked(who, &action.words(&show.plan)));
            Ok(action)
        };
        match self.remote.ask(read) {
            Ok((action, outcome, show)) => {
                let context = Context { book: &show.book, plan: &show.plan, snapshot: &outcome.snapshot };
                match actions::outcome(action, outcome.noticed.all(), &context) {
                    (true, words) => Ok(words),
                    (false, words) => Err((Outcome::Failed, words)),
                }
            }
            Err(Unasked::Unread(words)) => Err((Outcome::Wrong, words)),
            Err(silent) => Err((Outcome::Failed, sentence(&silent))),
        }
    }

    fn change(&self, who: &str, words: &[String]) -> Result<String, Refusal> {
        let refusal =
            |error: ChangeError| (if error.is_wrong() { Outcome::Wrong } else { Outcome::Failed }, sentence(&error));
        let make = |show: &Show| {
            let playing = self.observer.state().song.map(|song| song.position - 1);
            let change = Change::parse(words, show, playing).map_err(refusal)?;
            let (book, changes) = changes::amend(show, change.clone(), self.read).map_err(refusal)?;
            (self.asked)(&actions::asked(who, &change.to_string()));
            Ok(Amended { change, book, changes })
        };
        self.load_changed(make, |change, next| self.words_for(change, next))
    }

    /// The last change is taken back.
    fn undo(&self, who: &str) -> Result<String, Refusal> {
        let refused = |words: &str| (Outcome::Failed, words.to_owned());
        let make = |show: &Show| {
            let nothing = || refused(wording::changes::NOTHING_TO_UNDO);
            let (last, others) = show.changes.split_last().ok_or_else(nothing)?;
            let set = show.book.sources.first().map_or("", |set| set.path.as_str());
            let Changed { loaded, changes, .. } = changes::load(set, self.read, others);
            let book = loaded.book.filter(|book| wish(&book.gear) == wish(&show.book.gear));
            let book = book.ok_or_else(|| refused(wording::changes::NOT_UNDONE))?;
            (self.asked)(&actions::asked(who, "undo-change"));
            Ok(Amended { change: last.clone(), book, changes })
        };
        self.load_changed(make, |change, _| wording::changes::undone(&change.to_string()))
    }

    /// Has what `make` makes of the maps that are played taken up, made again where others were loaded meanwhile; what
    /// `done` says of it then.
    fn load_changed(
        &self,
        make: impl Fn(&Show) -> Result<Amended, Refusal>,
        done: impl Fn(&Change, &Show) -> String,
    ) -> Result<String, Refusal> {
        for _ in 0..OVERTAKEN {
            let show = self.remote.show();
            let Amended { change, book, changes } = make(&show)?;
            let prepared = PreparedMaps::new(&show, book, changes);
            let next = Arc::clone(prepared.show());
            match self.remote.load(Box::new(prepared)) {
                Handed::Loaded => {
                    self.turn_as_adjusted(&change, &next);
                    return Ok(done(&change, &next));
                }
                Handed::Ended => return Err(ended()),
                Handed::Overtaken => {}
            }
        }
        Err((Outcome::Failed, wording::changes::OVERTAKEN.to_owned()))
    }

    /// A zone whose `on` was adjusted is turned so at once, where its song is the one that is played and no other zone of
    /// it has the same name.
    fn turn_as_adjusted(&self, change: &Change, show: &Show) {
        let Change::Adjust(Adjusted { map, zone: Some(zone), field: Field::On, .. }) = change else { return };
        let sources = &show.book.sources;
        let is_of = |file: &Source| beside_the_set(&file.path, sources) == *map;
        let is_map = |song: &&Song| sources.get(song.title.spot.file).is_some_and(is_of);
        let zones = show.book.songs.iter().find(is_map).map(|song| &song.zones[..]).unwrap_or_default();
        let named = zones.iter().filter(|known| known.name == zone.title).nth(zone.number);
        let Some(on) = named.map(|named| named.on) else { return };
        let entry = self.observer.state().song.and_then(|song| show.book.set.entries.get(song.position - 1));
        let is_played = entry.and_then(|entry| show.book.songs.get(entry.song?)).is_some_and(|song| is_map(&song));
        if !is_played || zones.iter().filter(|known| known.name == zone.title).count() > 1 {
            return;
        }
        let turned =
            |now: &Show| now.plan.zone_named(&zone.title).map(|name| Action::Zone { name, on: Some(on) }).ok_or(());
        // Where nobody plays any longer there is nothing to turn.
        let _ = self.remote.ask(turned);
    }

    /// What a change that was loaded means now.
    fn words_for(&self, change: &Change, show: &Show) -> String {
        let song = self.observer.state().song;
        let keys = match change {
            Change::SetKey { song: changed, .. } => song.filter(|now| now.title == changed.title).map(|now| now.keys),
            _ => None,
        };
        let room = keys.as_ref().map(|keys| (keys.room.as_str(), keys.transposed_by_hand));
        wording::changes::for_this_run(&change.done(show, room))
    }

    fn save(&self, who: &str) -> Result<String, Refusal> {
        (self.asked)(&actions::asked(who, "save-set"));
        for _ in 0..OVERTAKEN {
            let show = self.remote.show();
            let set = show.book.sources.first().map_or("", |set| set.path.as_str());
            let (saved, book) = changes::save(set, self.read, &show.changes)
                .map_err(|error: SaveError| (Outcome::Failed, sentence(&error)))?;
            match self.take_saved(&show, book) {
                Handed::Overtaken => {
                    // Somebody changed the set meanwhile. What was saved is right; what came since is not in it yet.
                    if self.remote.show().changes == show.changes {
                        continue;
                    }
                }
                Handed::Ended => return Err(ended()),
                Handed::Loaded => {}
            }
            return Ok(Saved::words(&saved));
        }
        Err((Outcome::Failed, wording::changes::OVERTAKEN.to_owned()))
    }

    /// What was saved is played on, with nothing left to save. Where the files ask for other ports, those wait for the
    /// next start, as whenever such maps are saved.
    fn take_saved(&self, show: &Arc<Show>, book: Book) -> Handed {
        let same_ports = wish(&book.gear) == wish(&show.book.gear);
        let book = if same_ports { book } else { show.book.clone() };
        self.remote.load(Box::new(PreparedMaps::new(show, book, Vec::new())))
    }
}

impl std::fmt::Debug for RequestHandler {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("RequestHandler").field("remote", &self.remote).finish_non_exhaustive()
    }
}

/// Maps that are to be taken up for a change that was made or taken back.
struct Amended {
    change: Change,
    book: Book,
    /// All that is not saved then.
    changes: Vec<Change>,
}

fn ended() -> Refusal {
    (Outcome::Failed, performance::ENDED.to_owned())
}
