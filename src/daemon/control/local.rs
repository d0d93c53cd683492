//! The socket as the system has it: a Unix socket, or on Windows a TCP port of this machine alone, with a key.
//!
//! On Windows the file of a socket holds its port and the key. It lies in the user's own folder, which others may not
//! read, and who does not say the key first is sent away without a word. A port that a killed performance left may be
//! another program's: it is asked only while the name's lock says that the performance lives.

#[cfg(unix)]
pub use unix::{Listener, Stream, connect, listen, pair};
#[cfg(windows)]
pub use windows::{Listener, Stream, connect, listen, pair};

#[cfg(unix)]
mod unix {
    use std::fs::{self, Permissions};
    use std::io;
    use std::os::unix::fs::PermissionsExt;
    pub use std::os::unix::net::{UnixListener as Listener, UnixStream as Stream};
    use std::path::Path;
    use std::time::Duration;

    use rustix::net::sockopt::{Timeout, set_socket_timeout};
    use rustix::net::{self, AddressFamily, SocketAddrUnix, SocketType};

    /// So many may wait to be let in; more wait to connect. With as many as the system would have (4,096), a flood could
    /// make an honest one wait longer than it has patience.
    const MOST_OUTSIDE: i32 = 64;

    /// Listens at a path where nothing is. Nobody needs a key: the file's rights keep others out.
    pub fn listen(path: &Path) -> io::Result<(Listener, Option<String>)> {
        // The folder keeps others out until the socket itself does.
        let listener = Listener::bind(path)?;
        net::listen(&listener, MOST_OUTSIDE)?;
        fs::set_permissions(path, Permissions::from_mode(0o600))?;
        Ok((listener, None))
    }

    /// Connects, and waits at most so long where others wait to be let in too.
    pub fn connect(path: &Path, patience: Duration) -> io::Result<Stream> {
        let socket = net::socket(AddressFamily::UNIX, SocketType::STREAM, None)?;
        set_socket_timeout(&socket, Timeout::Send, Some(patience))?;
        net::connect(&socket, &SocketAddrUnix::new(path)?)?;
        Ok(socket.into())
    }

    /// Two ends that are connected.
    pub fn pair() -> io::Result<(Stream, Stream)> {
        Stream::pair()
    }
}

#[cfg(windows)]
mod windows {
    use std::fs::{self, File, TryLockError};
    use std::io::{self, ErrorKind, Write};
    use std::net::{Ipv4Addr, SocketAddr};
    pub use std::net::{TcpListener as Listener, TcpStream as Stream};
    use std::path::Path;
    use std::time::Duration;

    use tempfile::NamedTempFile;

    const HERE: (Ipv4Addr, u16) = (Ipv4Addr::LOCALHOST, 0);

    /// Listens, and says at a path where nothing is at which port and with which key.
    pub fn listen(path: &Path) -> io::Result<(Listener, Option<String>)> {
        let listener = Listener::bind(HERE)?;
        let mut random = [0_u8; 32];
        getrandom::fill(&mut random).map_err(io::Error::other)?;
        let key: String = random.iter().map(|byte| format!("{byte:02x}")).collect();
        let mut file = NamedTempFile::new_in(path.parent().unwrap_or(Path::new(".")))?;
        write!(file, "{} {key}", listener.local_addr()?.port())?;
        file.persist(path).map_err(|error| error.error)?;
        Ok((listener, Some(key)))
    }

    /// Connects and says the key.
    pub fn connect(path: &Path, patience: Duration) -> io::Result<Stream> {
        let nobody = || io::Error::from(ErrorKind::ConnectionRefused);
        if !is_held(&path.with_extension("lock")) {
            return Err(nobody());
        }
        let text = fs::read_to_string(path)?;
        let (port, key) = text.split_once(' ').ok_or_else(nobody)?;
        let port = port.parse().map_err(|_| nobody())?;
        let mut stream = Stream::connect_timeout(&SocketAddr::from((HERE.0, port)), patience)?;
        stream.write_all(format!("{key}\n").as_bytes())?;
        Ok(stream)
    }

    /// Whether somebody holds the lock of a name.
    fn is_held(lock: &Path) -> bool {
        File::open(lock).is_ok_and(|lock| matches!(lock.try_lock_shared(), Err(TryLockError::WouldBlock)))
    }

    /// Two ends that are connected: of who connects meanwhile, our own.
    pub fn pair() -> io::Result<(Stream, Stream)> {
        let listener = Listener::bind(HERE)?;
        let own = Stream::connect(listener.local_addr()?)?;
        loop {
            let (other, from) = listener.accept()?;
            if from == own.local_addr()? {
                return Ok((own, other));
            }
        }
    }
}
