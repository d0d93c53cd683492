//! A performance on ports in memory, with an open stand.

use std::net::SocketAddr;
use std::path::Path;
use std::sync::{Arc, Mutex};
use std::thread::JoinHandle;
use std::time::Instant;

use crossbeam_channel::{Receiver, unbounded};
use handspan::daemon::observer::{Duties, Observer};
use handspan::daemon::persist::Beginning;
use handspan::daemon::requests::{PageRequest, RequestHandler};
use handspan::daemon::{Daemon, Remote, Show, reload, wish};
use handspan::map::{self, Stand};
use handspan::page::{Open, StandOptions};
use handspan::ports::Direction;
use handspan::ports::memory::World;
use tempfile::TempDir;

pub use crate::page::PATIENCE;
use crate::page::Page;

pub const GEAR: &str = "gather_ms = 0\n[inputs.keyboard]\nport = \"piano\"\nchannel = 3\nplay = true\n[inputs.upper]\nport = \"small\"\noptional = true\nplay = true\n\
                        [outputs.keys]\nvirtual = true\n[outputs.pad]\nvirtual = true\n[sounds.grand]\noutput = \"keys\"\nchannel = 1\n\
                        label = \"desk 21\"\n[sounds.warm]\noutput = \"pad\"\nchannel = 5\n";
/// The fingers play a whole tone below the chart, the room hears a semitone above it: so a minor third lies between them.
pub const LANTERN: &str = "title = \"Lantern\"\nkey = \"D\"\nplay_in = \"C\"\ntempo = 84\nmeter = \"3/4\"\n[[zone]]\nsound = \"grand\"\n\
                           [[zone]]\nname = \"bed\"\nsound = \"warm\"\non = false\n[[section]]\nname = \"Verse\"\n\
                           chords = \"D Bm | A/C# Em7 | F#7\"\n[[section]]\nname = \"Chorus\"\nkey = \"E\"\nremark = \"all\"\n\
                           chords = \"G | A\"\n[[section]]\nname = \"End\"\nlike = \"Verse\"\n[drone]\nsound = \"warm\"\ndegrees = [1]\n\
                           octave = 3\n";
pub const BELLS: &str = "title = \"Nine Bells\"\nkey = \"Am\"\n[[zone]]\nsound = \"grand\"\n\
                         [[zone]]\nsound = \"warm\"\nkeys = [\"C2\", \"B2\"]\none_key_chord = true\n";
pub const SET: &str = "title = \"Tonight\"\ngear = \"gear.toml\"\n[[song]]\nmap = \"lantern.toml\"\nkey = \"Eb\"\nremark = \"she counts\"\n\
                       [[song]]\ntitle = \"Welcome\"\n[[song]]\nmap = \"bells.toml\"\n";

pub fn read(path: &str) -> std::io::Result<Vec<u8>> {
    std::fs::read(path)
}

pub struct Evening {
    pub folder: TempDir,
    pub world: World,
    pub remote: Remote,
    pub observer: Arc<Observer>,
    /// Number of an output and a message, as they were sent.
    pub sent: Receiver<(usize, Vec<u8>)>,
    pub piano: usize,
    pub log: Arc<Mutex<Vec<String>>>,
    pub address: SocketAddr,
    open: Option<Open>,
    playing: Option<JoinHandle<()>>,
    _watching: reload::Watching,
}

/// A stand at some free port of this machine, without passcodes.
pub fn anybody() -> Stand {
    let listen = Some(SocketAddr::from(([127, 0, 0, 1], 0)));
    Stand { listen, asked: true, input: Some(0), ..Stand::default() }
}

/// The same for those who know a passcode.
pub fn guarded() -> Stand {
    Stand { passcode: Some("nine bells".into()), viewing_passcode: Some("lantern".into()), ..anybody() }
}

impl Evening {
    pub fn begin() -> Evening {
        Evening::with(&anybody())
    }

    pub fn with(stand: &Stand) -> Evening {
        Evening::keeping(stand, None)
    }

    /// One that keeps the devices that it lets in.
    pub fn keeping(stand: &Stand, devices: Option<&Path>) -> Evening {
        let folder = TempDir::new().unwrap();
        for (name, text) in [("gear.toml", GEAR), ("lantern.toml", LANTERN), ("bells.toml", BELLS), ("set.toml", SET)] {
            std::fs::write(folder.path().join(name), text).unwrap();
        }
        let set = folder.path().join("set.toml").display().to_string();
        let show = Arc::new(Show::new(map::load(&set, &mut read).book.unwrap()));
        let (sender, sent) = unbounded();
        let world = World::live(move |output, bytes| {
            let _ = sender.send((output, bytes.to_vec()));
        });
        let piano = world.plug(Direction::Input, "stage piano", "keys", None);
        let (mut daemon, remote) = Daemon::new(&show, Box::new(world.open(&wish(&show.book.gear)).unwrap()));
        let observer = Observer::new(&mut daemon, &show, "choir").unwrap();
        observer.begin(Duties::default()).unwrap();
        let log = Arc::new(Mutex::new(Vec::new()));
        let (asking, coming) = (Arc::clone(&log), Arc::clone(&log));
        let asked = move |words: &str| asking.lock().unwrap().push(words.to_owned());
        let handler = Arc::new(RequestHandler::new(remote.clone(), Arc::clone(&observer), read, asked));
        let came = move |words: &str| coming.lock().unwrap().push(words.to_owned());
        let open =
            handspan::page::open(StandOptions { stand, devices }, &mut daemon, &show, handler, came).unwrap().unwrap();
        let watching = reload::watch(read, remote.clone()).unwrap();
        let playing = std::thread::spawn(move || {
            daemon.run(&Beginning::Afresh);
        });
        until("a song is entered", || observer.state().song.is_some());
        let address = open.address();
        let (open, playing) = (Some(open), Some(playing));
        Evening { folder, world, remote, observer, sent, piano, log, address, open, playing, _watching: watching }
    }

    /// What `do` at the computer does about the page.
    pub fn requests(&self) -> impl Fn(PageRequest) + Send + Sync + 'static {
        self.open.as_ref().expect("it is open").requests()
    }

    /// A page that was let in.
    pub fn page(&self) -> Page {
        Page::admitted(self.address, None)
    }

    /// What outputs get next of notes and pedals: number of the output and message.
    pub fn heard(&self) -> (usize, Vec<u8>) {
        loop {
            let (output, bytes) = self.sent.recv_timeout(PATIENCE).expect("a note or a pedal");
            if matches!(bytes[0] & 0xF0, 0x80 | 0x90) || (bytes[0] & 0xF0 == 0xB0 && bytes[1] == 64 && bytes[2] > 0) {
                return (output, bytes);
            }
        }
    }

    /// The piano plays a note and it is heard: messages in are messages out. Other keys must be silent meanwhile.
    pub fn music(&self) {
        self.world.play(self.piano, &[0x92, 36, 90]);
        let (output, on) = self.heard();
        self.world.play(self.piano, &[0x82, 36, 64]);
        assert_eq!((output, on[0], on[2]), (0, 0x90, 90));
        assert_eq!(self.heard(), (0, vec![0x80, on[1], 64]));
    }

    /// Plays without a pause while something is done; returns what that gave, and how many notes sounded.
    pub fn while_playing<T>(&self, done: impl FnOnce() -> T) -> (T, usize) {
        let over = std::sync::atomic::AtomicBool::new(false);
        std::thread::scope(|scope| {
            let player = scope.spawn(|| {
                let mut notes = 0;
                while !over.load(std::sync::atomic::Ordering::Acquire) || notes == 0 {
                    self.music();
                    notes += 1;
                }
                notes
            });
            let given = std::panic::catch_unwind(std::panic::AssertUnwindSafe(done));
            over.store(true, std::sync::atomic::Ordering::Release);
            let notes = player.join().expect("the music goes on");
            (given.unwrap_or_else(|failure| std::panic::resume_unwind(failure)), notes)
        })
    }

    /// Ends the performance, not the stand.
    pub fn end(&mut self) {
        self.remote.stop();
        self.playing.take().expect("it plays").join().expect("it ends well");
    }

    /// Closes the stand; the performance goes on.
    pub fn close(&mut self) {
        drop(self.open.take());
    }

    pub fn logged(&self) -> Vec<String> {
        self.log.lock().unwrap().clone()
    }
}

impl Drop for Evening {
    fn drop(&mut self) {
        drop(self.open.take());
        self.remote.stop();
        let _ = self.playing.take().map(JoinHandle::join);
    }
}

/// Waits until something is so.
pub fn until(what: &str, mut so: impl FnMut() -> bool) {
    let deadline = Instant::now() + PATIENCE;
    while !so() {
        assert!(Instant::now() < deadline, "never: {what}");
        // The processor is for those who are waited for.
        std::thread::sleep(std::time::Duration::from_millis(1));
    }
}
