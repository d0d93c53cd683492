//! What happens in a performance, in plain words.

use std::sync::Arc;

use super::keyboard;
use crate::daemon::{Happened, Report, Show, telling};
use crate::engine::{Notice, Snapshot};
use crate::evening::{Keys, Standing, worth_drawing};
use crate::map::Song;
use crate::wording::zones::{self, Detail};

/// Puts reports into words.
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
        let show = &report.show;
        let before = self.before.replace(Arc::clone(show));
        match &report.what {
            Happened::Noticed(notice) => Told { show, snapshot: &report.snapshot, drawn: self.drawn }.lines(*notice),
            Happened::Loaded => vec![loaded(before.as_ref(), show)],
            Happened::MapsRefused(faults) => {
                let mut lines = vec!["The saved maps are not in force; what was played before goes on:".to_owned()];
                lines.extend(faults.iter().flat_map(|fault| fault.lines()).map(str::to_owned));
                lines
            }
            Happened::ChangesDropped(changes) => {
                let mut lines = vec!["Of this evening's changes these do not fit the saved maps:".to_owned()];
                lines.extend(changes.iter().flat_map(|change| change.lines()).map(str::to_owned));
                lines
            }
            Happened::Ended(ended) => {
                let counts = [
                    (ended.counts.out_of_range, "notes lay outside the MIDI range and were not sent"),
                    (ended.not_taken, "messages were not taken by an output"),
                    (ended.unheard, "lines like these were dropped because nobody read them"),
                ];
                let counts = counts.iter().filter(|(count, _)| *count > 0);
                let mut lines = vec!["The end: every note has ended, every pedal is up.".to_owned()];
                lines.extend(counts.map(|(count, what)| format!("{count} {what}.")));
                lines
            }
            what => telling::sentence(what, show).into_iter().collect(),
        }
    }
}

/// That maps were loaded: saved ones, or a change of the set.
fn loaded(before: Option<&Arc<Show>>, show: &Show) -> String {
    let before = before.map_or(&[][..], |before| &before.changes);
    match (show.changes.last(), before.is_empty()) {
        (Some(change), _) if show.changes != before => format!("The set was changed: {change}."),
        (None, false) => "The set is as its file has it.".to_owned(),
        _ => "The saved maps are in force.".to_owned(),
    }
}

/// What the engine noticed, and what it knew then.
struct Told<'a> {
    show: &'a Show,
    snapshot: &'a Snapshot,
    drawn: Option<usize>,
}

impl Told<'_> {
    fn lines(&self, notice: Notice) -> Vec<String> {
        let standing = &self.snapshot.standing;
        let line = match notice {
            Notice::Song => return self.song(standing),
            Notice::Section => return self.section(standing).into_iter().collect(),
            Notice::Key => match standing.playing(&self.show.book) {
                Some((entry, song)) => {
                    let heard = Keys::of(&self.show.book, entry, song).room(standing.tonic);
                    let added = match standing.added {
                        0 => "tonight's key".to_owned(),
                        added => format!(
                            "{} {} tonight's key",
                            semitones(added.abs()),
                            if added > 0 { "above" } else { "below" }
                        ),
                    };
                    format!("{INDENT}heard in {heard} from here on: {added}")
                }
                None => return Vec::new(),
            },
            Notice::Zone(name, on) => {
                format!("{INDENT}zone {} is {}", self.show.plan.zone_name(name), if on { "on" } else { "off" })
            }
            Notice::Drone(on) => format!("{INDENT}the drone is {}", if on { "on" } else { "off" }),
            Notice::Fade => format!("{INDENT}what rings without a finger fades"),
            // What it did is told by what follows.
            Notice::Fired(_) => return Vec::new(),
            Notice::Cue(cue, on) => match self.show.plan.cue_name(cue) {
                Some(name) => format!("{INDENT}{name} is {}", if on { "on" } else { "off" }),
                None => return Vec::new(),
            },
            Notice::LinedUp(entry) => format!("{INDENT}lined up as the next song: {}", self.show.plan.title(entry)),
            Notice::Loop(input) => format!(
                "{INDENT}{} answers whatever it is told: its cues are not listened to until it has been silent for a second. \
                 See that it does not send back what it receives.",
                self.show.plan.input_name(input)
            ),
            Notice::Tracks(runs) => format!("{INDENT}the tracks player {}", if runs { "runs" } else { "has stopped" }),
            Notice::Tempo => format!("{INDENT}your taps are the tempo now"),
            Notice::NothingThere => {
                format!("{INDENT}nothing changes: there is no such song, section, zone or drone here")
            }
            Notice::NoSuchKey => format!("{INDENT}not that key: it is more than an octave away, or of the other mode"),
            Notice::HeldBack(count) => {
                let them = if count == 1 {
                    "one message that starts something was"
                } else {
                    &format!("{count} messages that start something were")
                };
                format!("{INDENT}{them} held back, so that nothing runs before you do; key a says it")
            }
            Notice::SaidAgain => format!("{INDENT}what entering the song says was said again"),
            Notice::Panic => "Panic: everything is silent.".to_owned(),
            // The report on the maps says it.
            Notice::TakenOver => return self.section(standing).into_iter().collect(),
            Notice::SetUpAgain => "All sounds were set up again.".to_owned(),
        };
        vec![line]
    }

    fn song(&self, standing: &Standing) -> Vec<String> {
        let number = format!("{}/{}", standing.entry + 1, self.show.plan.entries());
        let title = self.show.plan.title(standing.entry);
        let Some(entry) = self.show.book.set.entries.get(standing.entry) else { return Vec::new() };
        let remark = entry.remark.as_ref().map(|remark| format!("{INDENT}{remark}"));
        let mut lines = vec![String::new()];
        match entry.song.and_then(|song| self.show.book.songs.get(song)) {
            None => {
                let keys = if standing.song.is_some() {
                    "the keys go on playing the song before"
                } else {
                    "the keys play nothing yet"
                };
                lines.push(format!("{number:5} {title}: a pause; {keys}"));
                lines.extend(remark);
            }
            Some(song) => {
                let keys = Keys::of(&self.show.book, entry, song);
                lines.push(format!("{number:5} {title}"));
                lines.push(format!("{INDENT}{}", in_which_keys(&keys, song)));
                lines.extend(remark);
                lines.extend(self.keyboards(song, &keys));
                lines.extend(self.section(standing));
            }
        }
        lines
    }

    fn keyboards(&self, song: &Song, keys: &Keys) -> Vec<String> {
        let Some(width) = self.drawn else { return Vec::new() };
        let inputs = worth_drawing(&self.show.book, song);
        let drawn = inputs.flat_map(|input| keyboard::draw(&self.show.book, song, keys, input, width));
        let words = zones::words(&self.show.book, song, keys, Detail::Short);
        drawn.chain(words).map(|line| format!("{INDENT}{line}")).collect()
    }

    fn section(&self, standing: &Standing) -> Option<String> {
        let (entry, song) = standing.playing(&self.show.book)?;
        let section = song.sections.get(standing.section)?;
        let here = standing.song?;
        let length = self.show.plan.order_length(here);
        let next = self
            .show
            .plan
            .section_at(here, standing.place + 1)
            .and_then(|next| self.show.plan.section_name(here, next));
        let mut line = format!("{INDENT}{} ({} of {length})", section.name.value, standing.place + 1);
        if section.key.is_some() || standing.added != 0 {
            line.push_str(&format!(", heard in {}", Keys::of(&self.show.book, entry, song).room(standing.tonic)));
        }
        if let Some(remark) = &section.remark {
            line.push_str(&format!(": {remark}"));
        }
        if let Some(next) = next {
            line.push_str(&format!("  → {next}"));
        }
        Some(line)
    }
}

/// The three keys, tempo and meter of a song tonight.
pub(super) fn in_which_keys(keys: &Keys, song: &Song) -> String {
    let mut words = vec![format!("heard in {}", keys.tonight)];
    words.push(match keys.shift {
        0 => format!("fingers in {}", keys.play_in),
        shift => format!("fingers in {} ({shift:+} semitones)", keys.play_in),
    });
    if keys.chart != keys.tonight {
        words.push(format!("chart in {}", keys.chart));
    }
    words.extend(song.tempo.map(|tempo| format!("♩ = {tempo}")));
    words.extend(song.meter.map(|(beats, value)| format!("{beats}/{value}")));
    words.join(", ")
}

fn semitones(count: i32) -> String {
    if count == 1 { "a semitone".to_owned() } else { format!("{count} semitones") }
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
        while next() != ["      lamp is on"] {}
        let prepared = PreparedMaps::new(&before, show(&format!("{GEAR}{}", cue(67, "lamp"))).book, Vec::new());
        assert_eq!(remote.load(Box::new(prepared)), Handed::Loaded);
        assert_eq!(next(), ["      talkback is off"]);
        assert_eq!(next(), ["The saved maps are in force."]);
        remote.stop();
        playing.join().unwrap();
    }
}
