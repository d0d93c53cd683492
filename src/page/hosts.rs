//! By which names this stand may be called. A page on the internet whose name suddenly leads to this machine says its own
//! name, and is not heard.

use std::net::SocketAddr;

/// The names of this machine.
#[derive(Debug, Clone)]
pub(super) struct Hosts {
    names: Vec<String>,
}

impl Hosts {
    /// Those of the system.
    pub fn of_system() -> Hosts {
        Hosts::of(machine().as_deref())
    }

    fn of(machine: Option<&str>) -> Hosts {
        let mut names = vec!["localhost".to_owned(), "127.0.0.1".to_owned(), "[::1]".to_owned()];
        if let Some(machine) = machine.map(str::to_ascii_lowercase).filter(|name| is_name(name)) {
            let short = machine.split('.').next().unwrap_or_default().to_owned();
            names.extend([format!("{short}.local"), short, machine]);
        }
        Hosts { names }
    }

    /// The machine's name in its own network, as far as it has one.
    pub fn local_name(&self) -> Option<&str> {
        self.names.iter().map(String::as_str).find(|name| name.ends_with(".local"))
    }

    /// Whether a request that came in at `at` may call it so.
    pub fn knows(&self, host: &str, at: SocketAddr) -> bool {
        let host = host.to_ascii_lowercase();
        let (name, port) = match host.rsplit_once(':') {
            // The colons of a newer address stand in brackets.
            Some((name, port)) if !port.contains(']') => (name, port),
            _ => (host.as_str(), "80"),
        };
        let own = match at.ip().to_canonical() {
            std::net::IpAddr::V4(address) => address.to_string(),
            std::net::IpAddr::V6(address) => format!("[{address}]"),
        };
        port == at.port().to_string() && (name == own || self.names.iter().any(|known| known == name))
    }
}

fn is_name(name: &str) -> bool {
    let is_letter = |letter: char| letter.is_ascii_alphanumeric() || "-_.".contains(letter);
    !name.is_empty() && !name.starts_with('.') && name.chars().all(is_letter)
}

#[cfg(unix)]
fn machine() -> Option<String> {
    rustix::system::uname().nodename().to_str().ok().map(str::to_owned)
}

#[cfg(not(unix))]
fn machine() -> Option<String> {
    std::env::var("COMPUTERNAME").ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_names_of_this_machine_at_this_port_are_known() {
        let hosts = Hosts::of(Some("Stage-Laptop.home"));
        let at: SocketAddr = "192.0.2.7:7340".parse().unwrap();
        for host in [
            "localhost:7340",
            "LOCALHOST:7340",
            "127.0.0.1:7340",
            "[::1]:7340",
            "192.0.2.7:7340",
            "stage-laptop:7340",
            "stage-laptop.local:7340",
            "Stage-Laptop.home:7340",
        ] {
            assert!(hosts.knows(host, at), "{host}");
        }
        for host in [
            "",
            ":7340",
            "localhost",
            "localhost:80",
            "localhost:07340",
            "localhost.:7340",
            "192.0.2.8:7340",
            "choir.example:7340",
            "localhost.choir.example:7340",
            "stage-laptop.local.choir.example:7340",
            "192.0.2.7.choir.example:7340",
            "stage-laptop.example:7340",
            "localhost:7340:7340",
            "user@localhost:7340",
            "localhost:7340/",
            " localhost:7340",
            "[::1]",
        ] {
            assert!(!hosts.knows(host, at), "{host}");
        }
        assert!(hosts.knows("localhost", "127.0.0.1:80".parse().unwrap()));
        assert!(hosts.knows("[2001:db8::7]:7340", "[2001:db8::7]:7340".parse().unwrap()));
        assert!(hosts.knows("192.0.2.7:7340", "[::ffff:192.0.2.7]:7340".parse().unwrap()));
        assert!(!Hosts::of(Some("a b")).knows("a b:7340", at));
    }
}
