//! The last trouble, in words that are read from two metres.

use std::time::{Duration, Instant};

use serde::Serialize;

use crate::daemon::{Happened, Report};
use crate::wording::changes::refused;
use crate::wording::performance::reports_lost;

/// What is over is told for so long,
const OVER: Duration = Duration::from_secs(6);
/// and what happened once for so long.
const ONCE: Duration = Duration::from_secs(30);

/// Troubles that are remembered.
const MOST: usize = 32;

/// What a trouble is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum About {
    Input(usize),
    Output(usize),
    Maps,
    Reports,
    Once,
}

/// Whether something is wrong.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub(super) enum Is {
    /// It is, or happened just now.
    Now,
    /// It was a moment ago.
    Over,
    /// It was once, and is told only to who asks.
    Past,
}

/// Something that is wrong, or was.
#[derive(Debug, Clone)]
pub(super) struct Trouble {
    about: About,
    pub is: Is,
    pub words: String,
    pub since: Instant,
    /// When it need not be told any longer.
    until: Option<Instant>,
}

/// Everything that is wrong, the latest last.
#[derive(Debug, Default)]
pub(super) struct Troubles {
    all: Vec<Trouble>,
    /// What went wrong last.
    past: Option<Trouble>,
    reports_lost: u64,
}

impl Troubles {
    /// Hears of something.
    pub fn take_report(&mut self, report: &Report, now: Instant) {
        let sentence = || report.sentence().unwrap_or_default();
        match &report.what {
            Happened::InputDisconnected(number) | Happened::InputHeld(number) => {
                self.add(About::Input(*number), sentence(), None, now);
            }
            Happened::OutputDisconnected(number) | Happened::OutputHeld(number) => {
                self.add(About::Output(*number), sentence(), None, now);
            }
            Happened::InputBack(number) => self.over(About::Input(*number), sentence(), now),
            Happened::OutputBack(number) => self.over(About::Output(*number), sentence(), now),
            Happened::MapsRefused(faults) => {
                let first = faults.first().map(|fault| fault.line.as_str());
                self.add(About::Maps, refused(first, faults.len().saturating_sub(1)), None, now);
            }
            Happened::MapsInOrder => self.over(About::Maps, sentence(), now),
            Happened::ChangesDropped(_)
            | Happened::StandWaits
            | Happened::Overrun
            | Happened::OutputRefused(_)
            | Happened::Rebuilt
            | Happened::Silenced(_) => self.add(About::Once, sentence(), Some(ONCE), now),
            Happened::Noticed(_) | Happened::Loaded | Happened::Connections(_) | Happened::Ended(_) => {}
        }
    }

    /// Reports that nobody fetched, so far.
    pub fn count_reports_lost(&mut self, count: u64, now: Instant) {
        if count > self.reports_lost {
            self.reports_lost = count;
            self.add(About::Reports, reports_lost(count), Some(ONCE), now);
        }
    }

    /// The last one that is still to be told; else what went wrong last.
    pub fn last(&mut self, now: Instant) -> Option<&Trouble> {
        self.all.retain(|trouble| trouble.until.is_none_or(|until| until > now));
        self.all.last().or(self.past.as_ref())
    }

    fn add(&mut self, about: About, words: String, lasts: Option<Duration>, now: Instant) {
        let until = lasts.map(|lasts| now + lasts);
        let trouble = Trouble { about, is: Is::Now, words, since: now, until };
        self.past = Some(Trouble { is: Is::Past, ..trouble.clone() });
        self.tell(trouble);
    }

    fn tell(&mut self, new: Trouble) {
        let is_same =
            |known: &Trouble| known.about == new.about && (new.about != About::Once || known.words == new.words);
        self.all.retain(|known| !is_same(known));
        if self.all.len() >= MOST {
            self.all.remove(0);
        }
        self.all.push(new);
    }

    /// Only what was told as wrong is told as over.
    fn over(&mut self, about: About, words: String, now: Instant) {
        if self.all.iter().any(|trouble| trouble.about == about && trouble.until.is_none()) {
            self.tell(Trouble { about, is: Is::Over, words, since: now, until: Some(now + OVER) });
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::Arc;

    use crate::daemon::{SavedFault, Show};
    use crate::engine::Snapshot;

    #[test]
    fn the_last_one_is_told_until_it_is_over() {
        let book = crate::map::load("maps/midwinter.toml", &mut |path| std::fs::read(path)).book.unwrap();
        let show = Arc::new(Show::new(book));
        let mut troubles = Troubles::default();
        let begin = Instant::now();
        let mut hear = |what: Happened, after: u64| {
            let at = std::time::SystemTime::UNIX_EPOCH;
            let report = Report { at, show: Arc::clone(&show), snapshot: Snapshot::default(), what };
            let now = begin + Duration::from_secs(after);
            troubles.take_report(&report, now);
            troubles.last(now).filter(|trouble| trouble.is != Is::Past).map(|trouble| trouble.words.clone())
        };
        assert_eq!(hear(Happened::InputBack(0), 0), None, "it was never away");
        let gone = "keyboard is not connected: its notes have ended, its pedals are up. Plug it in again.";
        assert_eq!(hear(Happened::InputDisconnected(0), 1).as_deref(), Some(gone));
        let lost = "The system lost messages on their way here: the notes of all keys were ended.";
        assert_eq!(hear(Happened::Overrun, 2).as_deref(), Some(lost));
        assert_eq!(hear(Happened::OutputBack(0), 33).as_deref(), Some(gone), "that is still so");
        assert_eq!(hear(Happened::InputBack(0), 34).as_deref(), Some("keyboard is connected again."));
        assert_eq!(hear(Happened::OutputBack(0), 39).as_deref(), Some("keyboard is connected again."));
        assert_eq!(hear(Happened::OutputBack(0), 40), None);
        assert_eq!(hear(Happened::InputDisconnected(0), 41).as_deref(), Some(gone));
        let held = "The port of keyboard is there and cannot be opened; most likely another program has it. Close that program.";
        assert_eq!(hear(Happened::InputHeld(0), 42).as_deref(), Some(held));
        assert_eq!(hear(Happened::InputBack(0), 43).as_deref(), Some("keyboard is connected again."));
        assert_eq!(
            hear(Happened::OutputHeld(0), 44).as_deref(),
            Some(
                "The port of piano is there and cannot be opened; most likely another program has it. Close that program."
            )
        );
        assert_eq!(
            hear(Happened::OutputBack(0), 45).as_deref(),
            Some("Output piano is connected, and its sounds are set up.")
        );
        let fault = SavedFault { drawn: "drawn\nin lines".into(), line: "song.toml, line 3: no such key.".into() };
        let faults = |count| Happened::MapsRefused(Arc::new(vec![fault.clone(); count]));
        let refused = "The saved maps were not loaded: the set goes on as before. song.toml, line 3: no such key.";
        assert_eq!(hear(faults(1), 50).as_deref(), Some(refused));
        assert_eq!(hear(faults(3), 51), Some(format!("{refused} And 2 more.")));
        assert_eq!(
            hear(Happened::Loaded, 52),
            Some(format!("{refused} And 2 more.")),
            "a change of the set mends no file"
        );
        assert_eq!(hear(Happened::MapsInOrder, 53).as_deref(), Some("The saved maps are in order again."));
        assert_eq!(hear(Happened::MapsInOrder, 59), None);
        for number in 0..1_000 {
            hear(Happened::OutputRefused(number), 60);
        }
        assert!(troubles.all.len() <= MOST);
        let late = troubles.last(begin + Duration::from_secs(200)).expect("what went wrong last");
        assert_eq!((late.is, late.since), (Is::Past, begin + Duration::from_secs(60)));
        troubles.count_reports_lost(3, begin);
        troubles.count_reports_lost(3, begin + ONCE);
        assert!(troubles.last(begin + ONCE).is_some_and(|last| last.is == Is::Past), "no more of them came");
    }
}
