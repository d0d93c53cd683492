//! Devices that were let in with the controlling passcode. Each got a token that nobody else knows, so that guesses of
//! others never hold it up, after a restart and at another address neither. A token opens nothing by itself.
//!
//! Only the SHA-256 of a token is kept, in a file for the user alone.

use std::collections::VecDeque;
use std::io;
use std::net::IpAddr;
use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};
use sha2::{Digest, Sha256};

use crate::daemon::persist;

/// The most devices that are remembered; the one that was here longest ago is forgotten first.
pub(super) const MOST: usize = 256;

/// The longest file that is read, in bytes.
const LONGEST_FILE: u64 = 256 << 10;

/// A device as it is kept.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
struct Device {
    /// The SHA-256 of its token.
    hash: String,
    /// Where it was last.
    at: IpAddr,
}

/// The devices that are known.
#[derive(Debug, Clone, Default)]
pub(super) struct Devices {
    file: Option<PathBuf>,
    known: VecDeque<Device>,
}

impl Devices {
    /// Those that were kept in a file; a file that cannot be read counts as none.
    pub fn read(file: Option<&Path>) -> Devices {
        let kept = file.and_then(|file| persist::read_kept(file, LONGEST_FILE));
        let mut known: VecDeque<Device> = kept.unwrap_or_default();
        known.truncate(MOST);
        Devices { file: file.map(Path::to_owned), known }
    }

    /// The hash of a token, if it is one of a device that is known.
    pub fn find(&self, token: Option<&str>) -> Option<String> {
        let hash = hash(token?);
        self.known.iter().any(|device| device.hash == hash).then_some(hash)
    }

    /// A device was let in from `at`: one that is known by its hash, or a new one, whose token is returned.
    pub fn admit(&mut self, known: Option<&str>, at: IpAddr) -> Option<String> {
        let place = self.known.iter().position(|device| known == Some(device.hash.as_str()));
        if let Some(mut device) = place.and_then(|place| self.known.remove(place)) {
            device.at = at;
            self.known.push_back(device);
            return None;
        }
        let token = new_token()?;
        if self.known.len() >= MOST {
            self.known.pop_front();
        }
        self.known.push_back(Device { hash: hash(&token), at });
        Some(token)
    }

    /// Where they were last.
    pub fn addresses(&self) -> impl Iterator<Item = IpAddr> {
        self.known.iter().map(|device| device.at)
    }

    /// Keeps them for the next start, where there is a file for them.
    pub fn keep(&self) -> io::Result<()> {
        self.file.as_deref().map_or(Ok(()), |file| persist::write(file, &self.known))
    }
}

/// 256 random bits of the system as text.
fn new_token() -> Option<String> {
    let mut bytes = [0; 32];
    getrandom::fill(&mut bytes).ok()?;
    Some(hex(&bytes))
}

/// The hash of a token.
pub(super) fn hash(token: &str) -> String {
    hex(&Sha256::digest(token.as_bytes()))
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}

#[cfg(test)]
mod tests {
    use std::fs;

    use super::*;

    fn at(last: u8) -> IpAddr {
        IpAddr::from([192, 0, 2, last])
    }

    #[test]
    fn a_device_is_known_again_by_its_token_alone() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("deep/devices.json");
        let mut devices = Devices::read(Some(&file));
        let token = devices.admit(None, at(1)).unwrap();
        devices.keep().unwrap();
        assert!(!fs::read_to_string(&file).unwrap().contains(&token), "only its hash is kept");
        let mut again = Devices::read(Some(&file));
        let found = again.find(Some(&token));
        assert!(found.is_some() && again.find(Some("0")).is_none() && again.find(None).is_none());
        assert_eq!(again.admit(found.as_deref(), at(9)), None, "it has its token");
        assert_eq!(again.addresses().collect::<Vec<_>>(), [at(9)]);
        #[cfg(unix)]
        {
            use std::os::unix::fs::PermissionsExt;
            assert_eq!(fs::metadata(&file).unwrap().permissions().mode() & 0o777, 0o600);
        }
    }

    #[test]
    fn tokens_differ_and_the_oldest_device_is_forgotten() {
        let mut devices = Devices::default();
        let first = devices.admit(None, at(1)).unwrap();
        let tokens: std::collections::BTreeSet<String> = (0..MOST).filter_map(|_| devices.admit(None, at(2))).collect();
        assert_eq!((tokens.len(), devices.known.len()), (MOST, MOST));
        assert!(devices.find(Some(&first)).is_none());
    }

    #[test]
    fn a_file_that_is_none_of_ours_counts_as_none() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("devices.json");
        for text in ["", "{}", "[{\"hash\": 7}]"] {
            fs::write(&file, text).unwrap();
            assert!(Devices::read(Some(&file)).known.is_empty(), "{text}");
        }
        assert!(Devices::read(Some(folder.path())).known.is_empty());
        assert!(Devices::read(Some(Path::new("/dev/zero"))).known.is_empty());
    }
}
