//! Puts reports into lines for the terminal and the log.

use std::sync::Arc;

use super::keyboard;
use crate::daemon::{Happened, Report, Show};
use crate::engine::Notice;
use crate::evening::{Keys, worth_drawing};
use crate::map::Song;
use crate::wording::notices::Context;
use crate::wording::zones::{self, Detail};
use crate::wording::{self, changes, performance};

/// Puts reports into lines.
#[derive(Default)]
pub(super) struct Teller {
    /// Columns for a keyboard, where one is to be drawn on entering a song.
    pub drawn: Option<usize>,
    /// What was played at the last report: what has changed since.
    before: Option<Arc<Show>>,
}

/// How far what hangs under a song's line is indented.
const INDENT: &str = "      ";

impl Teller {
    /// With room for a keyboard of so many columns, where one is to be drawn on entering a song.
    pub(super) fn drawing(drawn: Option<usize>) -> Teller {
        Teller { drawn, before: None }
    }

    /// The lines for a report.
    pub(super) fn lines(&mut self, report: &Report) -> Vec<String> {
        let before = self.before.replace(Arc::clone(&report.show));
        let sentence = || report.sentence().into_iter();
        match &report.what {
            Happened::Noticed(Notice::Song) => self.song(&report.context()),
            Happened::Noticed(Notice::Section | Notice::TakenOver) => section(&report.context()).into_iter().collect(),
            Happened::Noticed(_) => sentence().map(|line| format!("{INDENT}{line}")).collect(),
            Happened::Loaded => vec![loaded(before.as_ref(), &report.show)],
            Happened::MapsRefused(faults) => {
                sentence().chain(faults.iter().flat_map(|fault| fault.drawn.lines()).map(str::to_owned)).collect()
            }
            Happened::ChangesDropped(more) => {
                sentence().chain(more.iter().flat_map(|more| more.lines()).map(str::to_owned)).collect()
            }
            Happened::Ended(ended) => performance::end(ended.counts.out_of_range, ended.refused, ended.reports_lost),
            _ => sentence().collect(),
        }
    }

    fn song(&self, context: &Context<'_>) -> Vec<String> {
        let standing = &context.snapshot.standing;
        let Some(entry) = context.book.set.entries.get(standing.entry) else { return Vec::new() };
        let remark = entry.remark.as_ref().map(|remark| format!("{INDENT}{remark}"));
        let mut lines = vec![String::new()];
        match entry.song.and_then(|song| context.book.songs.get(song)) {
            None => {
                lines.push(format!("{}: {}", context.entry(), context.pause().unwrap_or_default()));
                lines.extend(remark);
            }
            Some(song) => {
                let keys = Keys::of(context.book, entry, song);
                lines.push(context.entry());
                lines.push(format!("{INDENT}{}", wording::keys::tonight(&keys, song)));
                lines.extend(remark);
                lines.extend(self.keyboards(context, song, &keys));
                lines.extend(section(context));
            }
        }
        lines
    }

    fn keyboards(&self, context: &Context<'_>, song: &Song, keys: &Keys) -> Vec<String> {
        let Some(width) = self.drawn else { return Vec::new() };
        let inputs = worth_drawing(context.book, song);
        let drawn = inputs.flat_map(|input| keyboard::draw(context.book, song, keys, input, width));
        let words = zones::words(context.book, song, keys, Detail::Short);
        drawn.chain(words).map(|line| format!("{INDENT}{line}")).collect()
    }
}

/// That maps were loaded: saved ones, or a change of the set.
fn loaded(before: Option<&Arc<Show>>, show: &Show) -> String {
    let before = before.map_or(&[][..], |before| &before.changes);
    match (show.changes.last(), before.is_empty()) {
        (Some(change), _) if show.changes != before => changes::changed(&change.to_string()),
        (None, false) => changes::AS_IN_ITS_FILE.to_owned(),
        _ => changes::LOADED.to_owned(),
    }
}

/// The section with its remark and the one that follows; the room's key where it is not the one of the song's line.
fn section(context: &Context<'_>) -> Option<String> {
    let standing = &context.snapshot.standing;
    let (_, song) = standing.playing(context.book)?;
    let section = song.sections.get(standing.section)?;
    let mut line = format!("{INDENT}{}", context.section()?);
    if section.key.is_some() || standing.transposed != 0 {
        line.push_str(&format!(", {}", context.room()?));
    }
    if let Some(remark) = &section.remark {
        line.push_str(&format!(": {remark}"));
    }
    if let Some(next) = context.next_section() {
        line.push_str(&format!("  → {next}"));
    }
    Some(line)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::daemon::observer::{Duties, Observer};
    use crate::daemon::{Daemon, Handed, PreparedMaps, wish};
    use crate::ports::Direction;
    use crate::ports::memory::World;

    const GEAR: &str = "[inputs.keyboard]\nport = \"piano\"\n[outputs.piano]\nvirtual = true\n[sounds.grand]\n\
                        output = \"piano\"\nchannel = 1\n";

    fn cue(control: u8, name: &str) -> String {
        format!(
            "[[cue]]\nwhen = {{ input = \"keyboard\", control = {control} }}\ndo = \"send\"\nto = \"piano\"\n\
             message = {{ control = [20, 127], channel = 9 }}\noff = {{ control = [{control}, 0], channel = 9 }}\n\
             name = \"{name}\"\n"
        )
    }

    fn show(gear: &str) -> Show {
        let mut read = |path: &str| match path {
            "set.toml" => Ok("title = \"Tonight\"\ngear = \"gear.toml\"\n[[song]]\nmap = \"song.toml\"\n".into()),
            "gear.toml" => Ok(gear.into()),
            _ => Ok("title = \"Lantern\"\nkey = \"C\"\n[[zone]]\nsound = \"grand\"\n".into()),
        };
        Show::new(crate::map::load("set.toml", &mut read).book.unwrap())
    }

    #[test]
    fn a_cue_that_leaves_the_gear_while_it_is_on_goes_off_under_its_own_name() {
        let before = Arc::new(show(&format!("{GEAR}{}{}", cue(66, "talkback"), cue(67, "lamp"))));
        let world = World::default();
        let piano = world.plug(Direction::Input, "stage piano", "keys", None);
        let (mut daemon, remote) = Daemon::new(&before, Box::new(world.open(&wish(&before.book.gear)).unwrap()));
        let observer = Observer::new(&mut daemon, &before, "choir").unwrap();
        let reports = observer.listen();
        observer.begin(Duties::default()).unwrap();
        let playing = std::thread::spawn(move || daemon.run(&crate::daemon::persist::Beginning::Afresh));
        let mut teller = Teller::default();
        let mut next = || teller.lines(&reports.recv().expect("a report"));
        // Cues listen half a second after their input appeared.
        let began = std::time::Instant::now();
        while began.elapsed() < std::time::Duration::from_millis(600) {
            std::thread::yield_now();
        }
        world.play(piano, &[0xB0, 66, 127, 0xB0, 66, 0, 0xB0, 67, 127, 0xB0, 67, 0]);
        remote.wake();
        while next() != ["      lamp is on."] {}
        let prepared = PreparedMaps::new(&before, show(&format!("{GEAR}{}", cue(67, "lamp"))).book, Vec::new());
        assert_eq!(remote.load(Box::new(prepared)), Handed::Loaded);
        assert_eq!(next(), ["      talkback is off."]);
        assert_eq!(next(), ["The saved maps are loaded."]);
        remote.stop();
        playing.join().unwrap();
    }
}
