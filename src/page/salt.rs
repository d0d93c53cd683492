//! The salt of the passcodes: random, and the same after a restart, so that a page that keeps the key it made with it comes
//! back without being asked.

use std::io;
use std::path::Path;

use base64::Engine;
use base64::prelude::BASE64_STANDARD;

use crate::daemon::persist;

/// How many bytes it has.
const LENGTH: usize = 16;

/// The longest file that is read, in bytes.
const LONGEST_FILE: u64 = 256;

/// What passcodes are salted with.
#[derive(Debug, Clone)]
pub(super) struct Salt([u8; LENGTH]);

impl Salt {
    /// The one that is kept in a file. Where there is none, a new one, which is kept for the next start if it can be.
    ///
    /// # Errors
    /// The system has no random bytes.
    pub fn kept_in(file: Option<&Path>) -> io::Result<Salt> {
        if let Some(salt) = file.and_then(read) {
            return Ok(salt);
        }
        let salt = Salt::new()?;
        if let Some(file) = file {
            let _ = persist::write(file, &salt.text());
        }
        Ok(salt)
    }

    fn new() -> io::Result<Salt> {
        let mut bytes = [0; LENGTH];
        getrandom::fill(&mut bytes).map_err(io::Error::other)?;
        Ok(Salt(bytes))
    }

    pub fn bytes(&self) -> &[u8] {
        &self.0
    }

    /// It in Base64.
    pub fn text(&self) -> String {
        BASE64_STANDARD.encode(self.0)
    }
}

fn read(file: &Path) -> Option<Salt> {
    let text: String = persist::read_kept(file, LONGEST_FILE)?;
    Some(Salt(BASE64_STANDARD.decode(text).ok()?.try_into().ok()?))
}

#[cfg(test)]
mod tests {
    use std::fs;

    use super::*;

    #[test]
    fn it_is_kept_and_otherwise_new() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("deep/salt.json");
        let first = Salt::kept_in(Some(&file)).unwrap().text();
        assert_eq!(Salt::kept_in(Some(&file)).unwrap().text(), first);
        assert_ne!(Salt::kept_in(None).unwrap().text(), first);
        // What cannot be written is another one each time, and no reason for no page.
        let nowhere = Path::new("/dev/null/salt.json");
        assert_ne!(Salt::kept_in(Some(nowhere)).unwrap().text(), Salt::kept_in(Some(nowhere)).unwrap().text());
        for text in ["", "7", "\"AAAA\"", "\"no Base64\""] {
            fs::write(&file, text).unwrap();
            assert!(read(&file).is_none(), "{text}");
        }
        assert!(read(Path::new("/dev/zero")).is_none() && read(folder.path()).is_none());
    }
}
