//! The program while it runs, and what it says line by line.

use std::io::{BufRead, BufReader};
use std::net::SocketAddr;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::sync::mpsc::{Receiver, channel};
use std::thread;

use crate::page::{PATIENCE, Page};

/// A command that keeps what it keeps below `folder`.
pub fn command(folder: &Path, arguments: &[&str]) -> Command {
    let mut command = Command::new(assert_cmd::cargo::cargo_bin("handspan"));
    command.current_dir(folder).args(arguments).env("XDG_STATE_HOME", folder.join("state"));
    command.env("XDG_RUNTIME_DIR", folder).env_remove("DISPLAY").env_remove("WAYLAND_DISPLAY");
    command
}

/// Exit code, and what it said on standard output and on standard error.
pub fn run(folder: &Path, arguments: &[&str]) -> (i32, String, String) {
    let output = command(folder, arguments).stdin(Stdio::null()).output().expect("it runs");
    let text = |bytes: Vec<u8>| String::from_utf8(bytes).expect("text");
    (output.status.code().expect("no signal ended it"), text(output.stdout), text(output.stderr))
}

pub struct Running {
    program: Child,
    said: Receiver<String>,
}

impl Running {
    pub fn begin(folder: &Path, arguments: &[&str]) -> Running {
        let mut program = command(folder, arguments)
            .stdin(Stdio::null())
            .stdout(Stdio::piped())
            .stderr(Stdio::inherit())
            .spawn()
            .expect("it runs");
        let lines = BufReader::new(program.stdout.take().expect("its output")).lines();
        let (sender, said) = channel();
        thread::spawn(move || lines.map_while(Result::ok).try_for_each(|line| sender.send(line)));
        Running { program, said }
    }

    /// The next line that holds these words.
    pub fn says(&self, words: &str) -> String {
        loop {
            let line = self.said.recv_timeout(PATIENCE).unwrap_or_else(|_| panic!("it never says {words:?}"));
            if line.contains(words) {
                return line;
            }
        }
    }

    /// The address in the next line that says where to play.
    pub fn address(&self) -> SocketAddr {
        let line = self.says("/#play");
        let (_, link) = line.split_once("http://").expect("a link");
        link.trim_end_matches("/#play").parse().expect("an address")
    }

    /// A page that may do everything.
    pub fn page(&self) -> Page {
        Page::admitted(self.address(), None)
    }

    /// Ends it as Ctrl-C does.
    pub fn end(mut self) {
        let process = rustix::process::Pid::from_child(&self.program);
        rustix::process::kill_process(process, rustix::process::Signal::INT).expect("told");
        assert_eq!(self.program.wait().expect("it ends").code(), Some(0));
    }
}

impl Drop for Running {
    fn drop(&mut self) {
        let _ = self.program.kill();
        let _ = self.program.wait();
    }
}
