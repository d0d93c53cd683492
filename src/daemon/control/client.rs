//! The other end: asks a performance that runs in another process.

use std::fs;
use std::io::{BufRead, BufReader, Read, Write};
use std::os::unix::net::UnixStream;
use std::path::Path;
use std::thread;
use std::time::{Duration, Instant};

use super::folder::{self, FolderError};
use super::{Answer, Ask, LONGEST, Outcome, Request, VERSION};

/// An answer comes in this time, or not at all.
const PATIENCE: Duration = Duration::from_secs(8);

/// An answer is not longer than this.
const LONGEST_ANSWER: u64 = 16 << 20;

/// Where too many ask at a moment, it is asked again for so long, so often.
const BUSY: Duration = Duration::from_secs(5);
const AGAIN: Duration = Duration::from_millis(100);

/// Why there is no answer.
#[derive(Debug, thiserror::Error)]
pub enum AskError {
    /// Nothing runs under that name.
    #[error("no handspan named \"{0}\" is running")]
    Nothing(String),
    /// What is asked does not fit into a request.
    #[error("that is too long: everything said at once may have some {LONGEST} letters")]
    TooLong,
    /// It runs and does not answer.
    #[error("the handspan named \"{0}\" does not answer ({1})")]
    Silent(String, String),
    /// The folder is not the user's.
    #[error(transparent)]
    Folder(#[from] FolderError),
}

/// A performance that runs.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Running {
    /// Its name.
    pub name: String,
}

/// The performances that run now and have their sockets in this folder, by name.
///
/// # Errors
/// The folder is not the user's alone.
pub fn running(folder: &Path) -> Result<Vec<Running>, FolderError> {
    if !folder.exists() {
        return Ok(Vec::new());
    }
    folder::trust(folder)?;
    let unusable = |error| FolderError::Unusable(folder.display().to_string(), error);
    let files = fs::read_dir(folder).map_err(unusable)?.filter_map(Result::ok);
    let names = files.filter_map(|file| file.file_name().to_str()?.strip_suffix(".socket").map(str::to_owned));
    // What a killed one left behind refuses.
    let alive = |name: &String| UnixStream::connect(folder::socket_of(folder, name)).is_ok();
    let mut running: Vec<Running> = names.filter(alive).map(|name| Running { name }).collect();
    running.sort_by(|a, b| a.name.cmp(&b.name));
    Ok(running)
}

/// Asks the performance of this name.
///
/// # Errors
/// It does not run, or does not answer.
pub fn ask(folder: &Path, name: &str, ask: Ask) -> Result<Answer, AskError> {
    let mut line = serde_json::to_vec(&Request { version: VERSION, ask })
        .map_err(|error| AskError::Silent(name.to_owned(), error.to_string()))?;
    line.push(b'\n');
    if line.len() > LONGEST {
        return Err(AskError::TooLong);
    }
    let nothing = || AskError::Nothing(name.to_owned());
    if !folder.exists() {
        return Err(nothing());
    }
    folder::trust(folder)?;
    let until = Instant::now() + BUSY;
    loop {
        let stream = UnixStream::connect(folder::socket_of(folder, name)).map_err(|_| nothing())?;
        let answer = once(stream, &line).map_err(|error| AskError::Silent(name.to_owned(), error.to_string()))?;
        if answer.outcome != Outcome::Busy || Instant::now() >= until {
            return Ok(answer);
        }
        thread::sleep(AGAIN);
    }
}

fn once(mut stream: UnixStream, line: &[u8]) -> std::io::Result<Answer> {
    stream.set_read_timeout(Some(PATIENCE))?;
    stream.set_write_timeout(Some(PATIENCE))?;
    // One that has no time says so without listening.
    let said = stream.write_all(line);
    let mut answer = Vec::new();
    BufReader::new(stream.take(LONGEST_ANSWER)).read_until(b'\n', &mut answer)?;
    if answer.is_empty() {
        said?;
    }
    Ok(serde_json::from_slice(&answer)?)
}
