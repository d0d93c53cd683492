//! The other end: asks a performance that runs in another process.

use std::fs;
use std::io::{BufRead, BufReader, ErrorKind, Read, Write};
use std::path::Path;
use std::thread;
use std::time::{Duration, Instant};

use super::folder::{self, FolderError};
use super::local::{Stream, connect};
use super::{Answer, Ask, ControlRequest, LONGEST, Outcome, VERSION};

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
    /// It runs, and so many ask that it does not even let in.
    #[error("the handspan named \"{0}\" is busy: too many ask at this moment, try again")]
    Busy(String),
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
    // What a killed one left behind refuses; one that does not let in at this moment runs.
    let alive =
        |name: &String| !matches!(connect(&folder::socket_of(folder, name), AGAIN), Err(error) if !is_busy(&error));
    let mut running: Vec<Running> = names.filter(alive).map(|name| Running { name }).collect();
    running.sort_by(|a, b| a.name.cmp(&b.name));
    Ok(running)
}

/// Asks the performance of this name.
///
/// # Errors
/// It does not run, or does not answer.
pub fn ask(folder: &Path, name: &str, ask: Ask) -> Result<Answer, AskError> {
    ask_for(BUSY, folder, name, ask)
}

/// Asks again for so long where too many ask at a moment.
fn ask_for(busy: Duration, folder: &Path, name: &str, ask: Ask) -> Result<Answer, AskError> {
    let mut line = serde_json::to_vec(&ControlRequest { version: VERSION, ask })
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
    let until = Instant::now() + busy;
    loop {
        let connected = connect(&folder::socket_of(folder, name), busy);
        let stream =
            connected.map_err(|error| if is_busy(&error) { AskError::Busy(name.to_owned()) } else { nothing() })?;
        let answer = once(stream, &line).map_err(|error| AskError::Silent(name.to_owned(), error.to_string()))?;
        if answer.outcome != Outcome::Busy || Instant::now() >= until {
            return Ok(answer);
        }
        thread::sleep(AGAIN);
    }
}

/// Whether it listens and could not let in in time.
fn is_busy(error: &std::io::Error) -> bool {
    matches!(error.kind(), ErrorKind::WouldBlock | ErrorKind::TimedOut)
}

fn once(mut stream: Stream, line: &[u8]) -> std::io::Result<Answer> {
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

#[cfg(test)]
#[cfg(unix)]
mod tests {
    use tempfile::TempDir;

    use super::*;

    #[test]
    fn one_that_lets_nobody_in_runs_and_is_said_to_be_busy() {
        let folder = TempDir::new().unwrap();
        fs::set_permissions(folder.path(), std::os::unix::fs::PermissionsExt::from_mode(0o700)).unwrap();
        let path = folder::socket_of(folder.path(), "choir");
        let listener = std::os::unix::net::UnixListener::bind(&path).unwrap();
        rustix::net::listen(&listener, 1).unwrap();
        let short = Duration::from_millis(20);
        let waiting: Vec<Stream> = std::iter::from_fn(|| connect(&path, short).ok()).collect();
        assert!(!waiting.is_empty());
        assert_eq!(running(folder.path()).unwrap(), [Running { name: "choir".to_owned() }]);
        let refused = ask_for(short, folder.path(), "choir", Ask::Status).unwrap_err();
        assert_eq!(refused.to_string(), "the handspan named \"choir\" is busy: too many ask at this moment, try again");
        drop(listener);
        assert!(running(folder.path()).unwrap().is_empty());
        assert!(matches!(ask_for(short, folder.path(), "choir", Ask::Status), Err(AskError::Nothing(_))));
    }
}
