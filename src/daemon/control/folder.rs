//! Where sockets lie: a folder that is the user's alone.

use std::fs::{self, File, OpenOptions, TryLockError};
use std::io;
use std::path::{Path, PathBuf};
use std::thread;
use std::time::Duration;

use etcetera::BaseStrategy;

use super::local::{self, Listener};

/// The longest name of a performance.
const LONGEST_NAME: usize = 40;

/// The variable of the environment that names the folder of the user's own.
const VARIABLE: &str = if cfg!(windows) { "LOCALAPPDATA" } else { "XDG_RUNTIME_DIR" };

/// A name is tried so often: on Windows whoever asks whether it is held has it for a moment.
const TRIES: u32 = if cfg!(windows) { 5 } else { 1 };
/// Between two tries.
const MOMENT: Duration = Duration::from_millis(20);

/// Why there is no folder for sockets.
#[derive(Debug, thiserror::Error)]
pub enum FolderError {
    /// The system knows no folder of the user's own.
    #[error("this system has no folder of your own for sockets: set {VARIABLE} to one")]
    None,
    /// It belongs to somebody else, or others may write to it.
    #[error("{0} is not yours alone: set {VARIABLE} to a folder of your own with mode 0700")]
    Shared(String),
    /// It cannot be made or looked at.
    #[error("{0} cannot be used ({1})")]
    Unusable(String, io::Error),
}

/// The folder for sockets: `handspan` in the user's runtime folder, as the XDG Base Directory Specification has it, or
/// where there is no such folder, one in the user's state folder; on Windows in the user's folder for local data, which
/// the system closes to others. It may not be there yet.
///
/// # Errors
/// There is none, or the runtime folder is not the user's alone.
pub fn folder() -> Result<PathBuf, FolderError> {
    #[cfg(unix)]
    if let Some(runtime) = rights::runtime_folder()? {
        return Ok(runtime.join("handspan"));
    }
    let base = etcetera::choose_base_strategy().map_err(|_| FolderError::None)?;
    let own = if cfg!(windows) { base.cache_dir() } else { base.state_dir().unwrap_or_else(|| base.data_dir()) };
    Ok(own.join("handspan").join("run"))
}

#[cfg(unix)]
mod rights {
    //! Whose a folder is, and who else may use it.

    use std::env;
    use std::fs::{self, DirBuilder, Metadata, OpenOptions, Permissions};
    use std::io;
    use std::os::unix::fs::{DirBuilderExt, MetadataExt, OpenOptionsExt, PermissionsExt};
    use std::path::{Path, PathBuf};

    use super::FolderError;

    /// The user's runtime folder, where there is one.
    pub fn runtime_folder() -> Result<Option<PathBuf>, FolderError> {
        // The specification: a path that is not absolute counts as none.
        let base = env::var_os("XDG_RUNTIME_DIR").map(PathBuf::from).filter(|base| base.is_absolute());
        let Some(base) = base else { return Ok(None) };
        let unusable = |error| FolderError::Unusable(base.display().to_string(), error);
        let known = fs::metadata(&base).map_err(unusable)?;
        // Whoever may write there may put another folder in the place of ours.
        if !is_ours(&known) || known.mode() & 0o022 != 0 {
            return Err(FolderError::Shared(base.display().to_string()));
        }
        Ok(Some(base))
    }

    fn is_ours(known: &Metadata) -> bool {
        known.uid() == rustix::process::geteuid().as_raw()
    }

    /// Makes the folder, closed to all others.
    pub fn make(folder: &Path) -> io::Result<()> {
        DirBuilder::new().mode(0o700).create(folder)
    }

    /// Closes a folder of the user's own to all others.
    pub fn close(folder: &Path, known: &Metadata) -> Result<(), FolderError> {
        if !is_ours(known) {
            return Err(FolderError::Shared(folder.display().to_string()));
        }
        if known.mode() & 0o077 != 0 {
            let closed = fs::set_permissions(folder, Permissions::from_mode(0o700));
            closed.map_err(|error| FolderError::Unusable(folder.display().to_string(), error))?;
        }
        Ok(())
    }

    /// Whether it is the user's and closed to all others.
    pub fn is_closed(known: &Metadata) -> bool {
        is_ours(known) && known.mode() & 0o077 == 0
    }

    /// What a new file is opened with, for the user alone.
    pub fn private(options: &mut OpenOptions) -> &mut OpenOptions {
        options.mode(0o600)
    }
}

#[cfg(windows)]
mod rights {
    //! What lies in the user's folder for local data is the user's: the system gives it the rights of that folder.

    use std::fs::{self, Metadata, OpenOptions};
    use std::io;
    use std::path::Path;

    use super::FolderError;

    pub fn make(folder: &Path) -> io::Result<()> {
        fs::create_dir(folder)
    }

    pub fn close(_: &Path, _: &Metadata) -> Result<(), FolderError> {
        Ok(())
    }

    pub fn is_closed(_: &Metadata) -> bool {
        true
    }

    pub fn private(options: &mut OpenOptions) -> &mut OpenOptions {
        options
    }
}

/// Makes the folder if it is not there; one that is there must be the user's, and is closed to all others.
fn prepare(folder: &Path) -> Result<(), FolderError> {
    let unusable = |error| FolderError::Unusable(folder.display().to_string(), error);
    fs::create_dir_all(folder.parent().unwrap_or(folder)).map_err(unusable)?;
    match rights::make(folder) {
        Err(error) if error.kind() != io::ErrorKind::AlreadyExists => return Err(unusable(error)),
        _ => {}
    }
    // A link would lead to a folder that somebody else chose.
    let known = fs::symlink_metadata(folder).map_err(unusable)?;
    if !known.is_dir() {
        return Err(FolderError::Shared(folder.display().to_string()));
    }
    rights::close(folder, &known)
}

/// Whether a folder may be trusted to hold the user's own sockets.
///
/// # Errors
/// It is not the user's alone.
pub(super) fn trust(folder: &Path) -> Result<(), FolderError> {
    match fs::symlink_metadata(folder) {
        Ok(known) if known.is_dir() && rights::is_closed(&known) => Ok(()),
        Ok(_) => Err(FolderError::Shared(folder.display().to_string())),
        Err(error) => Err(FolderError::Unusable(folder.display().to_string(), error)),
    }
}

/// Whether a performance may have this name: it is part of a file's name.
#[must_use]
pub fn is_name(name: &str) -> bool {
    let known = |byte: u8| byte.is_ascii_alphanumeric() || byte == b'-' || byte == b'_';
    !name.is_empty() && name.len() <= LONGEST_NAME && name.bytes().all(known)
}

pub(super) fn socket_of(folder: &Path, name: &str) -> PathBuf {
    folder.join(format!("{name}.socket"))
}

/// Why a name is not ours.
#[derive(Debug, thiserror::Error)]
pub enum NameLockError {
    /// It cannot be part of a file's name.
    #[error("\"{0}\" is no name for a performance: take up to {LONGEST_NAME} letters a to z, digits, - and _")]
    NoName(String),
    /// Another performance has it.
    #[error("a handspan named \"{0}\" is running already: end that one, or give this one another name with --name")]
    Taken(String),
    /// There is no folder for its socket.
    #[error(transparent)]
    Folder(#[from] FolderError),
}

/// The name of a performance, held by it alone as long as it lives.
#[derive(Debug)]
pub struct NameLock {
    /// The name.
    pub name: String,
    folder: PathBuf,
    /// The system lets go of the lock with the process, however that ends. The file stays: taking it away would let two
    /// hold locks on two files of one name.
    _lock: File,
}

impl NameLock {
    /// Takes a name in a folder, which is made if it is not there.
    ///
    /// # Errors
    /// Another performance has it, or the folder is not the user's alone.
    pub fn take(folder: &Path, name: &str) -> Result<NameLock, NameLockError> {
        if !is_name(name) {
            return Err(NameLockError::NoName(name.to_owned()));
        }
        prepare(folder)?;
        let path = folder.join(format!("{name}.lock"));
        let unusable = |error| FolderError::Unusable(path.display().to_string(), error);
        let mut options = OpenOptions::new();
        options.create(true).truncate(false).write(true);
        let lock = rights::private(&mut options).open(&path).map_err(unusable)?;
        for _ in 0..TRIES {
            match lock.try_lock() {
                Ok(()) => return Ok(NameLock { name: name.to_owned(), folder: folder.to_owned(), _lock: lock }),
                Err(TryLockError::WouldBlock) => thread::sleep(MOMENT),
                Err(TryLockError::Error(error)) => return Err(unusable(error).into()),
            }
        }
        Err(NameLockError::Taken(name.to_owned()))
    }

    /// Where its socket lies.
    #[must_use]
    pub fn socket(&self) -> PathBuf {
        socket_of(&self.folder, &self.name)
    }

    /// Listens at its socket, and says which key visitors must know, if any. One that a killed performance left behind is
    /// taken over.
    pub(super) fn listen(&self) -> io::Result<(Listener, Option<String>)> {
        let path = self.socket();
        match fs::remove_file(&path) {
            Err(error) if error.kind() != io::ErrorKind::NotFound => return Err(error),
            _ => {}
        }
        local::listen(&path)
    }
}

#[cfg(test)]
mod tests {
    use tempfile::TempDir;

    use super::*;

    #[cfg(unix)]
    #[test]
    fn folder_and_socket_are_for_the_user_alone() {
        use std::os::unix::fs::{MetadataExt, PermissionsExt};
        let mode = |path: &Path| fs::symlink_metadata(path).unwrap().mode() & 0o777;
        let base = TempDir::new().unwrap();
        let folder = base.path().join("deep/handspan");
        let name_lock = NameLock::take(&folder, "choir").unwrap();
        let _listener = name_lock.listen().unwrap();
        assert_eq!((mode(&folder), mode(&name_lock.socket())), (0o700, 0o600));
        assert!(trust(&folder).is_ok());
        fs::set_permissions(&folder, fs::Permissions::from_mode(0o755)).unwrap();
        assert!(matches!(trust(&folder), Err(FolderError::Shared(_))));
        let _other = NameLock::take(&folder, "other").unwrap();
        assert_eq!(mode(&folder), 0o700, "closed again");
    }

    #[cfg(unix)]
    #[test]
    fn a_link_or_a_file_in_the_place_of_the_folder_is_refused() {
        let base = TempDir::new().unwrap();
        fs::create_dir(base.path().join("elsewhere")).unwrap();
        std::os::unix::fs::symlink(base.path().join("elsewhere"), base.path().join("link")).unwrap();
        fs::write(base.path().join("file"), "").unwrap();
        for name in ["link", "file"] {
            let taken = NameLock::take(&base.path().join(name), "choir");
            assert!(matches!(taken, Err(NameLockError::Folder(FolderError::Shared(_)))), "{name}: {taken:?}");
        }
        assert_eq!(fs::read_dir(base.path().join("elsewhere")).unwrap().count(), 0);
    }

    #[test]
    fn a_name_is_held_by_one_and_free_again_after_its_end() {
        let base = TempDir::new().unwrap();
        let first = NameLock::take(base.path(), "choir").unwrap();
        let listener = first.listen().unwrap();
        let second = NameLock::take(base.path(), "choir").unwrap_err();
        assert_eq!(
            second.to_string(),
            "a handspan named \"choir\" is running already: end that one, or give this one another name with --name"
        );
        assert!(NameLock::take(base.path(), "band").is_ok());
        // As after a kill: the socket's file stays, the lock does not.
        drop((first, listener));
        let next = NameLock::take(base.path(), "choir").unwrap();
        assert!(next.socket().exists() && next.listen().is_ok());
    }

    #[test]
    fn names_are_what_a_file_may_be_called() {
        for name in ["handspan", "choir-2", "A_b", &"x".repeat(40)] {
            assert!(is_name(name), "{name}");
        }
        for name in ["", "..", "a/b", "a b", ".x", "ü", "a.b", "a\0", &"x".repeat(41)] {
            assert!(!is_name(name) && NameLock::take(Path::new("/nowhere"), name).is_err(), "{name}");
        }
    }
}
