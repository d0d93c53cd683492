//! Maps that are saved while they are played: real files, watched for real, on ports in memory.

use std::fs;
use std::path::Path;
use std::sync::Arc;
use std::thread::JoinHandle;
use std::time::Duration;

use crossbeam_channel::Receiver;
use handspan::daemon::observer::{Duties, Observer};
use handspan::daemon::persist::Beginning;
use handspan::daemon::{Daemon, Happened, Remote, Report, Show, reload, wish};
use handspan::map;
use handspan::ports::Direction;
use handspan::ports::memory::World;
use tempfile::TempDir;

const GEAR: &str = "[inputs.keyboard]\nport = \"piano\"\n[outputs.keys]\nvirtual = true\n[sounds.grand]\noutput = \"keys\"\nchannel = 1\n";
const SONG: &str = "title = \"Lantern\"\nkey = \"C\"\n[[zone]]\nsound = \"grand\"\n";
const SET: &str = "title = \"Tonight\"\ngear = \"gear.toml\"\n[[song]]\nmap = \"songs/song.toml\"\n";
/// Far longer than anything here takes; only a failure waits for it.
const PATIENCE: Duration = Duration::from_secs(30);

struct Evening {
    folder: TempDir,
    world: World,
    piano: usize,
    reports: Receiver<Report>,
    remote: Remote,
    playing: Option<JoinHandle<()>>,
    _watching: reload::Watching,
}

impl Evening {
    fn begin() -> Evening {
        Evening::begin_in(TempDir::new().unwrap(), |_| ())
    }

    /// With something that is done between the reading of the maps and the beginning of the watch.
    fn begin_in(folder: TempDir, meanwhile: impl Fn(&Path)) -> Evening {
        fs::create_dir(folder.path().join("songs")).unwrap();
        for (name, text) in [("gear.toml", GEAR), ("songs/song.toml", SONG), ("set.toml", SET)] {
            fs::write(folder.path().join(name), text).unwrap();
        }
        let set = folder.path().join("set.toml").display().to_string();
        let show = Arc::new(Show::new(map::load(&set, &mut |path| fs::read(path)).book.unwrap()));
        let world = World::default();
        let piano = world.plug(Direction::Input, "stage piano", "keys", None);
        let (mut daemon, remote) = Daemon::new(&show, Box::new(world.open(&wish(&show.book.gear)).unwrap()));
        let observer = Observer::new(&mut daemon, &show, "tonight").unwrap();
        let reports = observer.listen();
        observer.begin(Duties::default()).unwrap();
        meanwhile(folder.path());
        let watching = reload::watch(|path| fs::read(path), remote.clone()).unwrap();
        let playing = std::thread::spawn(move || {
            daemon.run(&Beginning::Afresh);
        });
        Evening { folder, world, piano, reports, remote, playing: Some(playing), _watching: watching }
    }

    fn file(&self, name: &str) -> std::path::PathBuf {
        self.folder.path().join(name)
    }

    /// The next report on maps.
    fn of_maps(&self) -> Report {
        loop {
            let report = self.reports.recv_timeout(PATIENCE).expect("a report on the saved maps");
            if matches!(report.what, Happened::Loaded | Happened::MapsRefused(_) | Happened::MapsInOrder) {
                return report;
            }
        }
    }

    fn in_force(&self) -> Arc<Show> {
        match self.of_maps() {
            Report { what: Happened::Loaded, show, .. } => show,
            other => panic!("{:?}", other.what),
        }
    }

    /// That what was refused is so no longer.
    fn in_order(&self) {
        let what = self.of_maps().what;
        assert!(matches!(what, Happened::MapsInOrder), "{what:?}");
    }

    fn refused(&self) -> String {
        match self.of_maps() {
            Report { what: Happened::MapsRefused(faults), .. } => {
                faults.iter().map(|fault| fault.drawn.clone()).collect::<Vec<_>>().join("\n")
            }
            other => panic!("{:?}", other.what),
        }
    }

    /// The note that C4 becomes now.
    fn note(&self) -> u8 {
        drop(self.world.take_sent());
        self.world.play(self.piano, &[0x90, 60, 90, 0x80, 60, 64]);
        let deadline = std::time::Instant::now() + PATIENCE;
        loop {
            let sent = self.world.take_sent();
            if let Some((_, on)) = sent.iter().find(|(_, bytes)| bytes[0] == 0x90) {
                return on[1];
            }
            assert!(std::time::Instant::now() < deadline, "the key never sounded");
            std::thread::yield_now();
        }
    }
}

impl Drop for Evening {
    fn drop(&mut self) {
        self.remote.stop();
        let _ = self.playing.take().map(JoinHandle::join);
    }
}

fn rename_over(path: &Path, text: &str) {
    let other = path.with_extension("new");
    fs::write(&other, text).unwrap();
    fs::rename(&other, path).unwrap();
}

#[test]
fn a_saved_song_comes_into_force() {
    let evening = Evening::begin();
    assert_eq!(evening.note(), 60);
    fs::write(evening.file("songs/song.toml"), format!("{SONG}octave = 1\n")).unwrap();
    assert_eq!(evening.in_force().book.songs[0].zones[0].octave, 1);
    assert_eq!(evening.note(), 72);
}

#[test]
fn so_does_one_that_is_saved_by_renaming() {
    let evening = Evening::begin();
    rename_over(&evening.file("songs/song.toml"), &format!("{SONG}octave = -1\n"));
    assert_eq!(evening.in_force().book.songs[0].zones[0].octave, -1);
    rename_over(&evening.file("set.toml"), &format!("{SET}key = \"D\"\nplay_in = \"C\"\n"));
    evening.in_force();
    assert_eq!(evening.note(), 50);
}

#[test]
fn a_song_in_another_folder_is_watched_from_then_on() {
    let evening = Evening::begin();
    fs::create_dir(evening.file("new")).unwrap();
    fs::write(evening.file("new/song.toml"), SONG).unwrap();
    fs::write(evening.file("set.toml"), SET.replace("songs/", "new/")).unwrap();
    evening.in_force();
    fs::write(evening.file("new/song.toml"), format!("{SONG}octave = 1\n")).unwrap();
    evening.in_force();
    assert_eq!(evening.note(), 72);
}

#[test]
fn one_with_errors_changes_nothing_and_is_told_with_its_place() {
    let evening = Evening::begin();
    fs::write(evening.file("songs/song.toml"), format!("{SONG}octave = \"up\"\n")).unwrap();
    let told = evening.refused();
    assert!(told.contains("song.toml, line 5\n"), "{told}");
    assert_eq!(evening.note(), 60);
    fs::write(evening.file("songs/song.toml"), format!("{SONG}octave = 2\n")).unwrap();
    evening.in_force();
    evening.in_order();
    assert_eq!(evening.note(), 84);
}

#[test]
fn a_fault_that_is_taken_back_is_over() {
    let evening = Evening::begin();
    fs::write(evening.file("songs/song.toml"), format!("{SONG}octave = \"up\"\n")).unwrap();
    let Happened::MapsRefused(faults) = evening.of_maps().what else { panic!("it has a fault") };
    let line = &faults[0].line;
    assert!(line.starts_with("songs/song.toml, line 5: ") && line.ends_with('.'), "{line}");
    fs::write(evening.file("songs/song.toml"), SONG).unwrap();
    evening.in_order();
    rename_over(&evening.file("set.toml"), "title = \"Tonight\"\n");
    evening.refused();
    rename_over(&evening.file("set.toml"), "title = 3\n");
    evening.refused();
    rename_over(&evening.file("set.toml"), SET);
    evening.in_order();
    fs::write(evening.file("songs/song.toml"), format!("{SONG}octave = 1\n")).unwrap();
    evening.in_force();
}

#[test]
fn one_without_a_change_says_nothing() {
    let evening = Evening::begin();
    fs::write(evening.file("songs/song.toml"), SONG).unwrap();
    fs::write(evening.file("a-note-to-myself.txt"), "bring the lamp").unwrap();
    fs::write(evening.file("songs/song.toml"), format!("{SONG}octave = 1\n")).unwrap();
    assert_eq!(evening.in_force().book.songs[0].zones[0].octave, 1, "the first that is told is the change");
}

#[test]
fn what_was_saved_before_the_watch_began_is_found() {
    let folder = TempDir::new().unwrap();
    let evening = Evening::begin_in(folder, |folder| {
        fs::write(folder.join("songs/song.toml"), format!("{SONG}octave = 1\n")).unwrap();
    });
    assert_eq!(evening.in_force().book.songs[0].zones[0].octave, 1);
}

#[test]
fn other_ports_wait_for_the_next_start() {
    let evening = Evening::begin();
    fs::write(evening.file("gear.toml"), format!("{GEAR}[outputs.pad]\nvirtual = true\n")).unwrap();
    let told = evening.refused();
    assert!(told.contains("a new output \"pad\"") && told.contains("start it again"), "{told}");
    assert_eq!(evening.note(), 60);
    fs::write(evening.file("gear.toml"), GEAR).unwrap();
    evening.in_order();
    let sound = "[sounds.warm]\noutput = \"keys\"\nchannel = 2\n";
    fs::write(evening.file("gear.toml"), format!("{GEAR}{sound}")).unwrap();
    assert_eq!(evening.in_force().book.gear.sounds.len(), 2, "a new sound needs no new port");
}
