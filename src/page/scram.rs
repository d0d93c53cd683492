//! SCRAM-SHA-256 (RFC 5802, RFC 7677): a page proves that it knows a passcode, and the program that it knows it too,
//! without sending it. `docs/stand.md` says where this differs from the RFC.
//!
//! Pure calculation: whoever uses it brings salt and nonces.

use std::fmt;

use base64::Engine;
use base64::prelude::BASE64_STANDARD;
use hmac::{Hmac, Mac};
use sha2::{Digest, Sha256};
use subtle::ConstantTimeEq;

/// How often PBKDF2 goes round: as many as a slow tablet calculates in less than a second (DEVELOPERS.md, "Measured").
pub(super) const ROUNDS: u32 = 20_000;

/// SCRAM names users, the stand has none.
const USER: &str = "stand";

/// A block of SHA-256, in bytes: HMAC fills shorter keys up with zeros (RFC 2104, section 2).
const BLOCK: usize = 64;

/// A key, a signature or a proof.
pub(super) type Hash = [u8; 32];

/// What the program keeps of a passcode: StoredKey and ServerKey.
#[derive(Clone, PartialEq, Eq)]
pub(super) struct PasscodeKeys {
    stored: Hash,
    server: Hash,
}

/// What the program says first on a connection.
#[derive(Debug, Clone)]
pub(super) struct Challenge {
    /// Base64 of random bytes that no other connection gets.
    pub nonce: String,
    /// Base64 of the salt.
    pub salt: String,
    pub rounds: u32,
}

impl fmt::Debug for PasscodeKeys {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("PasscodeKeys")
    }
}

impl PasscodeKeys {
    /// Derives them. This takes a while.
    pub fn of(passcode: &str, salt: &[u8], rounds: u32) -> PasscodeKeys {
        let salted = pbkdf2::pbkdf2_hmac_array::<Sha256, 32>(passcode.as_bytes(), salt, rounds);
        let client = keyed(&salted, b"Client Key");
        PasscodeKeys { stored: Sha256::digest(client).into(), server: keyed(&salted, b"Server Key") }
    }

    /// Whether whoever signed this with `proof` knows the passcode; compared in a time that says nothing.
    pub fn fit(&self, proof: &Hash, signed: &str) -> bool {
        let mut client = keyed(&self.stored, signed.as_bytes());
        client.iter_mut().zip(proof).for_each(|(mask, proof)| *mask ^= proof);
        Sha256::digest(client).ct_eq(&self.stored).into()
    }

    /// What proves to the page that the program knows the passcode.
    pub fn signature(&self, signed: &str) -> String {
        BASE64_STANDARD.encode(keyed(&self.server, signed.as_bytes()))
    }
}

impl Challenge {
    /// What both sides sign where the page says this nonce.
    pub fn signed(&self, page_nonce: &str) -> String {
        signed(USER, page_nonce, self)
    }
}

/// AuthMessage (RFC 5802, section 3): the first message of the client without its head, the first of the server, the last of
/// the client without its proof.
fn signed(user: &str, page_nonce: &str, challenge: &Challenge) -> String {
    let Challenge { nonce, salt, rounds } = challenge;
    format!("n={user},r={page_nonce},r={page_nonce}{nonce},s={salt},i={rounds},c=biws,r={page_nonce}{nonce}")
}

fn keyed(key: &Hash, text: &[u8]) -> Hash {
    let mut block = [0; BLOCK];
    block.iter_mut().zip(key).for_each(|(to, from)| *to = *from);
    let mut mac = <Hmac<Sha256> as Mac>::new(&block.into());
    mac.update(text);
    mac.finalize().into_bytes().into()
}

/// What a page says that knows a passcode.
#[cfg(test)]
pub(super) fn proof(passcode: &str, salt: &[u8], rounds: u32, signed: &str) -> Hash {
    let salted = pbkdf2::pbkdf2_hmac_array::<Sha256, 32>(passcode.as_bytes(), salt, rounds);
    let mut client = keyed(&salted, b"Client Key");
    let mask = keyed(&PasscodeKeys::of(passcode, salt, rounds).stored, signed.as_bytes());
    client.iter_mut().zip(mask).for_each(|(client, mask)| *client ^= mask);
    client
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The worked example of RFC 7677, section 3: user `user`, password `pencil`.
    fn example() -> (PasscodeKeys, String) {
        let challenge = Challenge {
            nonce: "%hvYDpWUa2RaTCAfuxFIlj)hNlF$k0".into(),
            salt: "W22ZaJ0SNY7soEsUEjb6gQ==".into(),
            rounds: 4096,
        };
        let salt = BASE64_STANDARD.decode(&challenge.salt).unwrap();
        (PasscodeKeys::of("pencil", &salt, challenge.rounds), signed("user", "rOprNGfwEbeRWgbNEkqO", &challenge))
    }

    const EXAMPLE_PROOF: &str = "dHzbZapWIk4jUhN+Ute9ytag9zjfMHgsqmmiz7AndVQ=";

    #[test]
    fn the_example_of_rfc_7677() {
        let (keys, signed) = example();
        let proof: Hash = BASE64_STANDARD.decode(EXAMPLE_PROOF).unwrap().try_into().unwrap();
        assert!(keys.fit(&proof, &signed));
        let salt = BASE64_STANDARD.decode("W22ZaJ0SNY7soEsUEjb6gQ==").unwrap();
        assert_eq!(super::proof("pencil", &salt, 4096, &signed), proof);
        assert_eq!(keys.signature(&signed), "6rriTRBi23WpRR/wtup+mMhUZUn/dB5nLTJRsjl95G4=");
    }

    #[test]
    fn one_bit_of_the_proof_or_another_text_and_nothing_fits() {
        let (keys, signed) = example();
        let proof: Hash = BASE64_STANDARD.decode(EXAMPLE_PROOF).unwrap().try_into().unwrap();
        for bit in 0..256 {
            let mut other = proof;
            other[bit / 8] ^= 1 << (bit % 8);
            assert!(!keys.fit(&other, &signed), "{bit}");
        }
        assert!(!keys.fit(&proof, &signed.replace("hvYD", "hvYE")));
        let salt = BASE64_STANDARD.decode("W22ZaJ0SNY7soEsUEjb6gQ==").unwrap();
        for other in [
            PasscodeKeys::of("Pencil", &salt, 4096),
            PasscodeKeys::of("pencil", &salt, 4097),
            PasscodeKeys::of("pencil", b"", 4096),
        ] {
            assert!(!other.fit(&proof, &signed) && other != keys);
        }
    }

    /// RFC 7914, section 11.
    #[test]
    fn the_vectors_of_pbkdf2_hmac_sha_256() {
        for (password, salt, rounds, wanted) in [
            (
                "passwd",
                "salt",
                1,
                "55ac046e56e3089fec1691c22544b605f94185216dde0465e68b9d57c20dacbc\
                 49ca9cccf179b645991664b39d77ef317c71b845b1e30bd509112041d3a19783",
            ),
            (
                "Password",
                "NaCl",
                80_000,
                "4ddcd8f60b98be21830cee5ef22701f9641a4418d04c0414aeff08876b34ab56\
                 a1d425a1225833549adb841b51c9b3176a272bdebba1d078478f62b397f33c8d",
            ),
        ] {
            let derived = pbkdf2::pbkdf2_hmac_array::<Sha256, 64>(password.as_bytes(), salt.as_bytes(), rounds);
            let hex: String = derived.iter().map(|byte| format!("{byte:02x}")).collect();
            assert_eq!(hex, wanted, "{password}");
        }
    }

    #[test]
    fn keys_show_nothing_of_themselves() {
        assert_eq!(format!("{:?}", example().0), "PasscodeKeys");
    }
}
