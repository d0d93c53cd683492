//! A file of lines that starts again when it is full and keeps a few of its predecessors.
//!
//! Our own, because what there is ready-made goes on without a word when the file cannot be opened, and cuts a line in
//! two where the size is reached.

use std::fs::{self, File, OpenOptions};
use std::io::{self, Write};
use std::path::{Path, PathBuf};

/// A file that grows line by line: `concert.log`, and `concert.log.1` to `.4`, the newest first.
#[derive(Debug)]
pub(super) struct Rotating {
    path: PathBuf,
    file: File,
    size: u64,
    /// At most so many bytes in one file.
    most: u64,
    /// A line was begun and not ended.
    torn: bool,
}

/// How many older files are kept.
const KEPT: u32 = 4;

impl Rotating {
    /// Goes on with a file, or begins it.
    ///
    /// # Errors
    /// It cannot be written, or is no plain file.
    pub fn open(path: &Path, most: u64) -> io::Result<Rotating> {
        // A pipe would keep us waiting for its reader.
        if fs::metadata(path).is_ok_and(|there| !there.is_file()) {
            return Err(io::Error::new(io::ErrorKind::InvalidInput, "it is no plain file"));
        }
        let file = append_to(path)?;
        let size = file.metadata()?.len();
        Ok(Rotating { path: path.to_owned(), file, size, most, torn: false })
    }

    /// Writes a line, in one call and without a buffer of ours: what was written is there after a kill.
    ///
    /// # Errors
    /// The line, or some of it, was not written; the next one begins a new line.
    pub fn line(&mut self, line: &str) -> io::Result<()> {
        let start = if self.torn { "\n" } else { "" };
        let bytes = format!("{start}{line}\n").into_bytes();
        if self.size > 0 && self.size + bytes.len() as u64 > self.most {
            self.rotate();
        }
        self.torn = true;
        self.file.write_all(&bytes)?;
        self.torn = false;
        self.size += bytes.len() as u64;
        Ok(())
    }

    /// Makes room for a new file. Where that fails the old one goes on: a line is worth more than a size.
    fn rotate(&mut self) {
        let older = |number: u32| {
            let mut path = self.path.clone().into_os_string();
            path.push(format!(".{number}"));
            PathBuf::from(path)
        };
        for number in (1..KEPT).rev() {
            let _ = fs::rename(older(number), older(number + 1));
        }
        if fs::rename(&self.path, older(1)).is_ok()
            && let Ok(file) = append_to(&self.path)
        {
            self.file = file;
            self.size = 0;
            self.torn = false;
        } else {
            // Not again at every line.
            self.size = 0;
        }
    }
}

/// Opens a file for the user alone: it says who came and what was played.
fn append_to(path: &Path) -> io::Result<File> {
    let mut options = OpenOptions::new();
    options.create(true).append(true);
    #[cfg(unix)]
    std::os::unix::fs::OpenOptionsExt::mode(&mut options, 0o600);
    let file = options.open(path)?;
    #[cfg(unix)]
    if file.metadata()?.is_file() {
        use std::os::unix::fs::PermissionsExt;
        // One that an earlier version began. Where it is not ours to close, it is still ours to write to.
        let _ = file.set_permissions(fs::Permissions::from_mode(0o600));
    }
    Ok(file)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(path: &Path) -> String {
        fs::read_to_string(path).unwrap_or_default()
    }

    #[test]
    fn it_keeps_four_older_files_of_whole_lines() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("concert.log");
        fs::write(&path, "earlier\n").unwrap();
        let mut log = Rotating::open(&path, 20).unwrap();
        for number in 0..14 {
            log.line(&format!("line {number:2}")).unwrap();
        }
        assert_eq!(read(&path), "line 13\n");
        assert_eq!(read(&folder.path().join("concert.log.1")), "line 11\nline 12\n");
        assert_eq!(read(&folder.path().join("concert.log.4")), "line  5\nline  6\n");
        assert_eq!(fs::read_dir(folder.path()).unwrap().count(), 5);
    }

    #[cfg(unix)]
    #[test]
    fn it_is_for_the_user_alone() {
        use std::os::unix::fs::PermissionsExt;
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("concert.log");
        fs::write(&path, "earlier\n").unwrap();
        fs::set_permissions(&path, fs::Permissions::from_mode(0o644)).unwrap();
        let mut log = Rotating::open(&path, 20).unwrap();
        (0..9).for_each(|number| log.line(&format!("line {number:2}")).unwrap());
        for file in fs::read_dir(folder.path()).unwrap() {
            let file = file.unwrap();
            assert_eq!(file.metadata().unwrap().permissions().mode() & 0o777, 0o600, "{:?}", file.file_name());
        }
    }

    #[test]
    fn a_line_longer_than_the_file_is_written_whole() {
        let folder = tempfile::tempdir().unwrap();
        let path = folder.path().join("concert.log");
        let mut log = Rotating::open(&path, 4).unwrap();
        log.line("longer").unwrap();
        log.line("than that").unwrap();
        assert_eq!(read(&path), "than that\n");
    }

    #[test]
    fn what_cannot_be_written_is_said_at_once() {
        let folder = tempfile::tempdir().unwrap();
        assert!(Rotating::open(folder.path(), 20).is_err(), "a folder");
        assert!(Rotating::open(&folder.path().join("missing/concert.log"), 20).is_err());
    }

    #[cfg(target_os = "linux")]
    #[test]
    fn a_full_disk_is_an_error_each_time() {
        // Opened as what it is: `open` refuses it.
        let file = append_to(Path::new("/dev/full")).unwrap();
        let mut log = Rotating { path: PathBuf::from("/dev/full"), file, size: 0, most: 1000, torn: false };
        assert!(log.line("one").is_err());
        assert!(log.line("two").is_err() && log.torn);
    }
}
