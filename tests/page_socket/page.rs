//! A page, as a program that speaks to the stand's socket.

use std::net::{SocketAddr, TcpStream};
use std::time::{Duration, Instant};

use serde_json::{Value, json};
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
}

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
        Page { socket, clock: (0.0, Instant::now()), state: Value::Null, seen: 0, viewers: 0 }
    }

    pub fn greets(address: SocketAddr, passcode: Option<&str>) -> Page {
        let mut page = Page::at(address);
        page.say(&json!({ "hello": 1, "passcode": passcode }));
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
                page.say(&json!({ "hello": 1, "passcode": passcode }));
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
