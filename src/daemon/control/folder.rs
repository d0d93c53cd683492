//! Where sockets lie: a folder that is the user's alone.

use std::env;
use std::fs::{self, DirBuilder, File, Metadata, OpenOptions, Permissions, TryLockError};
use std::io;
use std::os::unix::fs::{DirBuilderExt, MetadataExt, OpenOptionsExt, PermissionsExt};
use std::os::unix::net::UnixListener;
use std::path::{Path, PathBuf};

use etcetera::BaseStrategy;

/// The longest name of a performance.
const LONGEST_NAME: usize = 40;

/// So many may wait to be let in; more wait to connect. With as many as the system would have (4,096), a flood could make
/// an honest one wait longer than it has patience.
const MOST_OUTSIDE: i32 = 64;

/// Why there is no folder for sockets.
#[derive(Debug, thiserror::Error)]
pub enum FolderError {
    /// The system knows no folder of the user's own.
    #[error("this system has no folder of your own for sockets: set XDG_RUNTIME_DIR to one")]
    None,
    /// It belongs to somebody else, or others may write to it.
    #[error("{0} is not yours alone: set XDG_RUNTIME_DIR to a folder of your own with mode 0700")]
    Shared(String),
    /// It cannot be made or looked at.
    #[error("{0} cannot be used ({1})")]
    Unusable(String, io::Error),
}

/// The folder for sockets: `handspan` in the user's runtime folder, as the XDG Base Directory Specification has it, or
/// where there is no such folder, one in the user's state folder. It may not be there yet.
///
/// # Errors
/// There is none, or the runtime folder is not the user's alone.
pub fn folder() -> Result<PathBuf, FolderError> {
    // The specification: a path that is not absolute counts as none.
    if let Some(base) = env::var_os("XDG_RUNTIME_DIR").map(PathBuf::from).filter(|base| base.is_absolute()) {
        let unusable = |error| FolderError::Unusable(base.display().to_string(), error);
        let known = fs::metadata(&base).map_err(unusable)?;
        // Whoever may write there may put another folder in the place of ours.
        if !is_ours(&known) || known.mode() & 0o022 != 0 {
            return Err(FolderError::Shared(base.display().to_string()));
        }
        return Ok(base.join("handspan"));
    }
    let base = etcetera::choose_base_strategy().map_err(|_| FolderError::None)?;
    Ok(base.state_dir().unwrap_or_else(|| base.data_dir()).join("handspan").join("run"))
}

fn is_ours(known: &Metadata) -> bool {
    known.uid() == rustix::process::geteuid().as_raw()
}

/// Makes the folder if it is not there; one that is there must be the user's, and is closed to all others.
fn prepare(folder: &Path) -> Result<(), FolderError> {
    let unusable = |error| FolderError::Unusable(folder.display().to_string(), error);
    fs::create_dir_all(folder.parent().unwrap_or(folder)).map_err(unusable)?;
    match DirBuilder::new().mode(0o700).create(folder) {
        Err(error) if error.kind() != io::ErrorKind::AlreadyExists => return Err(unusable(error)),
        _ => {}
    }
    // A link would lead to a folder that somebody else chose.
    let known = fs::symlink_metadata(folder).map_err(unusable)?;
    if !known.is_dir() || !is_ours(&known) {
        return Err(FolderError::Shared(folder.display().to_string()));
    }
    if known.mode() & 0o077 != 0 {
        fs::set_permissions(folder, Permissions::from_mode(0o700)).map_err(unusable)?;
    }
    Ok(())
}

/// Whether a folder may be trusted to hold the user's own sockets.
///
/// # Errors
/// It is not the user's alone.
pub(super) fn trust(folder: &Path) -> Result<(), FolderError> {
    match fs::symlink_metadata(folder) {
        Ok(known) if known.is_dir() && is_ours(&known) && known.mode() & 0o077 == 0 => Ok(()),
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
        let lock = options.create(true).truncate(false).write(true).mode(0o600).open(&path).map_err(unusable)?;
        match lock.try_lock() {
            Ok(()) => Ok(NameLock { name: name.to_owned(), folder: folder.to_owned(), _lock: lock }),
            Err(TryLockError::WouldBlock) => Err(NameLockError::Taken(name.to_owned())),
            Err(TryLockError::Error(error)) => Err(unusable(error).into()),
        }
    }

    /// Where its socket lies.
    #[must_use]
    pub fn socket(&self) -> PathBuf {
        socket_of(&self.folder, &self.name)
    }

    /// Listens at its socket. One that a killed performance left behind is taken over.
    pub(super) fn listen(&self) -> io::Result<UnixListener> {
        let path = self.socket();
        match fs::remove_file(&path) {
            Err(error) if error.kind() != io::ErrorKind::NotFound => return Err(error),
            _ => {}
        }
        // The folder keeps others out until the socket itself does.
        let listener = UnixListener::bind(&path)?;
        rustix::net::listen(&listener, MOST_OUTSIDE)?;
        fs::set_permissions(&path, Permissions::from_mode(0o600))?;
        Ok(listener)
    }
}

#[cfg(test)]
mod tests {
    use tempfile::TempDir;

    use super::*;

    fn mode(path: &Path) -> u32 {
        fs::symlink_metadata(path).unwrap().mode() & 0o777
    }

    #[test]
    fn folder_and_socket_are_for_the_user_alone() {
        let base = TempDir::new().unwrap();
        let folder = base.path().join("deep/handspan");
        let name_lock = NameLock::take(&folder, "choir").unwrap();
        let _listener = name_lock.listen().unwrap();
        assert_eq!((mode(&folder), mode(&name_lock.socket())), (0o700, 0o600));
        assert!(trust(&folder).is_ok());
        fs::set_permissions(&folder, Permissions::from_mode(0o755)).unwrap();
        assert!(matches!(trust(&folder), Err(FolderError::Shared(_))));
        let _other = NameLock::take(&folder, "other").unwrap();
        assert_eq!(mode(&folder), 0o700, "closed again");
    }

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
