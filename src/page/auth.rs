//! Who may come in, and what for. Wrong passcodes are slowed down, of each address and in all.

use std::collections::VecDeque;
use std::net::IpAddr;
use std::sync::{Mutex, PoisonError};
use std::time::{Duration, Instant};

use serde::Serialize;
use subtle::{ConstantTimeEq, ConstantTimeGreater};

use super::limits::{self, network};
use super::messages::LONGEST;
use crate::daemon::token_bucket::TokenBucket;
use crate::map::Stand;
use crate::wording::page::{PASSCODE_WANTED, PASSCODE_WRONG, TOO_MANY_PASSCODES};

/// So many wrong ones of all addresses together make strangers wait too: somebody with many addresses gains nothing.
const FREE_IN_ALL: u32 = 8;

/// An address that has been good for so long begins again.
const FORGOTTEN: Duration = Duration::from_secs(600);

/// The most addresses that are remembered, bad and good.
const MOST: usize = 256;

/// What somebody may do.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub(super) enum Rights {
    /// Everything.
    Control,
    /// See and hear.
    View,
}

/// Somebody is not let in.
#[derive(Debug, PartialEq, Eq)]
pub(super) struct Refused {
    pub words: &'static str,
    /// How long until it may be tried again.
    pub wait: Duration,
    /// Whether a wrong passcode was said.
    pub wrong: bool,
    /// Whether a passcode would help.
    pub passcode: bool,
}

/// The auth.
#[derive(Debug)]
pub(super) struct Auth {
    moving: Option<String>,
    viewing: Option<String>,
    attempts: Mutex<Attempts>,
}

#[derive(Debug, Default)]
struct Attempts {
    /// Those who said something wrong, the latest last.
    bad: VecDeque<(IpAddr, Slowed)>,
    /// Those who were let in by a passcode: they do not wait for what strangers do.
    good: VecDeque<IpAddr>,
    all: Slowed,
}

#[derive(Debug, Clone, Copy, Default)]
struct Slowed {
    wrong: u32,
    /// When the last wrong one came.
    last: Option<Instant>,
    /// Says when the next may come; none where it need not wait.
    pace: Option<TokenBucket>,
}

impl Slowed {
    /// One more, where so many are free.
    fn add(&mut self, free: u32, now: Instant) {
        if self.last.is_some_and(|last| now.duration_since(last) >= FORGOTTEN) {
            *self = Slowed::default();
        }
        self.wrong = self.wrong.saturating_add(1);
        self.last = Some(now);
        self.pace = self.wrong.checked_sub(free).filter(|many| *many > 0).map(|many| {
            let mut pace = TokenBucket::new(limits::passcodes(many));
            pace.take(now);
            pace
        });
    }

    /// How long it is until another may come.
    fn wait(&self, now: Instant) -> Duration {
        self.pace.map_or(Duration::ZERO, |pace| pace.wait(now))
    }
}

impl Auth {
    pub fn new(stand: &Stand) -> Auth {
        Auth {
            moving: stand.passcode.clone(),
            viewing: stand.viewing_passcode.clone(),
            attempts: Mutex::new(Attempts::default()),
        }
    }

    /// Lets somebody in or not.
    pub fn admit(&self, peer: IpAddr, passcode: Option<&str>, now: Instant) -> Result<Rights, Refused> {
        let Some(moving) = &self.moving else { return Ok(Rights::Control) };
        let Some(said) = passcode else {
            let words = PASSCODE_WANTED;
            return Err(Refused { words, wait: Duration::ZERO, wrong: false, passcode: true });
        };
        let peer = network(peer);
        let mut attempts = self.attempts.lock().unwrap_or_else(PoisonError::into_inner);
        let wait = attempts.wait(peer, now);
        if !wait.is_zero() {
            // Right or wrong: who guesses must not learn it sooner.
            return Err(Refused { words: TOO_MANY_PASSCODES, wait, wrong: false, passcode: true });
        }
        // Both are compared, whatever the first says.
        let (moves, looks) =
            (is_same(moving, said), self.viewing.as_ref().is_some_and(|viewing| is_same(viewing, said)));
        if moves || looks {
            attempts.good(peer);
            return Ok(if moves { Rights::Control } else { Rights::View });
        }
        attempts.bad(peer, now);
        Err(Refused { words: PASSCODE_WRONG, wait: attempts.wait(peer, now), wrong: true, passcode: true })
    }
}

impl Attempts {
    fn wait(&self, peer: IpAddr, now: Instant) -> Duration {
        let own = self.bad.iter().find(|(known, _)| *known == peer).map_or(Duration::ZERO, |(_, own)| own.wait(now));
        if self.good.contains(&peer) { own } else { own.max(self.all.wait(now)) }
    }

    fn good(&mut self, peer: IpAddr) {
        self.bad.retain(|(known, _)| *known != peer);
        self.good.retain(|known| *known != peer);
        if self.good.len() >= MOST {
            self.good.pop_front();
        }
        self.good.push_back(peer);
    }

    fn bad(&mut self, peer: IpAddr, now: Instant) {
        self.all.add(FREE_IN_ALL, now);
        let known = self.bad.iter().position(|(known, _)| *known == peer);
        let mut slowed =
            known.and_then(|place| self.bad.remove(place)).map_or_else(Slowed::default, |(_, slowed)| slowed);
        slowed.add(0, now);
        if self.bad.len() >= MOST {
            self.bad.pop_front();
        }
        self.bad.push_back((peer, slowed));
    }
}

/// Compares in a time that says nothing of what is right, its length neither.
fn is_same(right: &str, said: &str) -> bool {
    let padded = |text: &str| {
        let mut padded = [0; LONGEST];
        padded.iter_mut().zip(text.bytes()).for_each(|(to, from)| *to = from);
        padded
    };
    let length = |text: &str| text.len() as u64;
    let fits = !length(right).ct_gt(&(LONGEST as u64));
    (padded(right).ct_eq(&padded(said)) & length(right).ct_eq(&length(said)) & fits).into()
}

#[cfg(test)]
mod tests {
    use super::limits::LONGEST_WAIT;
    use super::*;

    const S: fn(u64) -> Duration = Duration::from_secs;

    fn auth(moving: Option<&str>, viewing: Option<&str>) -> Auth {
        Auth::new(&Stand {
            listen: None,
            asked: false,
            passcode: moving.map(str::to_owned),
            viewing_passcode: viewing.map(str::to_owned),
            input: None,
        })
    }

    fn peer(last: u8) -> IpAddr {
        IpAddr::from([192, 0, 2, last])
    }

    #[test]
    fn a_passcode_says_what_somebody_may() {
        let now = Instant::now();
        let closed = auth(Some("lantern"), Some("snow"));
        assert_eq!(closed.admit(peer(1), Some("lantern"), now), Ok(Rights::Control));
        assert_eq!(closed.admit(peer(1), Some("snow"), now), Ok(Rights::View));
        let nothing = closed.admit(peer(1), None, now).unwrap_err();
        assert_eq!((nothing.wait, nothing.wrong), (S(0), false));
        for (number, wrong) in ["", "lanter", "lanterns", "Lantern", "lantern\0", "\0"].into_iter().enumerate() {
            let refused = closed.admit(peer(10 + number as u8), Some(wrong), now).unwrap_err();
            assert!(refused.wrong && refused.wait == S(1), "{wrong:?}");
        }
        assert_eq!(auth(None, None).admit(peer(1), None, now), Ok(Rights::Control));
        assert_eq!(auth(None, None).admit(peer(1), Some("x"), now), Ok(Rights::Control));
        assert!(auth(Some("lantern"), None).admit(peer(1), Some(""), now).is_err());
    }

    #[test]
    fn wrong_ones_wait_longer_and_longer_and_right_ones_too_until_then() {
        let auth = auth(Some("lantern"), None);
        let mut now = Instant::now();
        for wait in [1, 2, 4, 8, 16, 30, 30] {
            assert_eq!(auth.admit(peer(1), Some("no"), now).unwrap_err().wait, S(wait));
            now += S(wait) - Duration::from_millis(1);
            let early = auth.admit(peer(1), Some("lantern"), now).unwrap_err();
            assert_eq!((early.wait, early.wrong), (Duration::from_millis(1), false));
            now += Duration::from_millis(1);
        }
        assert_eq!(auth.admit(peer(1), Some("lantern"), now), Ok(Rights::Control));
        assert_eq!(auth.admit(peer(1), Some("no"), now).unwrap_err().wait, S(1), "begun again");
        now += FORGOTTEN;
        assert_eq!(auth.admit(peer(1), Some("no"), now).unwrap_err().wait, S(1), "forgotten");
    }

    #[test]
    fn many_addresses_gain_nothing_and_hold_no_known_tablet_up() {
        let auth = auth(Some("lantern"), None);
        let now = Instant::now();
        assert_eq!(auth.admit(peer(1), Some("lantern"), now), Ok(Rights::Control));
        let mut tried = 0;
        for number in 0..100_000_u32 {
            let stranger = IpAddr::from(number.to_be_bytes());
            tried += u32::from(auth.admit(stranger, Some("no"), now).unwrap_err().wrong);
        }
        assert_eq!(tried, FREE_IN_ALL + 1);
        assert_eq!(auth.admit(peer(1), Some("lantern"), now), Ok(Rights::Control));
        let later = now + S(1);
        assert!(auth.admit(peer(200), Some("no"), later).unwrap_err().wrong);
        assert!(auth.admit(peer(201), Some("lantern"), later + S(1)).is_err());
        // One machine has as many of the newer addresses as it likes.
        let newer = |last: u16| IpAddr::from([0x2001, 0xdb8, 0, 7, 0, 0, 0, last]);
        let late = later + S(60);
        assert!(auth.admit(newer(1), Some("no"), late).unwrap_err().wrong);
        assert!(!auth.admit(newer(2), Some("no"), late).unwrap_err().wrong);
    }

    #[test]
    fn what_is_remembered_has_an_end() {
        let auth = auth(Some("lantern"), None);
        let mut now = Instant::now();
        for number in 0..2_000_u32 {
            now += LONGEST_WAIT;
            let _ = auth.admit(IpAddr::from(number.to_be_bytes()), Some("no"), now);
            let _ = auth.admit(IpAddr::from((number | 1 << 31).to_be_bytes()), Some("lantern"), now + LONGEST_WAIT);
        }
        let attempts = auth.attempts.lock().unwrap();
        assert_eq!((attempts.bad.len(), attempts.good.len()), (MOST, MOST));
    }
}
