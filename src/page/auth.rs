//! Who may come in, and what for. Wrong passcodes are slowed down, of each device or address and of all strangers.

use std::collections::VecDeque;
use std::net::IpAddr;
use std::sync::{Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

use base64::Engine;
use base64::prelude::BASE64_STANDARD;
use serde::Serialize;

use super::devices::Devices;
use super::limits::{self, network};
use super::salt::Salt;
use super::scram::{Challenge, Hash, PasscodeKeys, ROUNDS};
use crate::daemon::token_bucket::TokenBucket;
use crate::map::Stand;
use crate::wording::page::{PASSCODE_WANTED, PASSCODE_WRONG, TOO_MANY_PASSCODES};

/// So many wrong ones of all addresses together make strangers wait too: somebody with many addresses gains nothing.
const FREE_IN_ALL: u32 = 8;

/// An address that has been good for so long begins again.
const FORGOTTEN: Duration = Duration::from_secs(600);

/// The most of those who said something wrong that are remembered.
const MOST: usize = 256;

/// How many random bytes tell a connection from all others.
const NONCE: usize = 24;

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

/// What somebody says who wants to come in.
#[derive(Debug, Clone, Copy)]
pub(super) struct Caller<'a> {
    pub at: IpAddr,
    /// That it knows a passcode.
    pub proof: Option<Proof<'a>>,
    /// The token that an earlier admission gave it.
    pub device: Option<&'a str>,
}

/// What proves that somebody knows a passcode.
#[derive(Debug, Clone, Copy)]
pub(super) struct Proof<'a> {
    pub is: &'a Hash,
    /// What was signed with it, for one connection alone.
    pub signed: &'a str,
}

/// Somebody is let in.
#[derive(Debug, PartialEq, Eq)]
pub(super) struct Admitted {
    pub rights: Rights,
    /// The token of a device that had none.
    pub device: Option<String>,
    /// That the program knows the passcode too.
    pub signature: Option<String>,
    /// It knows a controlling passcode.
    pub proven: bool,
}

/// Who may come in.
#[derive(Debug)]
pub(super) struct Auth {
    /// Whether it listens to more than this machine.
    in_network: bool,
    salt: Salt,
    state: Mutex<State>,
    /// Held by whoever writes the devices' file.
    keeping: Mutex<()>,
}

#[derive(Debug, Default)]
struct State {
    passcodes: Passcodes,
    keys: KeysOfBoth,
    attempts: Attempts,
    devices: Devices,
}

#[derive(Debug, Default, PartialEq, Eq)]
struct Passcodes {
    control: Option<String>,
    view: Option<String>,
}

impl Passcodes {
    fn of(stand: &Stand) -> Passcodes {
        Passcodes { control: stand.passcode.clone(), view: stand.viewing_passcode.clone() }
    }
}

/// What was derived of the passcodes.
#[derive(Debug, Default)]
struct KeysOfBoth {
    control: Option<PasscodeKeys>,
    view: Option<PasscodeKeys>,
}

impl KeysOfBoth {
    fn of(passcodes: &Passcodes, salt: &Salt) -> KeysOfBoth {
        let keys = |passcode: &Option<String>| Some(PasscodeKeys::of(passcode.as_deref()?, salt.bytes(), ROUNDS));
        KeysOfBoth { control: keys(&passcodes.control), view: keys(&passcodes.view) }
    }
}

/// Whose wrong passcodes are counted together.
#[derive(Debug, Clone, PartialEq, Eq)]
enum Who {
    /// A device that was let in before: the hash of its token.
    Device(String),
    /// Whoever else is in this network.
    Stranger(IpAddr),
}

#[derive(Debug, Default)]
struct Attempts {
    /// Those who said something wrong, the latest last.
    bad: VecDeque<(Who, Slowed)>,
    /// All strangers together.
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
    /// Who may come in at `stand`; `devices` are those of earlier runs. Deriving keys takes a while.
    pub fn new(stand: &Stand, devices: Devices, salt: Salt) -> Auth {
        let passcodes = Passcodes::of(stand);
        let keys = KeysOfBoth::of(&passcodes, &salt);
        let state = State { passcodes, keys, devices, attempts: Attempts::default() };
        Auth { in_network: stand.is_in_network(), salt, state: Mutex::new(state), keeping: Mutex::new(()) }
    }

    /// What a new connection is asked; none where the system has no random bytes.
    pub fn challenge(&self) -> Option<Challenge> {
        let mut nonce = [0; NONCE];
        getrandom::fill(&mut nonce).ok()?;
        Some(Challenge { nonce: BASE64_STANDARD.encode(nonce), salt: self.salt.text(), rounds: ROUNDS })
    }

    fn state(&self) -> MutexGuard<'_, State> {
        self.state.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Lets somebody in or not.
    pub fn admit(&self, caller: &Caller<'_>, now: Instant) -> Result<Admitted, Refused> {
        let State { keys, attempts, devices, .. } = &mut *self.state();
        let Some(control) = &keys.control else {
            return Ok(Admitted { rights: Rights::Control, device: None, signature: None, proven: false });
        };
        let Some(Proof { is, signed }) = caller.proof else {
            let words = PASSCODE_WANTED;
            return Err(Refused { words, wait: Duration::ZERO, wrong: false, passcode: true });
        };
        let known = devices.find(caller.device);
        let who = known.clone().map_or_else(|| Who::Stranger(network(caller.at)), Who::Device);
        let wait = attempts.wait(&who, now);
        if !wait.is_zero() {
            // Right or wrong: who guesses must not learn it sooner.
            return Err(Refused { words: TOO_MANY_PASSCODES, wait, wrong: false, passcode: true });
        }
        // Both are compared, whatever the first says.
        let (controls, views) = (control.fit(is, signed), keys.view.as_ref().filter(|view| view.fit(is, signed)));
        if controls {
            attempts.clear(&who);
            let (device, signature) = (devices.admit(known.as_deref(), caller.at), Some(control.signature(signed)));
            return Ok(Admitted { rights: Rights::Control, device, signature, proven: true });
        }
        if let Some(view) = views {
            // It says nothing of who guesses at the other one, so it clears nothing.
            let signature = Some(view.signature(signed));
            return Ok(Admitted { rights: Rights::View, device: None, signature, proven: false });
        }
        attempts.bad(&who, now);
        Err(Refused { words: PASSCODE_WRONG, wait: attempts.wait(&who, now), wrong: true, passcode: true })
    }

    /// Whether one must know a passcode to control the set.
    pub fn asks(&self) -> bool {
        self.state().passcodes.control.is_some()
    }

    /// Takes the passcodes of a gear file that was loaded; whether they are others. In a network the last passcode holds
    /// until the next start where there is none any longer: nobody opens the set to everybody by saving a file.
    pub fn take(&self, stand: &Stand) -> bool {
        let new = Passcodes::of(stand);
        if new == self.state().passcodes || (new.control.is_none() && self.in_network) {
            return false;
        }
        // This takes a while, and nobody who comes meanwhile waits for it.
        let keys = KeysOfBoth::of(&new, &self.salt);
        let mut state = self.state();
        state.passcodes = new;
        state.keys = keys;
        true
    }

    /// Nobody waits for wrong passcodes of before.
    pub fn forget_waits(&self) {
        self.state().attempts = Attempts::default();
    }

    /// Where devices that are known were last.
    pub fn addresses(&self) -> Vec<IpAddr> {
        self.state().devices.addresses().collect()
    }

    /// Keeps the devices that are known for the next start. What cannot be written is forgotten with this run.
    pub fn keep_devices(&self) {
        // One after the other, so that the newest is what stays; the disk may be slow, and holds up nobody who comes.
        let _one = self.keeping.lock().unwrap_or_else(PoisonError::into_inner);
        let devices = self.state().devices.clone();
        let _ = devices.keep();
    }
}

impl Attempts {
    /// What others said wrong never holds up a device that is known.
    fn wait(&self, who: &Who, now: Instant) -> Duration {
        let own = self.bad.iter().find(|(known, _)| known == who).map_or(Duration::ZERO, |(_, own)| own.wait(now));
        match who {
            Who::Device(_) => own,
            Who::Stranger(_) => own.max(self.all.wait(now)),
        }
    }

    fn clear(&mut self, who: &Who) {
        self.bad.retain(|(known, _)| known != who);
    }

    fn bad(&mut self, who: &Who, now: Instant) {
        if matches!(who, Who::Stranger(_)) {
            self.all.add(FREE_IN_ALL, now);
        }
        let known = self.bad.iter().position(|(known, _)| known == who);
        let mut slowed =
            known.and_then(|place| self.bad.remove(place)).map_or_else(Slowed::default, |(_, slowed)| slowed);
        slowed.add(0, now);
        if self.bad.len() >= MOST {
            self.bad.pop_front();
        }
        self.bad.push_back((who.clone(), slowed));
    }
}

#[cfg(test)]
mod tests {
    use std::collections::HashMap;

    use super::super::scram;
    use super::limits::LONGEST_WAIT;
    use super::*;

    const S: fn(u64) -> Duration = Duration::from_secs;

    fn auth(moving: Option<&str>, viewing: Option<&str>) -> Auth {
        opened(&stand(moving, viewing))
    }

    fn opened(stand: &Stand) -> Auth {
        Auth::new(stand, Devices::default(), Salt::kept_in(None).unwrap())
    }

    fn stand(moving: Option<&str>, viewing: Option<&str>) -> Stand {
        let (passcode, viewing_passcode) = (moving.map(str::to_owned), viewing.map(str::to_owned));
        Stand { passcode, viewing_passcode, ..Stand::default() }
    }

    /// What one without a token may.
    fn admit(auth: &Auth, at: IpAddr, passcode: Option<&str>, now: Instant) -> Result<Rights, Refused> {
        comes(auth, (at, None), passcode, now).map(|admitted| admitted.rights)
    }

    /// One who knows a passcode proves it, from an address and with a token.
    fn comes(
        auth: &Auth,
        (at, device): (IpAddr, Option<&str>),
        passcode: Option<&str>,
        now: Instant,
    ) -> Result<Admitted, Refused> {
        let signed = "what was said on this connection";
        let is = passcode.map(|passcode| proof(auth, passcode, signed));
        let proof = is.as_ref().map(|is| Proof { is, signed });
        auth.admit(&Caller { at, proof, device }, now)
    }

    /// Proofs of passcodes; each is derived once for each salt.
    fn proof(auth: &Auth, passcode: &str, signed: &str) -> Hash {
        type Known = HashMap<(String, String), Hash>;
        static KNOWN: Mutex<Option<Known>> = Mutex::new(None);
        let mut known = KNOWN.lock().unwrap();
        let place = known.get_or_insert_default().entry((auth.salt.text(), passcode.to_owned()));
        *place.or_insert_with(|| scram::proof(passcode, auth.salt.bytes(), ROUNDS, signed))
    }

    fn peer(last: u8) -> IpAddr {
        IpAddr::from([192, 0, 2, last])
    }

    #[test]
    fn a_passcode_says_what_somebody_may() {
        let now = Instant::now();
        let closed = auth(Some("lantern"), Some("snow"));
        assert_eq!(admit(&closed, peer(1), Some("lantern"), now), Ok(Rights::Control));
        assert_eq!(admit(&closed, peer(1), Some("snow"), now), Ok(Rights::View));
        let nothing = admit(&closed, peer(1), None, now).unwrap_err();
        assert_eq!((nothing.wait, nothing.wrong), (S(0), false));
        for (number, wrong) in ["", "lanter", "lanterns", "Lantern", "lantern ", "\0"].into_iter().enumerate() {
            let refused = admit(&closed, peer(10 + number as u8), Some(wrong), now).unwrap_err();
            assert!(refused.wrong && refused.wait == S(1), "{wrong:?}");
        }
        // HMAC fills up with zeros (RFC 2104, section 2), so these are one; a gear file has no control characters.
        assert_eq!(admit(&closed, peer(1), Some("lantern\0"), now), Ok(Rights::Control));
        assert_eq!(admit(&auth(None, None), peer(1), None, now), Ok(Rights::Control));
        assert_eq!(admit(&auth(None, None), peer(1), Some("x"), now), Ok(Rights::Control));
        assert!(admit(&auth(Some("lantern"), None), peer(1), Some(""), now).is_err());
    }

    #[test]
    fn wrong_ones_wait_longer_and_longer_and_right_ones_too_until_then() {
        let auth = auth(Some("lantern"), None);
        let mut now = Instant::now();
        for wait in [1, 2, 4, 8, 16, 30, 30] {
            assert_eq!(admit(&auth, peer(1), Some("no"), now).unwrap_err().wait, S(wait));
            now += S(wait) - Duration::from_millis(1);
            let early = admit(&auth, peer(1), Some("lantern"), now).unwrap_err();
            assert_eq!((early.wait, early.wrong), (Duration::from_millis(1), false));
            now += Duration::from_millis(1);
        }
        assert_eq!(admit(&auth, peer(1), Some("lantern"), now), Ok(Rights::Control));
        assert_eq!(admit(&auth, peer(1), Some("no"), now).unwrap_err().wait, S(1), "begun again");
        now += FORGOTTEN;
        assert_eq!(admit(&auth, peer(1), Some("no"), now).unwrap_err().wait, S(1), "forgotten");
    }

    #[test]
    fn many_addresses_gain_nothing_and_hold_no_known_tablet_up() {
        let auth = auth(Some("lantern"), None);
        let now = Instant::now();
        let token = comes(&auth, (peer(1), None), Some("lantern"), now).unwrap().device;
        let tablet = |passcode, last, now| comes(&auth, (peer(last), token.as_deref()), Some(passcode), now);
        let mut tried = 0;
        for number in 0..100_000_u32 {
            let stranger = IpAddr::from(number.to_be_bytes());
            tried += u32::from(admit(&auth, stranger, Some("no"), now).unwrap_err().wrong);
        }
        assert_eq!(tried, FREE_IN_ALL + 1);
        // Its own mistakes count for it, wherever it is; those of others never.
        assert!(tablet("lantren", 1, now).unwrap_err().wrong);
        assert_eq!(tablet("lantern", 3, now).unwrap_err().wait, S(1));
        let let_in = tablet("lantern", 3, now + S(1)).unwrap();
        assert_eq!((let_in.rights, let_in.device, let_in.proven), (Rights::Control, None, true));
        assert!(admit(&auth, peer(1), Some("lantern"), now).is_err(), "its old address says nothing");
        let later = now + S(1);
        assert!(admit(&auth, peer(200), Some("no"), later).unwrap_err().wrong);
        assert!(admit(&auth, peer(201), Some("lantern"), later + S(1)).is_err());
        // One machine has as many of the newer addresses as it likes.
        let newer = |last: u16| IpAddr::from([0x2001, 0xdb8, 0, 7, 0, 0, 0, last]);
        let late = later + S(60);
        assert!(admit(&auth, newer(1), Some("no"), late).unwrap_err().wrong);
        assert!(!admit(&auth, newer(2), Some("no"), late).unwrap_err().wrong);
    }

    #[test]
    fn only_a_right_controlling_passcode_clears_anything() {
        let auth = auth(Some("lantern"), Some("snow"));
        let mut now = Instant::now();
        let mut tried = 0;
        // Who knows the viewing passcode says it between two guesses, from as many addresses as it likes.
        for number in 0..1_200_u32 {
            let stranger = IpAddr::from([198, 51, 100, (number % 120) as u8]);
            let _ = admit(&auth, stranger, Some("snow"), now);
            tried += u32::from(admit(&auth, stranger, Some("no"), now).is_err_and(|refused| refused.wrong));
            let _ = admit(&auth, stranger, Some("snow"), now);
            now += Duration::from_millis(17);
        }
        assert!(tried <= FREE_IN_ALL + 5, "{tried} guesses in 20 s");
    }

    #[test]
    fn a_token_opens_nothing_by_itself() {
        let auth = auth(Some("lantern"), Some("snow"));
        let now = Instant::now();
        let control = comes(&auth, (peer(1), None), Some("lantern"), now).unwrap();
        assert!(control.device.is_some());
        let viewing = comes(&auth, (peer(2), None), Some("snow"), now).unwrap();
        assert_eq!(viewing.device, None, "who views is no known device: it might guess");
        let device = control.device.as_deref();
        assert!(comes(&auth, (peer(1), device), None, now).is_err());
        assert!(comes(&auth, (peer(1), device), Some("no"), now).is_err());
    }

    #[test]
    fn new_passcodes_hold_at_once_and_a_network_keeps_its_last_one() {
        let now = Instant::now();
        let mut wide = stand(Some("lantern"), None);
        wide.listen = Some(([0, 0, 0, 0], 7340).into());
        let wide = opened(&wide);
        let here = auth(Some("lantern"), None);
        for auth in [&wide, &here] {
            assert!(!auth.take(&stand(Some("lantern"), None)) && auth.take(&stand(Some("candle"), None)));
            assert_eq!(admit(auth, peer(1), Some("candle"), now), Ok(Rights::Control));
            assert!(admit(auth, peer(2), Some("lantern"), now).is_err());
        }
        assert!(!wide.take(&stand(None, None)) && wide.asks());
        assert!(here.take(&stand(None, None)) && !here.asks());
    }

    #[test]
    fn a_proof_for_one_connection_is_none_for_another() {
        let auth = auth(Some("lantern"), None);
        let now = Instant::now();
        let (first, second) = (auth.challenge().unwrap(), auth.challenge().unwrap());
        assert!(first.nonce.len() >= 22 && first.nonce != second.nonce && first.salt == second.salt);
        let (first, second) = (first.signed("page"), second.signed("page"));
        let is = &scram::proof("lantern", auth.salt.bytes(), ROUNDS, &first);
        let says = |signed| auth.admit(&Caller { at: peer(1), proof: Some(Proof { is, signed }), device: None }, now);
        let signature = says(&first).unwrap().signature;
        assert_eq!(signature, auth.state().keys.control.as_ref().map(|keys| keys.signature(&first)));
        assert!(says(&second).unwrap_err().wrong);
    }

    #[test]
    fn waits_can_be_forgotten() {
        let auth = auth(Some("lantern"), None);
        let now = Instant::now();
        (0..20).for_each(|last| drop(admit(&auth, peer(last), Some("no"), now)));
        assert!(
            admit(&auth, peer(1), Some("lantern"), now).is_err()
                && admit(&auth, peer(99), Some("lantern"), now).is_err()
        );
        auth.forget_waits();
        assert_eq!(admit(&auth, peer(1), Some("lantern"), now), Ok(Rights::Control));
    }

    #[test]
    fn what_is_remembered_has_an_end() {
        let auth = auth(Some("lantern"), None);
        let mut now = Instant::now();
        for number in 0..2_000_u32 {
            now += LONGEST_WAIT;
            let _ = admit(&auth, IpAddr::from(number.to_be_bytes()), Some("no"), now);
            let _ = admit(&auth, IpAddr::from((number | 1 << 31).to_be_bytes()), Some("lantern"), now + LONGEST_WAIT);
        }
        let state = auth.state();
        assert_eq!((state.attempts.bad.len(), state.devices.addresses().count()), (MOST, super::super::devices::MOST));
    }
}
