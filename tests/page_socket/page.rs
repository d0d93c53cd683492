//! A page, as a program that speaks to the stand's socket.

use std::collections::HashMap;
use std::net::{SocketAddr, TcpStream};
use std::sync::Mutex;
use std::time::{Duration, Instant};

use base64::Engine;
use base64::prelude::BASE64_STANDARD;
use hmac::{Hmac, Mac};
use serde_json::{Value, json};
use sha2::{Digest, Sha256};
use tungstenite::handshake::HandshakeError;
use tungstenite::http::Request;
use tungstenite::{Error, Message, WebSocket};

/// Far longer than anything here takes; only a failure waits for it.
pub const PATIENCE: Duration = Duration::from_secs(60);

pub struct Page {
    pub socket: WebSocket<TcpStream>,
    /// The program's time when the last frame that has one came, and when that was.
    clock: (f64, Instant),
    /// The last state, null before the first.
    state: Value,
    /// Its number.
    pub seen: u64,
    /// How many looked then.
    pub viewers: u64,
    /// What the program said first, and what was said to it; null before.
    pub challenge: Value,
    pub greeting: Value,
}

/// A passcode as one who knows it proves it: a second telling of RFC 5802, section 3.
pub struct Proof {
    pub response: Value,
    /// What the program has to answer.
    pub signature: String,
}

fn keyed(key: &[u8], text: &[u8]) -> Vec<u8> {
    let mut mac = Hmac::<Sha256>::new_from_slice(key).unwrap();
    mac.update(text);
    mac.finalize().into_bytes().to_vec()
}

/// Derived once for each passcode and salt, as a page keeps it.
fn salted(passcode: &str, challenge: &Value) -> Vec<u8> {
    type Known = HashMap<(String, String), Vec<u8>>;
    static KNOWN: Mutex<Option<Known>> = Mutex::new(None);
    let (salt, rounds) = (challenge["salt"].as_str().unwrap(), challenge["rounds"].as_u64().unwrap());
    let mut known = KNOWN.lock().unwrap();
    let kept = known.get_or_insert_default().entry((passcode.to_owned(), format!("{salt} {rounds}")));
    kept.or_insert_with(|| {
        let mut salted = [0; 32];
        let salt = BASE64_STANDARD.decode(salt).unwrap();
        pbkdf2::pbkdf2_hmac::<Sha256>(passcode.as_bytes(), &salt, rounds as u32, &mut salted);
        salted.to_vec()
    })
    .clone()
}

impl Proof {
    /// That one knows `passcode`, for this challenge and with this nonce.
    pub fn of(passcode: &str, challenge: &Value, nonce: &str) -> Proof {
        let salted = salted(passcode, challenge);
        let (salt, rounds) = (challenge["salt"].as_str().unwrap(), challenge["rounds"].as_u64().unwrap());
        let both = format!("{nonce}{}", challenge["nonce"].as_str().unwrap());
        let signed = format!("n=stand,r={nonce},r={both},s={salt},i={rounds},c=biws,r={both}");
        let client = keyed(&salted, b"Client Key");
        let mask = keyed(&Sha256::digest(&client), signed.as_bytes());
        let proof: Vec<u8> = client.iter().zip(mask).map(|(one, other)| one ^ other).collect();
        let signature = keyed(&keyed(&salted, b"Server Key"), signed.as_bytes());
        Proof {
            response: json!({ "nonce": nonce, "proof": BASE64_STANDARD.encode(proof) }),
            signature: BASE64_STANDARD.encode(signature),
        }
    }
}

/// A nonce, as long as a page's.
pub const NONCE: &str = "cGFnZSBub25jZSBwYWdlIG5vbmNl";

/// The request of a page that came from `origin` and calls the stand `host`: a socket, or the status that refused it, 0
/// where it was closed without one.
pub fn knock(address: SocketAddr, host: &str, origin: Option<&str>) -> Result<WebSocket<TcpStream>, u16> {
    let stream = TcpStream::connect(address).expect("somebody listens");
    stream.set_read_timeout(Some(PATIENCE)).unwrap();
    stream.set_write_timeout(Some(PATIENCE)).unwrap();
    knock_on(stream, host, origin)
}

/// A connection from another address of this machine, as from another device.
#[cfg(target_os = "linux")]
pub fn connect_from(source: std::net::Ipv4Addr, address: SocketAddr) -> TcpStream {
    use rustix::net::{AddressFamily, SocketType, bind, connect, socket};
    let socket = socket(AddressFamily::INET, SocketType::STREAM, None).unwrap();
    bind(&socket, &SocketAddr::from((source, 0))).unwrap();
    connect(&socket, &address).unwrap();
    let stream = TcpStream::from(socket);
    stream.set_read_timeout(Some(PATIENCE)).unwrap();
    stream.set_write_timeout(Some(PATIENCE)).unwrap();
    stream
}

pub fn knock_on(stream: TcpStream, host: &str, origin: Option<&str>) -> Result<WebSocket<TcpStream>, u16> {
    let mut request = Request::builder()
        .uri(format!("ws://{host}/live"))
        .header("Host", host)
        .header("Connection", "Upgrade")
        .header("Upgrade", "websocket")
        .header("Sec-WebSocket-Version", "13")
        .header("Sec-WebSocket-Key", tungstenite::handshake::client::generate_key());
    if let Some(origin) = origin {
        request = request.header("Origin", origin);
    }
    match tungstenite::client(request.body(()).unwrap(), stream) {
        Ok((socket, _)) => Ok(socket),
        Err(HandshakeError::Failure(Error::Http(response))) => Err(response.status().as_u16()),
        // Closed before an answer: there is no place.
        Err(HandshakeError::Failure(Error::Io(_) | Error::Protocol(_) | Error::ConnectionClosed)) => Err(0),
        Err(error) => panic!("{error}"),
    }
}

impl Page {
    /// A page that has said nothing yet.
    pub fn at(address: SocketAddr) -> Page {
        let host = address.to_string();
        Page::over(knock(address, &host, Some(&format!("http://{host}"))).expect("let in"))
    }

    /// A page on another device that has said nothing yet.
    #[cfg(target_os = "linux")]
    pub fn on(source: std::net::Ipv4Addr, address: SocketAddr) -> Page {
        let host = address.to_string();
        Page::over(knock_on(connect_from(source, address), &host, Some(&format!("http://{host}"))).expect("let in"))
    }

    pub fn over(socket: WebSocket<TcpStream>) -> Page {
        let (challenge, greeting) = (Value::Null, Value::Null);
        Page { socket, clock: (0.0, Instant::now()), state: Value::Null, seen: 0, viewers: 0, challenge, greeting }
    }

    /// Hears the challenge, and greets with a passcode and the token of a device; what the program has to sign with is
    /// returned. One that found no place says nothing.
    pub fn greet(&mut self, passcode: Option<&str>, device: Option<&str>) -> Option<String> {
        self.challenge = self.frame()?;
        assert_eq!(self.challenge["kind"], "challenge");
        let proof = passcode.map(|passcode| Proof::of(passcode, &self.challenge, NONCE));
        let (response, signature) = proof.map(|proof| (proof.response, proof.signature)).unzip();
        self.greeting = json!({ "hello": 2, "response": response, "device": device });
        self.say(&self.greeting.clone());
        signature
    }

    pub fn greets(address: SocketAddr, passcode: Option<&str>) -> Page {
        let mut page = Page::at(address);
        page.greet(passcode, None);
        page
    }

    pub fn admitted(address: SocketAddr, passcode: Option<&str>) -> Page {
        let mut page = Page::greets(address, passcode);
        assert_eq!(page.frame().expect("a frame")["kind"], "welcome");
        page
    }

    /// The same, as soon as there is a place: those before may not quite have gone.
    pub fn waits(address: SocketAddr, passcode: Option<&str>) -> Page {
        let host = address.to_string();
        let deadline = Instant::now() + PATIENCE;
        loop {
            if let Ok(socket) = knock(address, &host, Some(&format!("http://{host}"))) {
                let mut page = Page::over(socket);
                page.greet(passcode, None);
                if page.frame().is_some_and(|frame| frame["kind"] == "welcome") {
                    return page;
                }
            }
            assert!(Instant::now() < deadline, "there is never a place");
        }
    }

    pub fn say(&mut self, message: &Value) {
        self.text(&message.to_string());
    }

    pub fn text(&mut self, text: &str) {
        // Whoever was shown out may still speak.
        let _ = self.socket.send(Message::text(text));
    }

    /// The program's time now, in milliseconds.
    pub fn now(&self) -> f64 {
        self.clock.0 + self.clock.1.elapsed().as_millis() as f64
    }

    pub fn down(&mut self, key: u8, velocity: u8) {
        self.say(&json!({ "down": key, "velocity": velocity, "at": self.now() }));
    }

    pub fn up(&mut self, key: u8) {
        self.say(&json!({ "up": key }));
    }

    /// The next frame; none when the other end has gone.
    pub fn frame(&mut self) -> Option<Value> {
        loop {
            match self.socket.read() {
                Ok(Message::Text(text)) => {
                    let frame: Value = serde_json::from_str(&text).expect("JSON");
                    // A frame that lay here for a while says less of the time than the one before.
                    if let Some(now) = frame["now"].as_f64().filter(|now| *now > self.now()) {
                        self.clock = (now, Instant::now());
                    }
                    if frame["kind"] == "state" {
                        self.seen = frame["seen"].as_u64().expect("a number");
                        self.viewers = frame["viewers"].as_u64().expect("a number");
                        self.state = frame.clone();
                    }
                    return Some(frame);
                }
                Ok(Message::Close(_)) | Err(Error::ConnectionClosed | Error::AlreadyClosed) => return None,
                Ok(_) => {}
                Err(Error::Io(error)) => {
                    let late = [std::io::ErrorKind::WouldBlock, std::io::ErrorKind::TimedOut];
                    assert!(!late.contains(&error.kind()), "nothing comes");
                    return None;
                }
                Err(_) => return None,
            }
        }
    }

    /// The next frame of a kind that is so; signs of life keep the page here meanwhile. A state may have come before what
    /// was waited for last: it holds until the next one, so it is looked at first.
    pub fn frame_where(&mut self, kind: &str, so: impl Fn(&Value) -> bool) -> Value {
        if kind == "state" && !self.state.is_null() && so(&self.state) {
            return self.state.clone();
        }
        let deadline = Instant::now() + PATIENCE;
        let mut last = Value::Null;
        let mut here = Instant::now();
        while Instant::now() < deadline {
            let frame = self.frame().unwrap_or_else(|| panic!("gone before a {kind}; the last was {last}"));
            if frame["kind"] == kind {
                if so(&frame) {
                    return frame;
                }
                last = frame;
            }
            if here.elapsed() > Duration::from_millis(200) {
                here = Instant::now();
                self.say(&json!({ "here": self.now() }));
            }
        }
        panic!("no such {kind}; the last was {last}");
    }

    pub fn next(&mut self, kind: &str) -> Value {
        self.frame_where(kind, |_| true)
    }

    /// Presses, and what came of it.
    pub fn presses(&mut self, words: &[&str], seen: u64) -> (bool, String) {
        self.say(&json!({ "do": words, "ask": 77, "at": self.now(), "seen": seen }));
        let answer = self.frame_where("answer", |answer| answer["ask"] == 77);
        (answer["done"].as_bool().unwrap(), answer["words"].as_str().unwrap().to_owned())
    }

    /// Presses what must be done, as it stands now.
    pub fn does(&mut self, words: &[&str]) -> String {
        let (done, said) = self.presses(words, self.seen);
        assert!(done, "{words:?}: {said}");
        said
    }

    /// Hears until the other end has gone, which it does.
    pub fn frame_until_gone(&mut self) -> bool {
        while self.frame().is_some() {}
        true
    }

    /// Why it was shown out: code and reason.
    pub fn shown_out(&mut self) -> (u16, String) {
        loop {
            match self.socket.read() {
                Ok(Message::Close(Some(frame))) => return (frame.code.into(), frame.reason.to_string()),
                Ok(_) => {}
                Err(error) => panic!("{error}"),
            }
        }
    }
}
