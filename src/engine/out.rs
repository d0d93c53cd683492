//! What one step says: messages for the outputs, notices for whoever tells the player, and reasons for whoever explains
//! what became of the hand.

use super::ids::{CueId, Micros};

/// Takes what a step says, in order.
pub trait Sink {
    /// A whole message with its status byte, for the output of this number. `at` is the time of its own cause, which may
    /// lie before the step's.
    fn send(&mut self, at: Micros, output: usize, bytes: &[u8]);

    /// Something the player may want to know.
    fn notice(&mut self, notice: Notice);

    /// Why what is sent at this time is what it is, for who explains a step. While a set is played nobody asks for it.
    fn reason(&mut self, _at: Micros, _reason: Reason) {}
}

/// A message for an output.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Said<'a> {
    /// When it belongs: the time of its own cause, which may lie before the step's.
    pub at: Micros,
    /// Number of the output.
    pub output: usize,
    /// One whole message with its status byte.
    pub bytes: &'a [u8],
    /// Whether the output took it, as far as somebody said otherwise by [`Out::refuse_last`].
    pub taken: bool,
}

/// Something the player may want to know.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Notice {
    /// A song or pause was entered.
    Song,
    /// A section was entered.
    Section,
    /// The key that is heard changed.
    Key,
    /// A zone was turned on or off: index of its name, and whether it is on now.
    Zone(u16, bool),
    /// There is no next one, or no previous one, or nothing of that name here: nothing changed.
    NothingThere,
    /// The key is of the other mode, or further away than an octave: nothing changed.
    NoSuchKey,
    /// So much of the lists was not done at the start; `resend-messages` does it.
    HeldBack(u16),
    /// What song and section send on entering was sent again, with what had not been done at the start.
    SaidAgain,
    /// Everything was silenced.
    Panic,
    /// Programs, volumes, pans and controllers were said again.
    SetUpAgain,
    /// The drone was turned on or off.
    Drone(bool),
    /// Held notes fade.
    Fade,
    /// Held notes were to fade, and none is held.
    NothingToFade,
    /// A cue fired.
    Fired(Fired),
    /// A cue is on, or went off again.
    Cue(CueId, bool),
    /// `next-song` will enter the entry of this index.
    LinedUp(usize),
    /// The machine at the port of this input answered again and again: its cues are not listened to until it is silent.
    Loop(usize),
    /// The tracks player began to run, or stopped.
    Tracks(bool),
    /// Another tempo was tapped.
    Tempo,
    /// A saved map was loaded.
    TakenOver,
}

/// A cue that fired.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Fired {
    /// Which.
    pub cue: CueId,
    /// When.
    pub at: Micros,
    /// What let it fire.
    pub by: By,
    /// The number that came in, from 1, where one did.
    pub received: Option<u8>,
}

/// What let a cue fire.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum By {
    /// A message, or a key or pedal that went down.
    Event,
    /// A key or pedal that came up.
    Release,
    /// Time, which told what a press had been.
    Time,
}

/// What a step decided on the way from the hand to the notes. It is told beside the messages that come of it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Reason {
    /// A key does not fit, and a zone took it as another one (rule R12).
    Moved {
        /// The key that was struck.
        key: u8,
        /// The one that stands for it.
        chosen: u8,
    },
    /// A key does not fit, and so no zone took it (rule R12).
    Silent(u8),
    /// A key ended what it had toggled (rule R10).
    LetsGo(u8),
    /// A key struck the chord that belongs there (rule R13).
    Chord(u8),
    /// A key that came up was a late finger of the hand before: what is derived is decided without it (rule R11).
    LateFinger(u8),
    /// What a zone derives was decided, and other notes sound than before (rule R11).
    Decided {
        /// The keys that it was decided from, one bit each.
        keys: u128,
        /// The key that was taken for the root, where it is played.
        root: Option<u8>,
    },
    /// A fade went on (rule R15).
    Fading,
}

#[derive(Debug, Clone, Copy)]
struct Span {
    at: Micros,
    output: u16,
    start: u32,
    length: u32,
    taken: bool,
}

/// A buffer that keeps what a step says. It is sized for the largest step of its plan and is emptied, never freed,
/// between steps.
#[derive(Debug, Default)]
pub struct Out {
    bytes: Vec<u8>,
    spans: Vec<Span>,
    notices: Vec<Notice>,
}

impl Sink for Out {
    fn send(&mut self, at: Micros, output: usize, bytes: &[u8]) {
        // The same bytes to several outputs are kept once.
        let length = bytes.len() as u32;
        let same = self.spans.last().filter(|last| last.at == at && self.bytes_of(last) == bytes);
        let start = same.map_or(self.bytes.len() as u32, |last| last.start);
        if same.is_none() {
            self.bytes.extend_from_slice(bytes);
        }
        self.spans.push(Span { at, output: output as u16, start, length, taken: true });
    }

    fn notice(&mut self, notice: Notice) {
        if self.notices.len() < self.notices.capacity() {
            self.notices.push(notice);
        }
    }
}

impl Out {
    /// A buffer for a plan with so many channels of outputs. No step says more than an off and an on for every note of
    /// every channel and some dozens of messages of set-up, besides sends and one system exclusive message.
    #[must_use]
    pub fn for_channels(channels: usize, send_bytes: usize) -> Out {
        let messages = channels.max(1) * (2 * 128 + 64) + 256;
        Out {
            bytes: Vec::with_capacity(3 * messages + send_bytes + 65_536),
            spans: Vec::with_capacity(messages),
            notices: Vec::with_capacity(64),
        }
    }

    /// Forgets what was said.
    pub fn clear(&mut self) {
        self.bytes.clear();
        self.spans.clear();
        self.notices.clear();
    }

    fn bytes_of(&self, span: &Span) -> &[u8] {
        self.bytes.get(span.start as usize..(span.start + span.length) as usize).unwrap_or_default()
    }

    /// What was said, in order.
    pub fn said(&self) -> impl Iterator<Item = Said<'_>> {
        self.spans.iter().map(|span| Said {
            at: span.at,
            output: usize::from(span.output),
            bytes: self.bytes_of(span),
            taken: span.taken,
        })
    }

    /// The output did not take the last message.
    pub fn refuse_last(&mut self) {
        if let Some(last) = self.spans.last_mut() {
            last.taken = false;
        }
    }

    /// Whether nothing was said.
    #[must_use]
    pub fn is_silent(&self) -> bool {
        self.spans.is_empty()
    }

    /// What the player may want to know.
    #[must_use]
    pub fn notices(&self) -> &[Notice] {
        &self.notices
    }
}
