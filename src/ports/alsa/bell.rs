//! How other threads end the wait: a pipe that is polled along with the sequencer.

use std::io::{self, PipeReader, Read, Write};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use super::super::Waker;

/// A pipe that never holds more than a byte or two, so that ringing never blocks.
pub(super) struct Bell {
    reader: PipeReader,
    waker: Waker,
    rung: Arc<AtomicBool>,
}

impl Bell {
    pub(super) fn new() -> io::Result<Self> {
        let (reader, writer) = io::pipe()?;
        let rung = Arc::new(AtomicBool::new(false));
        let mark = Arc::clone(&rung);
        let ring = move || {
            if !mark.swap(true, Ordering::SeqCst) {
                let _ = (&writer).write(&[1]);
            }
        };
        Ok(Bell { reader, waker: Waker(Arc::new(ring)), rung })
    }

    /// Readable once it has rung.
    pub(super) fn descriptor(&self) -> &PipeReader {
        &self.reader
    }

    /// It has rung: takes that away. First the byte, then the mark, so that a ring in between is part of this one.
    pub(super) fn heard(&mut self) {
        let _ = self.reader.read(&mut [0; 16]);
        self.rung.store(false, Ordering::SeqCst);
    }

    pub(super) fn waker(&self) -> Waker {
        self.waker.clone()
    }
}
