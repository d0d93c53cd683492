//! One viewer at its socket: greeted or refused, heard strictly, told what the lookout makes.

use std::net::IpAddr;
use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::time::Duration;

use axum::extract::ws::{CloseFrame, Message, Utf8Bytes, WebSocket, close_code};
use futures_util::stream::{SplitSink, SplitStream};
use futures_util::{SinkExt, StreamExt};
use tokio::sync::mpsc;
use tokio::time::{Instant, timeout, timeout_at};

use super::ask::{self, Asked};
use super::door::{May, Refused};
use super::frames::{self, Frame};
use super::hall::{Hall, Viewer};
use super::hands::Grip;
use super::messages::{Do, Hello, Said, VERSION};

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
/// Messages in a second; ten fingers need fewer.
const PER_SECOND: u32 = 200;
/// What is said last gets so long to arrive.
const LAST_WORDS: Duration = Duration::from_millis(500);

type Mouth = SplitSink<WebSocket, Message>;
type Ear = SplitStream<WebSocket>;

/// Why somebody has to go.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Why {
    Left,
    Form,
    TooMany,
    Slow,
    Silent,
    End,
}

impl Why {
    fn closing(self) -> (u16, &'static str) {
        match self {
            Why::Left => (close_code::NORMAL, ""),
            Why::Form => (close_code::POLICY, "that is no message of this form"),
            Why::TooMany => (close_code::POLICY, "too many messages"),
            Why::Slow => (close_code::POLICY, "too slow"),
            Why::Silent => (close_code::POLICY, "no sign of life"),
            Why::End => (close_code::AWAY, "the end"),
        }
    }
}

/// Attends to a socket until one end has enough.
pub(super) async fn attend(hall: Arc<Hall>, socket: WebSocket, peer: IpAddr) {
    let (mut mouth, mut ear) = socket.split();
    let why = match greet(&hall, &mut mouth, &mut ear, peer).await {
        Ok((may, seat, waiting)) => stay(may, seat, waiting, &mut mouth, &mut ear).await,
        Err(why) => why,
    };
    let (code, reason) = why.closing();
    let close = Message::Close(Some(CloseFrame { code, reason: Utf8Bytes::from_static(reason) }));
    if timeout(LAST_WORDS, mouth.send(close)).await.is_ok_and(|sent| sent.is_ok()) {
        // What was not read when a connection ends may break it before the last word has arrived.
        let _ = timeout(LAST_WORDS, async { while let Some(Ok(_)) = ear.next().await {} }).await;
    }
}

/// A place in the hall, given back with everything that is held.
struct Seat {
    hall: Arc<Hall>,
    viewer: Arc<Viewer>,
    grip: Grip,
    peer: IpAddr,
}

impl Drop for Seat {
    fn drop(&mut self) {
        self.hall.hands.let_go(&mut self.grip);
        self.hall.leave(&self.viewer);
        (self.hall.log)(&format!("The page at {} is gone.", self.peer));
    }
}

type Admitted = (May, Seat, mpsc::Receiver<Utf8Bytes>);

async fn greet(hall: &Arc<Hall>, mouth: &mut Mouth, ear: &mut Ear, peer: IpAddr) -> Result<Admitted, Why> {
    let Ok(hello) = timeout(GREETING, greeting(ear)).await else { return Err(Why::Silent) };
    let hello = hello?;
    let refused = |words, wait| Refused { words, wait, wrong: false, passcode: false };
    let admitted = if hello.hello == VERSION {
        hall.door.admit(peer, hello.passcode.as_deref(), hall.began + hall.began.elapsed())
    } else {
        Err(refused("This page is of another version: load it anew.", Duration::ZERO))
    };
    let joined = admitted.and_then(|may| match hall.join(MOST) {
        Some(joined) => Ok((may, joined)),
        None => Err(refused("Too many look at this moment.", Duration::from_secs(2))),
    });
    match joined {
        Ok((may, (viewer, waiting))) => {
            let seat = Seat { hall: Arc::clone(hall), viewer, grip: Grip::default(), peer };
            let may_what = if may == May::Move { "move the set" } else { "look" };
            (hall.log)(&format!("A page at {peer} is here and may {may_what}."));
            let now = hall.now();
            let name = hall.name.as_str();
            say(mouth, frames::text(&Frame::Welcome { version: VERSION, may, now, name })).await?;
            Ok((may, seat, waiting))
        }
        Err(refused) => {
            if refused.wrong {
                (hall.log)(&format!("A page at {peer} gave a wrong passcode."));
            }
            let wait_ms = refused.wait.as_millis() as u64;
            let passcode = refused.passcode;
            say(mouth, frames::text(&Frame::Refused { words: refused.words, wait_ms, passcode })).await?;
            Err(Why::Left)
        }
    }
}

/// The first message.
async fn greeting(ear: &mut Ear) -> Result<Hello, Why> {
    for _ in 0..PER_SECOND {
        match ear.next().await {
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
    may: May,
    mut seat: Seat,
    mut waiting: mpsc::Receiver<Utf8Bytes>,
    mouth: &mut Mouth,
    ear: &mut Ear,
) -> Why {
    let told = async {
        while let Some(frame) = waiting.recv().await {
            if say(mouth, frame).await.is_err() {
                break;
            }
        }
        Why::Slow
    };
    tokio::select! {
        why = hear(may, &mut seat, ear) => why,
        why = told => why,
    }
}

async fn say(mouth: &mut Mouth, frame: Utf8Bytes) -> Result<(), Why> {
    match timeout(WRITING, mouth.send(Message::Text(frame))).await {
        Ok(Ok(())) => Ok(()),
        Ok(Err(_)) => Err(Why::Left),
        Err(_) => Err(Why::Slow),
    }
}

async fn hear(may: May, seat: &mut Seat, ear: &mut Ear) -> Why {
    let viewer = Arc::clone(&seat.viewer);
    let mut heard = Instant::now();
    let mut pace = (Instant::now(), 0);
    loop {
        let patience = heard + if seat.grip.is_empty() { LIFELESS } else { SILENT };
        let said = tokio::select! {
            () = viewer.gone.notified() => return if seat.hall.is_closed() { Why::End } else { Why::Slow },
            said = timeout_at(patience, ear.next()) => said,
        };
        if viewer.is_gone() {
            return if seat.hall.is_closed() { Why::End } else { Why::Slow };
        }
        let message = match said {
            Err(_) if seat.grip.is_empty() => return Why::Silent,
            Err(_) => {
                seat.hall.hands.let_go(&mut seat.grip);
                continue;
            }
            Ok(None | Some(Ok(Message::Close(_)))) => return Why::Left,
            Ok(Some(Err(_) | Ok(Message::Binary(_)))) => return Why::Form,
            Ok(Some(Ok(message))) => message,
        };
        heard = Instant::now();
        if heard.duration_since(pace.0) >= Duration::from_secs(1) {
            pace = (heard, 0);
        }
        pace.1 += 1;
        if pace.1 > PER_SECOND {
            return Why::TooMany;
        }
        if let Message::Text(text) = message {
            let Some(said) = Said::read(&text) else { return Why::Form };
            take(may, seat, said);
        }
    }
}

/// Does what a page said, if it may.
fn take(may: May, seat: &mut Seat, said: Said) {
    let hall = Arc::clone(&seat.hall);
    let moves = may == May::Move;
    let is_fresh = |at: f64| ask::is_fresh(at, hall.now());
    match said {
        Said::Do(asked) if moves => give(seat, asked),
        Said::Do(asked) => {
            seat.viewer.send(&ask::answered(asked.ask, false, "This page may look, not move the set."));
        }
        Said::Down(key) if moves && is_fresh(key.at) => hall.hands.press(&mut seat.grip, key.down, key.velocity),
        Said::Up(key) => hall.hands.lift(&mut seat.grip, key.up),
        Said::Pedal(pedal) => {
            let down = pedal.pedal && moves && pedal.at.is_none_or(is_fresh);
            hall.hands.pedal(&mut seat.grip, down);
        }
        Said::Sound(sound) => {
            seat.viewer.sound.store(sound.sound, Ordering::Relaxed);
            seat.viewer.hears_anew.store(sound.sound, Ordering::Release);
            hall.ring();
        }
        Said::Down(_) | Said::Here(_) => {}
    }
}

fn give(seat: &Seat, asked: Do) {
    let ask = asked.ask;
    let viewer = &seat.viewer;
    let before = viewer.asking.fetch_add(1, Ordering::AcqRel);
    if before >= ask::WAITING || seat.hall.asks.try_send(Asked::Do(Arc::clone(viewer), asked)).is_err() {
        viewer.asking.fetch_sub(1, Ordering::AcqRel);
        viewer.send(&ask::answered(ask, false, "Too much at once: wait for what was pressed before."));
    }
}

/// How many may wait to be done in all.
pub(super) const ASKS: usize = MOST * ask::WAITING + 1;
