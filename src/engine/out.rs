//! What one step says: messages for the outputs, and notices for whoever tells the player.

/// A message for an output.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Said<'a> {
    /// When it belongs, in microseconds: the time of its own cause, which may lie before the step's.
    pub at: u64,
    /// Number of the output.
    pub output: usize,
    /// One whole message with its status byte.
    pub bytes: &'a [u8],
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
    /// So many sends were held back at the start; `resend-messages` says them.
    HeldBack(u16),
    /// The current song's enter-sends were said again, those that had been held back among them.
    SaidAgain,
    /// Everything was silenced.
    Panic,
    /// Programs, volumes, pans and controllers were said again.
    SetUpAgain,
    /// The drone was turned on or off.
    Drone(bool),
    /// What rings without a finger fades.
    Fade,
    /// A cue fired.
    Fired(Fired),
    /// A cue of this number stands on, or went off again.
    Cue(u16, bool),
    /// `next-song` will enter the entry of this index.
    LinedUp(usize),
    /// The machine at the port of this input answered again and again: its cues are not listened to until it is silent.
    Loop(usize),
    /// The tracks player began to run, or stopped.
    Tracks(bool),
    /// Another tempo was tapped.
    Tempo,
    /// A saved map came into force.
    TakenOver,
}

/// A cue that fired.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Fired {
    /// Its number: the gear's cues come first, then the songs'.
    pub cue: u16,
    /// When, in microseconds.
    pub at: u64,
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

#[derive(Debug, Clone, Copy)]
struct Span {
    at: u64,
    output: u16,
    start: u32,
    length: u32,
}

/// The buffer that a step writes into. It is sized for the largest step of its plan and is emptied, never freed,
/// between steps.
#[derive(Debug, Default)]
pub struct Out {
    at: u64,
    bytes: Vec<u8>,
    spans: Vec<Span>,
    notices: Vec<Notice>,
}

impl Out {
    /// A buffer for a plan with so many places. No step says more than an off and an on for every note of every
    /// place and some dozens of messages of set-up, besides sends and one system exclusive message.
    #[must_use]
    pub fn for_places(places: usize, send_bytes: usize) -> Out {
        let messages = places.max(1) * (2 * 128 + 64) + 256;
        Out {
            at: 0,
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

    /// What was said, in order.
    pub fn said(&self) -> impl Iterator<Item = Said<'_>> {
        self.spans.iter().map(|span| Said {
            at: span.at,
            output: usize::from(span.output),
            bytes: &self.bytes[span.start as usize..(span.start + span.length) as usize],
        })
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

    /// Adds what another buffer holds.
    pub(super) fn append(&mut self, other: &Out) {
        for span in &other.spans {
            let bytes = &other.bytes[span.start as usize..(span.start + span.length) as usize];
            let start = self.bytes.len() as u32;
            self.bytes.extend_from_slice(bytes);
            self.spans.push(Span { start, ..*span });
        }
        self.notices.extend_from_slice(&other.notices);
    }

    /// Keeps of what was said only what `keeps` says, of its time, output and bytes.
    pub(super) fn retain(&mut self, mut keeps: impl FnMut(u64, usize, &[u8]) -> bool) {
        let bytes = &self.bytes;
        self.spans.retain(|span| {
            let said = bytes.get(span.start as usize..(span.start + span.length) as usize).unwrap_or_default();
            keeps(span.at, usize::from(span.output), said)
        });
    }

    /// The time that what follows belongs to.
    pub(super) fn at(&mut self, at: u64) {
        self.at = at;
    }

    pub(super) fn say(&mut self, output: u8, bytes: &[u8]) {
        self.say_to_all(std::iter::once(output), bytes);
    }

    /// The same bytes to several outputs, kept once.
    pub(super) fn say_to_all(&mut self, outputs: impl Iterator<Item = u8>, bytes: &[u8]) {
        let start = self.bytes.len() as u32;
        self.bytes.extend_from_slice(bytes);
        for output in outputs {
            self.spans.push(Span { at: self.at, output: u16::from(output), start, length: bytes.len() as u32 });
        }
    }

    pub(super) fn notice(&mut self, notice: Notice) {
        if self.notices.len() < self.notices.capacity() {
            self.notices.push(notice);
        }
    }
}
