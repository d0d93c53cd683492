//! A performance on ports in memory, with real files and a real socket.

use std::fs;
use std::io::{BufRead, BufReader, Write};
use std::os::unix::net::UnixStream;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

use crossbeam_channel::Receiver;
use handspan::daemon::control::{self, Answer, Ask, ControlSocket, NameLock, Outcome, RequestHandler};
use handspan::daemon::observer::{Duties, Observer};
use handspan::daemon::persist::{Beginning, Persist};
use handspan::daemon::state::State;
use handspan::daemon::{Daemon, Happened, Remote, Report, Show, reload, wish};
use handspan::map;
use handspan::ports::Direction;
use handspan::ports::memory::World;
use tempfile::TempDir;

pub const GEAR: &str = "[inputs.keyboard]\nport = \"piano\"\n[outputs.keys]\nvirtual = true\n[sounds.grand]\noutput = \"keys\"\nchannel = 1\n\
                        [sounds.warm]\noutput = \"keys\"\nchannel = 2\n";
pub const LANTERN: &str = "title = \"Lantern\"\nkey = \"C\"\n[[zone]]\nsound = \"grand\"\n[[zone]]\nname = \"bed\"\nsound = \"warm\"\n\
                           on = false\n[[section]]\nname = \"Verse\"\n[[section]]\nname = \"Chorus\"\n[drone]\nsound = \"warm\"\n\
                           degrees = [1]\noctave = 3\n";
pub const BELLS: &str = "title = \"Nine Bells\"\nkey = \"Am\"\n[[zone]]\nsound = \"grand\"\n";
pub const SET: &str = "# Ours.\ntitle = \"Tonight\"\ngear = \"gear.toml\"\n\n[[song]] # opens\nmap = \"lantern.toml\"\n\n\
                       [[song]]\ntitle = \"Welcome\"\n\n# Quiet.\n[[song]]\nmap = \"bells.toml\"\n";
/// Far longer than anything here takes; only a failure waits for it.
pub const PATIENCE: Duration = Duration::from_secs(60);

/// Reads files as `play` does.
pub fn read(path: &str) -> std::io::Result<Vec<u8>> {
    fs::read(path)
}

pub struct Evening {
    pub folder: TempDir,
    pub world: World,
    pub remote: Remote,
    pub reports: Receiver<Report>,
    piano: usize,
    control: Option<ControlSocket>,
    playing: Option<JoinHandle<()>>,
    _watching: reload::Watching,
}

impl Evening {
    pub fn begin() -> Evening {
        let folder = TempDir::new().unwrap();
        for (name, text) in [("gear.toml", GEAR), ("lantern.toml", LANTERN), ("bells.toml", BELLS), ("set.toml", SET)] {
            fs::write(folder.path().join(name), text).unwrap();
        }
        let set = folder.path().join("set.toml").display().to_string();
        let evening = Evening::of(folder, &set, "choir");
        evening.music(1);
        evening
    }

    /// Plays this set; the socket lies in `run` of the folder.
    pub fn of(folder: TempDir, set: &str, name: &str) -> Evening {
        let show = Arc::new(Show::new(map::load(set, &mut read).book.unwrap()));
        let world = World::default();
        let piano = world.plug(Direction::Input, "stage piano", "keys", None);
        let (mut daemon, remote) = Daemon::new(&show, Box::new(world.open(&wish(&show.book.gear)).unwrap()));
        let observer = Observer::new(&mut daemon, &show, name).unwrap();
        let reports = observer.listen();
        let persist = Persist::new(folder.path().join("run/kept.json"), Vec::new(), |error| panic!("{error}"));
        observer.begin(Duties { persist: Some(persist), ..Duties::default() }).unwrap();
        let name_lock = NameLock::take(&folder.path().join("run/handspan"), name).unwrap();
        let control = control::open(name_lock, RequestHandler::new(remote.clone(), observer, read, |_| ())).unwrap();
        let watching = reload::watch(read, remote.clone()).unwrap();
        let playing = std::thread::spawn(move || {
            daemon.run(&Beginning::Afresh);
        });
        Evening {
            folder,
            world,
            remote,
            reports,
            piano,
            control: Some(control),
            playing: Some(playing),
            _watching: watching,
        }
    }

    /// Where sockets lie.
    pub fn run(&self) -> PathBuf {
        self.folder.path().join("run/handspan")
    }

    pub fn file(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    pub fn text(&self, name: &str) -> String {
        fs::read_to_string(self.file(name)).unwrap()
    }

    pub fn connect(&self) -> UnixStream {
        connect(&self.run().join("choir.socket"))
    }

    pub fn ask(&self, ask: Ask) -> Answer {
        control::ask(&self.run(), "choir", ask).unwrap()
    }

    /// What comes of some words, each a word of its own.
    pub fn say(&self, words: &[&str]) -> (Outcome, String) {
        let words = words.iter().map(|word| (*word).to_owned()).collect();
        let answer = self.ask(Ask::Do { words });
        (answer.outcome, answer.words)
    }

    /// Something that is done, in words without a blank in them.
    pub fn done(&self, words: &str) -> String {
        self.answers(words, Outcome::Done, "")
    }

    /// What is asked for in such words comes to this, and `part` is said of it; all that is said.
    #[track_caller]
    pub fn answers(&self, words: &str, outcome: Outcome, part: &str) -> String {
        let (came, said) = self.say(&words.split(' ').collect::<Vec<_>>());
        assert_eq!(came, outcome, "{words}: {said}");
        assert!(said.contains(part), "{words}: {said}");
        said
    }

    pub fn state(&self) -> State {
        self.ask(Ask::Status).state.expect("a state")
    }

    /// Titles in tonight's order.
    pub fn titles(&self) -> Vec<String> {
        let show = self.remote.show();
        (0..show.plan.entries()).map(|entry| show.plan.title(entry).to_owned()).collect()
    }

    /// Plays so many notes one after the other and waits until each has sounded and ended: messages in are messages
    /// out. Returns what C4 became.
    pub fn music(&self, notes: usize) -> u8 {
        drop(self.world.take_sent());
        let mut heard = 60;
        for _ in 0..notes {
            self.world.play(self.piano, &[0x90, 60, 90, 0x80, 60, 64]);
            let mut out = Vec::new();
            let deadline = Instant::now() + PATIENCE;
            while out.len() < 2 {
                out.extend(self.world.take_sent().into_iter().map(|(_, bytes)| bytes).filter(|bytes| {
                    // Notes of the piano's zone; set-up and others' channels lie between.
                    bytes[0] == 0x90 || bytes[0] == 0x80
                }));
                assert!(Instant::now() < deadline, "the music stopped: {out:?}");
                std::thread::yield_now();
            }
            heard = out[0][1];
            assert_eq!(out, [vec![0x90, heard, 90], vec![0x80, heard, 64]]);
        }
        heard
    }

    /// Presses and lifts a pedal; what is sent of it on channel 9. Waits before that until cues listen to the keyboard, half
    /// a second after it appeared, and a press is no bounce of an earlier one (rule R19).
    pub fn press(&self, control: u8) -> Vec<Vec<u8>> {
        let began = Instant::now();
        while began.elapsed() < Duration::from_millis(600) {
            self.music(1);
        }
        drop(self.world.take_sent());
        self.world.play(self.piano, &[0xB0, control, 127, 0xB0, control, 0]);
        let mut out: Vec<Vec<u8>> = Vec::new();
        let deadline = Instant::now() + PATIENCE;
        while !out.iter().any(|bytes| bytes[0] == 0xB8) {
            out.extend(self.world.take_sent().into_iter().map(|(_, bytes)| bytes));
            assert!(Instant::now() < deadline, "the pedal sent nothing: {out:?}");
            std::thread::yield_now();
        }
        out
    }

    /// The next report on maps that came into force.
    pub fn maps(&self) -> Arc<Show> {
        loop {
            let report = self.reports.recv_timeout(PATIENCE).expect("a report on maps");
            match report.what {
                Happened::Loaded => return report.show,
                Happened::MapsRefused(faults) => panic!("{faults:?}"),
                _ => {}
            }
        }
    }

    /// Nobody has been heard of maps until now.
    pub fn forget_reports(&self) {
        while self.reports.try_recv().is_ok() {}
    }
}

impl Drop for Evening {
    fn drop(&mut self) {
        drop(self.control.take());
        self.remote.stop();
        let _ = self.playing.take().map(JoinHandle::join);
    }
}

pub fn connect(path: &Path) -> UnixStream {
    let stream = UnixStream::connect(path).expect("somebody listens");
    stream.set_read_timeout(Some(PATIENCE)).unwrap();
    stream.set_write_timeout(Some(PATIENCE)).unwrap();
    stream
}

/// The next line of the other end; none where it has gone.
pub fn hear(stream: &mut UnixStream) -> Option<Answer> {
    let mut line = Vec::new();
    // One that hangs up in the middle of what it is told may break the connection instead of ending it.
    let _ = BufReader::new(stream).read_until(b'\n', &mut line);
    if line.is_empty() { None } else { Some(serde_json::from_slice(&line).expect("an answer")) }
}

/// Says bytes; whether they were taken.
pub fn tell(stream: &mut UnixStream, bytes: &[u8]) -> bool {
    stream.write_all(bytes).is_ok()
}
