//! The program itself, started at a terminal of its own.

use std::fs::{self, File};
use std::io::{Read, Write};
use std::os::fd::OwnedFd;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, ExitStatus, Stdio};
use std::thread;
use std::time::Duration;

use rustix::process::{Pid, Signal, kill_process};
use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};

use crate::sequencer::{is_there, until};

/// How long the program may take to begin and to end; emulation is slow.
const PATIENCE: Duration = Duration::from_secs(20);

/// Keys that the player types at the terminal.
pub const NEXT_SONG: &str = "\x1b[B";
pub const PREVIOUS_SONG: &str = "\x1b[A";
pub const NEXT_SECTION: &str = "\x1b[C";
pub const PREVIOUS_SECTION: &str = "\x1b[D";

/// A running handspan. Dropping it kills it.
pub struct Program {
    child: Child,
    terminal: File,
    said: PathBuf,
}

fn io(doing: &str, error: &dyn std::fmt::Display) -> String {
    format!("{doing}: {error}")
}

impl Program {
    /// Starts `handspan play SET` and waits for the ports that other programs see. It knows of no earlier run.
    pub fn play(set: &Path, ports: &[&str]) -> Result<Self, String> {
        let state = fresh_state()?;
        Self::play_on(set, ports, &state)
    }

    /// The same, with a folder where it keeps how things stand.
    pub fn play_on(set: &Path, ports: &[&str], state: &Path) -> Result<Self, String> {
        let program = Self::start_with(&["play", &set.to_string_lossy()], state)?;
        let there = || ports.iter().all(|port| is_there(handspan::ports::CLIENT, port));
        until("handspan's ports", PATIENCE, there).map_err(|error| format!("{error}; it said: {}", program.said()))?;
        Ok(program)
    }

    /// Starts it with these arguments. It knows of no earlier run.
    pub fn start(arguments: &[&str]) -> Result<Self, String> {
        Self::start_with(arguments, &fresh_state()?)
    }

    fn start_with(arguments: &[&str], state: &Path) -> Result<Self, String> {
        let (terminal, its_end) = terminal()?;
        let said = std::env::temp_dir().join(format!("said-{}", arguments.first().unwrap_or(&"nothing")));
        let file = File::create(&said).map_err(|error| io("making a file", &error))?;
        let errors = file.try_clone().map_err(|error| io("making a file", &error))?;
        let child = Command::new("handspan")
            .args(arguments)
            .env("TERM", "linux")
            .env("HOME", std::env::temp_dir())
            .env("XDG_STATE_HOME", state)
            .stdin(Stdio::from(its_end))
            .stdout(file)
            .stderr(errors)
            .spawn()
            .map_err(|error| io("starting handspan", &error))?;
        Ok(Program { child, terminal, said })
    }

    /// What it wrote so far.
    pub fn said(&self) -> String {
        fs::read_to_string(&self.said).unwrap_or_default()
    }

    /// Types at its terminal.
    pub fn type_keys(&mut self, keys: &str) -> Result<(), String> {
        self.terminal.write_all(keys.as_bytes()).map_err(|error| io("typing", &error))
    }

    /// Sends it a signal.
    pub fn signal(&self, signal: Signal) -> Result<(), String> {
        let pid = i32::try_from(self.child.id()).ok().and_then(Pid::from_raw).ok_or("no process number")?;
        kill_process(pid, signal).map_err(|error| io("sending a signal", &error))
    }

    /// Waits for its end.
    pub fn end(mut self) -> Result<(ExitStatus, String), String> {
        let mut ended = None;
        let waited = until("its end", PATIENCE, || {
            ended = self.child.try_wait().transpose();
            ended.is_some()
        });
        match ended {
            Some(status) => Ok((status.map_err(|error| io("waiting for its end", &error))?, self.said())),
            None => Err(format!("{}; it said: {}", waited.err().unwrap_or_default(), self.said())),
        }
    }

    /// Whether it still runs.
    pub fn runs(&mut self) -> bool {
        self.child.try_wait().is_ok_and(|status| status.is_none())
    }

    /// Memory that is its own and in use, in KiB (RssAnon). Pages of the program itself are left out: the system brings them
    /// in when they are first run.
    pub fn memory(&self) -> Result<u64, String> {
        let status = fs::read_to_string(format!("/proc/{}/status", self.child.id()))
            .map_err(|error| io("reading its memory", &error))?;
        let line = status.lines().find_map(|line| line.strip_prefix("RssAnon:")).ok_or("no RssAnon")?;
        line.trim().trim_end_matches(" kB").trim().parse().map_err(|error| io("reading its memory", &error))
    }
}

impl Drop for Program {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

/// An empty folder for how things stand.
fn fresh_state() -> Result<PathBuf, String> {
    let state = std::env::temp_dir().join("state");
    let _ = fs::remove_dir_all(&state);
    fs::create_dir_all(&state).map_err(|error| io("making a folder", &error))?;
    Ok(state)
}

/// A terminal: our end, on which we type, and the program's end. What it shows there is read and thrown away.
fn terminal() -> Result<(File, OwnedFd), String> {
    let ours = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY).map_err(|error| io("opening a terminal", &error))?;
    grantpt(&ours).and_then(|()| unlockpt(&ours)).map_err(|error| io("opening a terminal", &error))?;
    let name = ptsname(&ours, Vec::new()).map_err(|error| io("opening a terminal", &error))?;
    let name = name.to_str().map_err(|error| io("opening a terminal", &error))?;
    let its_end =
        File::options().read(true).write(true).open(name).map_err(|error| io("opening a terminal", &error))?;
    let ours = File::from(ours);
    let mut shown = ours.try_clone().map_err(|error| io("opening a terminal", &error))?;
    thread::spawn(move || {
        let mut bytes = [0; 256];
        while shown.read(&mut bytes).is_ok_and(|count| count > 0) {}
    });
    Ok((ours, its_end.into()))
}

/// Runs it to its end: whether it went well, and what it wrote.
pub fn run(arguments: &[&str]) -> Result<(ExitStatus, String), String> {
    Program::start(arguments)?.end()
}
