//! Follows a performance by its reports, and says how it stands.

use std::sync::{Arc, Mutex, MutexGuard, PoisonError, Weak};
use std::thread;

use crossbeam_channel::{Receiver, Select, TryRecvError};
use jiff::ZonedDateTime;

use super::{CountState, EntryState, PortState, SetState, SongState, State, TracksState, playing};
use crate::daemon::{Daemon, Report, Show, Sight, Tally};
use crate::engine::{Notice, Standing};
use crate::map::Song;
use crate::ports::Direction;

/// Who knows how a performance stands. It hears of it by reports, and never asks the owner.
#[derive(Debug)]
pub struct Chronicle {
    name: String,
    since: String,
    reports: Receiver<Report>,
    tally: Tally,
    sight: Sight,
    told: Mutex<Told>,
}

/// What has been told so far.
#[derive(Debug)]
struct Told {
    show: Arc<Show>,
    standing: Standing,
    /// The zones of the song that the keys play: name, and whether it is on.
    zones: Vec<(String, bool)>,
    drone: bool,
    held_back: u16,
    /// The title of the entry that was lined up.
    lined_up: Option<String>,
    /// Numbers and names of the cues that stand on.
    cues: Vec<(u16, String)>,
    inputs: Vec<bool>,
    outputs: Vec<bool>,
    overruns: u64,
    ended: bool,
}

impl Chronicle {
    /// Begins to follow `daemon`, which must not run yet and plays `show`; ends with it.
    ///
    /// # Errors
    /// The system gives no thread.
    pub fn begin(daemon: &mut Daemon, show: &Arc<Show>, name: &str) -> std::io::Result<Arc<Chronicle>> {
        let gear = &show.book.gear;
        let connected = daemon.ports.connections();
        let listened = |number: usize| {
            let name = gear.outputs.get(number).map(|output| output.name.value.as_str());
            connected.iter().any(|known| known.direction == Direction::Output && Some(known.port.as_str()) == name)
        };
        let outputs = gear.outputs.iter().enumerate().map(|(number, output)| match &output.port {
            Some(_) => daemon.ports.output_available(number),
            None => listened(number),
        });
        let told = Told {
            show: Arc::clone(show),
            standing: Standing::default(),
            zones: Vec::new(),
            drone: false,
            held_back: 0,
            lined_up: None,
            cues: Vec::new(),
            inputs: (0..gear.inputs.len()).map(|number| daemon.ports.input_connected(number)).collect(),
            outputs: outputs.collect(),
            overruns: 0,
            ended: false,
        };
        let chronicle = Arc::new(Chronicle {
            name: name.to_owned(),
            since: ZonedDateTime::now().strftime("%Y-%m-%dT%H:%M:%S%:z").to_string(),
            reports: daemon.listen(),
            tally: daemon.tally(),
            sight: daemon.sight(),
            told: Mutex::new(told),
        });
        let (reports, follower) = (chronicle.reports.clone(), Arc::downgrade(&chronicle));
        thread::Builder::new().name("chronicle".to_owned()).spawn(move || follow(&reports, &follower))?;
        Ok(chronicle)
    }

    /// What has been told, up to date: a report that was given is heard, whoever asks.
    fn told(&self) -> MutexGuard<'_, Told> {
        let mut told = self.told.lock().unwrap_or_else(PoisonError::into_inner);
        loop {
            match self.reports.try_recv() {
                Ok(report) => told.hear(&report),
                Err(TryRecvError::Empty) => return told,
                Err(TryRecvError::Disconnected) => {
                    told.ended = true;
                    return told;
                }
            }
        }
    }

    /// The name that tells this performance from others.
    #[must_use]
    pub fn name(&self) -> &str {
        &self.name
    }

    /// What is played, and where it stands.
    #[must_use]
    pub fn standing(&self) -> (Arc<Show>, Standing) {
        let told = self.told();
        (Arc::clone(&told.show), told.standing)
    }

    /// How it stands.
    #[must_use]
    pub fn state(&self) -> State {
        let told = self.told();
        let show = &told.show;
        let gear = &show.book.gear;
        let inputs = gear.inputs.iter().zip(&told.inputs).map(|(input, there)| PortState {
            name: input.name.value.clone(),
            port: Some(input.port.value.clone()),
            there: *there,
            optional: input.optional,
        });
        let outputs = gear.outputs.iter().zip(&told.outputs).map(|(output, there)| PortState {
            name: output.name.value.clone(),
            port: output.port.as_ref().map(|port| port.value.clone()),
            there: *there,
            optional: output.optional,
        });
        State {
            version: 1,
            name: self.name.clone(),
            running_since: self.since.clone(),
            set: SetState {
                title: show.book.set.title.clone(),
                file: show.book.sources.first().map(|set| set.path.clone()).unwrap_or_default(),
                entries: show.plan.entries(),
                unsaved: show.changes.iter().map(ToString::to_string).collect(),
            },
            entry: EntryState::of(show, &told.standing),
            song: SongState::of(show, &told.standing, &told.zones),
            drone: told.drone,
            held_back: told.held_back,
            lined_up: told.lined_up.clone(),
            cues: told.cues.iter().map(|(_, name)| name.clone()).collect(),
            tracks: self.tally.position().map(|at| TracksState {
                running: at.running,
                bar: at.bar,
                beat: at.beat,
                tempo: at.tempo,
            }),
            tempo: self.tally.tempo(),
            tempo_late_us: Some(self.tally.late()).filter(|late| *late > 0),
            latency_us: self.sight.latency(),
            inputs: inputs.collect(),
            outputs: outputs.collect(),
            counts: CountState {
                not_taken: self.tally.not_taken(),
                shed: self.tally.shed(),
                dropped: self.tally.dropped(),
                overruns: told.overruns,
                out_of_range: self.tally.out_of_range(),
                not_understood: self.tally.not_understood(),
                unheard: self.tally.unheard(),
            },
        }
    }
}

/// Hears reports as they come, so that none is lost because nobody asks how it stands. Each is taken while what has
/// been told is held, so that all are heard in order.
fn follow(reports: &Receiver<Report>, chronicle: &Weak<Chronicle>) {
    loop {
        let mut select = Select::new();
        select.recv(reports);
        select.ready();
        let Some(chronicle) = chronicle.upgrade() else { return };
        if chronicle.told().ended {
            return;
        }
    }
}

impl Told {
    fn hear(&mut self, report: &Report) {
        let set = |list: &mut Vec<bool>, number: &usize, there: bool| {
            list.get_mut(*number).into_iter().for_each(|known| *known = there);
        };
        match report {
            Report::Told(notice, standing) => self.notice(*notice, *standing),
            Report::InputGone(number) => set(&mut self.inputs, number, false),
            Report::InputBack(number) => set(&mut self.inputs, number, true),
            Report::OutputGone(number) => set(&mut self.outputs, number, false),
            Report::OutputBack(number) => set(&mut self.outputs, number, true),
            Report::Overrun => self.overruns += 1,
            Report::Maps(show) => self.take_over(show),
            Report::Rebuilt => {
                self.drone = false;
                self.zones = self.zones_of_map();
            }
            Report::Ended(_) => self.ended = true,
            _ => {}
        }
    }

    fn notice(&mut self, notice: Notice, standing: Standing) {
        let before = std::mem::replace(&mut self.standing, standing);
        match notice {
            Notice::Song => {
                self.held_back = 0;
                self.lined_up = None;
                // A pause keeps the zones of the song before as they are.
                if standing.song == Some(standing.entry) || before.song != standing.song {
                    self.zones = self.zones_of_map();
                }
            }
            Notice::HeldBack(count) => self.held_back = count,
            Notice::SaidAgain => self.held_back = 0,
            Notice::Zone(name, on) => {
                let name = self.show.plan.zone_name(name);
                self.zones.iter_mut().filter(|(known, _)| known == name).for_each(|(_, now)| *now = on);
            }
            Notice::LinedUp(entry) => self.lined_up = Some(self.show.plan.title(entry).to_owned()),
            Notice::Cue(cue, on) => {
                self.cues.retain(|(known, _)| *known != cue);
                let name = self.show.plan.cue_name(cue).filter(|_| on);
                self.cues.extend(name.map(|name| (cue, name.to_owned())));
            }
            Notice::Drone(on) => self.drone = on,
            Notice::Panic => self.drone = false,
            // The song that was played is no longer in the set: another one is in its place.
            Notice::TakenOver if self.zones.len() != self.zones_of_map().len() => self.zones = self.zones_of_map(),
            _ => {}
        }
    }

    fn song(&self) -> Option<&Song> {
        playing(&self.show, &self.standing).map(|(_, song)| song)
    }

    /// The zones of the song that the keys play, as its map has them on entering it.
    fn zones_of_map(&self) -> Vec<(String, bool)> {
        let zones = self.song().map_or(&[][..], |song| &song.zones);
        zones.iter().map(|zone| (zone.name.clone(), zone.on)).collect()
    }

    /// Other maps: a zone that is still there stays as it is, on or off.
    fn take_over(&mut self, show: &Arc<Show>) {
        let file = self.song().map(|song| song.title.spot.file);
        let path = file.and_then(|file| self.show.book.sources.get(file)).map(|source| source.path.clone());
        self.show = Arc::clone(show);
        for (cue, name) in &mut self.cues {
            *cue = show.plan.cue_named(name).unwrap_or(*cue);
        }
        let same =
            |song: &&Song| show.book.sources.get(song.title.spot.file).map(|source| &source.path) == path.as_ref();
        if let Some(song) = show.book.songs.iter().find(same) {
            let mut before = std::mem::take(&mut self.zones);
            let zones = song.zones.iter().map(|zone| {
                let known = before.iter().position(|(name, _)| *name == zone.name);
                let on = known.map_or(zone.on, |place| before.remove(place).1);
                (zone.name.clone(), on)
            });
            self.zones = zones.collect();
        }
    }
}
