//! One viewer at its socket: greeted or refused, heard strictly, told what the publisher makes.

use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::time::Duration;

use axum::extract::ws::{CloseFrame, Message, Utf8Bytes, WebSocket, close_code};
use futures_util::stream::{SplitSink, SplitStream};
use futures_util::{SinkExt, StreamExt};
use tokio::sync::mpsc;
use tokio::time::{Instant, timeout, timeout_at};

use super::auth::{Admitted, Caller, Proof, Refused, Rights};
use super::devices;
use super::frames::{self, Frame};
use super::hub::{Ends, Hub, Job, Viewer, Why};
use super::keyboard::HeldKeys;
use super::limits;
use super::messages::{Do, Hello, PageMessage, VERSION};
use super::names::PageName;
use super::scram::Challenge;
use super::visit::Visit;
use super::worker;
use crate::daemon::token_bucket::TokenBucket;
use crate::wording::page as wording;

/// The most viewers at a time.
const MOST: usize = 32;
/// The greeting must be there in this time.
const GREETING: Duration = Duration::from_secs(3);
/// A write that takes longer is to one who does not read.
const WRITING: Duration = Duration::from_secs(2);
/// Without a sign of life for so long, its keys come up;
const SILENT: Duration = Duration::from_secs(1);
/// and for so long, it is gone.
const LIFELESS: Duration = Duration::from_secs(15);
/// What is said last gets so long to arrive.
const LAST_WORDS: Duration = Duration::from_millis(500);

type SocketSender = SplitSink<WebSocket, Message>;
type SocketReceiver = SplitStream<WebSocket>;

/// The page has to say its passcode again (a code of our own, as RFC 6455 has it from 4000 on).
const ASKED: u16 = 4001;

/// Code and reason of the closing frame.
fn closing(why: Why) -> (u16, &'static str) {
    match why {
        Why::Left => (close_code::NORMAL, ""),
        Why::Form => (close_code::POLICY, "that is no message of this form"),
        Why::TooMany => (close_code::POLICY, "too many messages"),
        Why::Slow => (close_code::POLICY, "too slow"),
        Why::Silent => (close_code::POLICY, "no sign of life"),
        Why::Yields => (close_code::AGAIN, "its place was needed for one who can control"),
        Why::Asked => (ASKED, "say the passcode again"),
        Why::End => (close_code::AWAY, "the end"),
    }
}

/// Attends to a socket until one end has enough.
pub(super) async fn attend(visit: Visit, socket: WebSocket) {
    let (mut sender, mut receiver) = socket.split();
    let yields = Arc::clone(&visit.slot.yields);
    let greeted = tokio::select! {
        greeted = greet(&visit, &mut sender, &mut receiver) => greeted,
        () = yields.notified() => return,
    };
    let why = match greeted {
        Ok((session, waiting)) => stay(session, waiting, &mut sender, &mut receiver).await,
        Err(why) => why,
    };
    let (code, reason) = closing(why);
    let close = Message::Close(Some(CloseFrame { code, reason: Utf8Bytes::from_static(reason) }));
    if timeout(LAST_WORDS, sender.send(close)).await.is_ok_and(|sent| sent.is_ok()) {
        // What was not read when a connection ends may break it before the last word has arrived.
        let _ = timeout(LAST_WORDS, async { while let Some(Ok(_)) = receiver.next().await {} }).await;
    }
}

/// A viewer from its welcome to its end; given back with everything that is held.
struct Session {
    hub: Arc<Hub>,
    viewer: Arc<Viewer>,
    held: HeldKeys,
    /// Whether the log was told that it came.
    is_told: bool,
    _name: NameGuard,
}

/// A page's name, from its greeting to its end.
struct NameGuard {
    hub: Arc<Hub>,
    name: PageName,
}

impl Drop for NameGuard {
    fn drop(&mut self) {
        self.hub.names.leave(self.name);
    }
}

impl Drop for Session {
    fn drop(&mut self) {
        self.hub.keyboard.let_go(&mut self.held);
        self.hub.leave(&self.viewer);
        if self.is_told {
            (self.hub.log)(&wording::disconnected(&self.viewer.name));
        }
    }
}

type Joined = (Session, mpsc::Receiver<Utf8Bytes>);

async fn greet(visit: &Visit, sender: &mut SocketSender, receiver: &mut SocketReceiver) -> Result<Joined, Why> {
    let Visit { hub, ends, slot } = visit;
    let Some(challenge) = hub.auth.challenge() else { return Err(Why::End) };
    let Challenge { nonce, salt, rounds } = &challenge;
    say(sender, frames::text(&Frame::Challenge { nonce, salt, rounds: *rounds })).await?;
    let Ok(hello) = timeout(GREETING, greeting(receiver)).await else { return Err(Why::Silent) };
    let hello = hello?;
    let device = hello.device.as_deref().map(devices::hash);
    let name = hub.names.take(ends.from.ip(), device.as_deref());
    let guard = NameGuard { hub: Arc::clone(hub), name };
    match admit(hub, (name, *ends), &challenge, &hello) {
        Ok((admitted, (viewer, waiting))) => {
            slot.admit(admitted.proven);
            let rights = viewer.rights;
            let is_told = hub.arrivals.page(Instant::now().into_std());
            let session = Session { hub: Arc::clone(hub), viewer, held: HeldKeys::default(), is_told, _name: guard };
            if is_told {
                (hub.log)(&wording::connected(&name, rights == Rights::Control));
            }
            if admitted.proven {
                let device = admitted.device.as_deref().map(devices::hash).or(device);
                device.into_iter().for_each(|device| hub.names.know(name, device));
                // The disk may be slow, and others are served on this thread.
                let hub = Arc::clone(hub);
                tokio::task::spawn_blocking(move || hub.auth.keep_devices());
            }
            say(sender, welcome(hub, rights, &admitted)).await?;
            Ok((session, waiting))
        }
        Err(refused) => {
            if refused.wrong && hub.arrivals.wrong_passcode(Instant::now().into_std()) {
                (hub.log)(&wording::wrong_passcode(&name));
            }
            let wait_ms = refused.wait.as_millis() as u64;
            let passcode = refused.passcode;
            say(sender, frames::text(&Frame::Refused { words: refused.words, wait_ms, passcode })).await?;
            Err(Why::Left)
        }
    }
}

fn welcome(hub: &Hub, can: Rights, admitted: &Admitted) -> Utf8Bytes {
    let (now, name) = (hub.now(), hub.name.as_str());
    let (signature, device) = (admitted.signature.as_deref(), admitted.device.as_deref());
    frames::text(&Frame::Welcome { version: VERSION, can, now, name, signature, device })
}

/// A viewer, and what it is to be sent.
type Joining = (Arc<Viewer>, mpsc::Receiver<Utf8Bytes>);

/// Lets a page in that greets, if it may and there is a place.
fn admit(
    hub: &Hub,
    (name, ends): (PageName, Ends),
    asked: &Challenge,
    hello: &Hello,
) -> Result<(Admitted, Joining), Refused> {
    let refused = |words, wait| Refused { words, wait, wrong: false, passcode: false };
    if hello.hello != VERSION {
        return Err(refused(wording::OTHER_VERSION, Duration::ZERO));
    }
    let response = hello.response.as_ref().map(|response| (&response.proof, asked.signed(&response.nonce)));
    let proof = response.as_ref().map(|(is, signed)| Proof { is, signed });
    let caller = Caller { at: ends.from.ip(), proof, device: hello.device.as_deref() };
    let admitted = hub.auth.admit(&caller, hub.began + hub.began.elapsed())?;
    let joined = hub.join(MOST, name, ends, admitted.rights);
    joined.map(|joined| (admitted, joined)).ok_or_else(|| refused(wording::TOO_MANY, Duration::from_secs(2)))
}

/// The first message.
async fn greeting(receiver: &mut SocketReceiver) -> Result<Hello, Why> {
    let mut pace = TokenBucket::new(limits::BEFORE_GREETING);
    while pace.take(Instant::now().into_std()) {
        match receiver.next().await {
            Some(Ok(Message::Text(text))) => return Hello::read(&text).ok_or(Why::Form),
            Some(Ok(Message::Ping(_) | Message::Pong(_))) => {}
            Some(Ok(Message::Binary(_)) | Err(_)) => return Err(Why::Form),
            Some(Ok(Message::Close(_))) | None => return Err(Why::Left),
        }
    }
    Err(Why::TooMany)
}

/// Hears and tells at once, until one of both ends.
async fn stay(
    mut session: Session,
    mut waiting: mpsc::Receiver<Utf8Bytes>,
    sender: &mut SocketSender,
    receiver: &mut SocketReceiver,
) -> Why {
    let told = async {
        while let Some(frame) = waiting.recv().await {
            if say(sender, frame).await.is_err() {
                break;
            }
        }
        Why::Slow
    };
    tokio::select! {
        why = hear(&mut session, receiver) => why,
        why = told => why,
    }
}

async fn say(sender: &mut SocketSender, frame: Utf8Bytes) -> Result<(), Why> {
    match timeout(WRITING, sender.send(Message::Text(frame))).await {
        Ok(Ok(())) => Ok(()),
        Ok(Err(_)) => Err(Why::Left),
        Err(_) => Err(Why::Slow),
    }
}

async fn hear(session: &mut Session, receiver: &mut SocketReceiver) -> Why {
    let viewer = Arc::clone(&session.viewer);
    let mut heard = Instant::now();
    let mut pace = TokenBucket::new(limits::MESSAGES);
    loop {
        let patience = heard + if session.held.is_empty() { LIFELESS } else { SILENT };
        let said = tokio::select! {
            () = viewer.gone.notified() => return viewer.is_gone().unwrap_or(Why::Slow),
            said = timeout_at(patience, receiver.next()) => said,
        };
        if let Some(why) = viewer.is_gone() {
            return why;
        }
        let message = match said {
            Err(_) if session.held.is_empty() => return Why::Silent,
            Err(_) => {
                session.hub.keyboard.let_go(&mut session.held);
                continue;
            }
            Ok(None | Some(Ok(Message::Close(_)))) => return Why::Left,
            Ok(Some(Err(_) | Ok(Message::Binary(_)))) => return Why::Form,
            Ok(Some(Ok(message))) => message,
        };
        heard = Instant::now();
        if !pace.take(heard.into_std()) {
            return Why::TooMany;
        }
        if let Message::Text(text) = message {
            let Some(said) = PageMessage::read(&text) else { return Why::Form };
            take(session, said);
        }
    }
}

/// Does what a page said, if it may.
fn take(session: &mut Session, said: PageMessage) {
    let hub = Arc::clone(&session.hub);
    let moves = session.viewer.rights == Rights::Control;
    let is_fresh = |at: f64| worker::is_fresh(at, hub.now());
    match said {
        PageMessage::Do(asked) if moves => give(session, asked),
        PageMessage::Do(asked) => {
            session.viewer.send(&worker::answered(asked.ask, false, wording::VIEW_ONLY));
        }
        PageMessage::Down(key) if moves && is_fresh(key.at) => {
            hub.keyboard.press(&mut session.held, key.down, key.velocity)
        }
        PageMessage::Up(key) => hub.keyboard.lift(&mut session.held, key.up),
        PageMessage::Pedal(pedal) => {
            let down = pedal.pedal && moves && pedal.at.is_none_or(is_fresh);
            hub.keyboard.pedal(&mut session.held, down);
        }
        PageMessage::PlaysAs(chosen) if moves => hub.keyboard.play_as(&mut session.held, &chosen.plays_as),
        PageMessage::Sound(sound) => {
            session.viewer.sound.store(sound.sound, Ordering::Relaxed);
            session.viewer.begins_to_hear.store(sound.sound, Ordering::Release);
            hub.wake();
        }
        PageMessage::Received(wanted) if moves => {
            session.viewer.watches.store(wanted.received, Ordering::Relaxed);
            hub.wake();
        }
        PageMessage::Down(_) | PageMessage::PlaysAs(_) | PageMessage::Received(_) | PageMessage::Here(_) => {}
    }
}

fn give(session: &Session, asked: Do) {
    let ask = asked.ask;
    let viewer = &session.viewer;
    let before = viewer.asking.fetch_add(1, Ordering::AcqRel);
    if before >= worker::WAITING || session.hub.jobs.try_send(Job::Do(Arc::clone(viewer), asked)).is_err() {
        viewer.asking.fetch_sub(1, Ordering::AcqRel);
        viewer.send(&worker::answered(ask, false, wording::TOO_MUCH));
    }
}

/// How many may wait to be done in all.
pub(super) const JOBS: usize = MOST * worker::WAITING + 1;
