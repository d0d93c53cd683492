//! Whose process is at the other end of a connection on this machine.

use std::net::SocketAddr;

/// Whether it is a process of the user who runs this one. Where the system does not say, it counts as somebody else's.
pub(super) fn is_ours(from: SocketAddr, at: SocketAddr) -> bool {
    #[cfg(target_os = "linux")]
    {
        let own = rustix::process::geteuid().as_raw();
        let table = if from.is_ipv4() { "/proc/net/tcp" } else { "/proc/net/tcp6" };
        std::fs::read_to_string(table).is_ok_and(|table| user(&table, from, at) == Some(own))
    }
    #[cfg(not(target_os = "linux"))]
    {
        let _ = (from, at);
        false
    }
}

/// The user of the socket that is bound to `from` and connected to `at`, from the kernel's table of connections.
#[cfg(target_os = "linux")]
fn user(table: &str, from: SocketAddr, at: SocketAddr) -> Option<u32> {
    let (from, at) = (written(from), written(at));
    table.lines().skip(1).find_map(|line| {
        let mut words = line.split_ascii_whitespace().skip(1);
        let is_it = words.next() == Some(&from) && words.next() == Some(&at);
        // State, queues, timer and retransmissions stand between.
        if is_it { words.nth(4)?.parse().ok() } else { None }
    })
}

/// An address as the kernel writes it: words of 32 bits in the machine's own order.
#[cfg(target_os = "linux")]
fn written(address: SocketAddr) -> String {
    let bytes = match address {
        SocketAddr::V4(address) => address.ip().octets().to_vec(),
        SocketAddr::V6(address) => address.ip().octets().to_vec(),
    };
    let words = bytes.chunks_exact(4).map(|word| {
        let word: [u8; 4] = word.try_into().unwrap_or_default();
        format!("{:08X}", u32::from_ne_bytes(word))
    });
    format!("{}:{:04X}", words.collect::<String>(), address.port())
}

#[cfg(test)]
#[cfg(target_os = "linux")]
mod tests {
    use std::net::{TcpListener, TcpStream};

    use super::*;

    #[test]
    fn a_connection_of_our_own_is_ours() {
        for here in ["127.0.0.1:0", "[::1]:0"] {
            // Not every machine has both.
            let Ok(listener) = TcpListener::bind(here) else { continue };
            let stream = TcpStream::connect(listener.local_addr().unwrap()).unwrap();
            let (from, at) = (stream.local_addr().unwrap(), stream.peer_addr().unwrap());
            assert!(is_ours(from, at), "{here}");
            assert!(!is_ours(SocketAddr::new(from.ip(), 1), at), "nobody is there");
        }
    }

    #[test]
    fn the_user_stands_in_the_table_of_the_kernel() {
        let table = "  sl  local_address rem_address   st tx_queue rx_queue tr tm->when retrnsmt   uid  timeout inode\n   \
                     0: 0100007F:1CAC 00000000:0000 0A 00000000:00000000 00:00000000 00000000     0        0 1\n   \
                     1: 0100007F:D431 0100007F:1CAC 01 00000000:00000000 00:00000000 00000000  1001        0 2\n   \
                     2: 0100007F:1CAC 0100007F:D431 01 00000000:00000000 00:00000000 00000000     0        0 3\n";
        if cfg!(target_endian = "little") {
            let at = |port| SocketAddr::from(([127, 0, 0, 1], port));
            assert_eq!(user(table, at(0xD431), at(0x1CAC)), Some(1001));
            assert_eq!(user(table, at(0x1CAC), at(0xD431)), Some(0));
            assert_eq!(user(table, at(1), at(0x1CAC)), None);
        }
    }
}
