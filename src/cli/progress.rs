//! What is said while something takes its time: nothing in the first second, then a line a second.

use std::sync::{Mutex, PoisonError};
use std::thread;
use std::time::Duration;

use crossbeam_channel::{RecvTimeoutError, bounded};

use super::console::complain;

/// So long nothing is said.
const PATIENCE: Duration = Duration::from_secs(1);

/// How far something is, in a sentence; set by who does it.
pub(super) struct Progress(Mutex<String>);

impl Progress {
    /// From now on this is true.
    pub fn is(&self, sentence: String) {
        *self.0.lock().unwrap_or_else(PoisonError::into_inner) = sentence;
    }

    fn said(&self) -> String {
        self.0.lock().unwrap_or_else(PoisonError::into_inner).clone()
    }
}

/// Does something; while it takes longer than a second, how far it is goes to standard error each second.
pub(super) fn while_doing<T>(first: &str, work: impl FnOnce(&Progress) -> T) -> T {
    telling(PATIENCE, &complain, first, work)
}

fn telling<T>(patience: Duration, tell: &(dyn Fn(&str) + Sync), first: &str, work: impl FnOnce(&Progress) -> T) -> T {
    let progress = Progress(Mutex::new(first.to_owned()));
    let (done, until) = bounded::<()>(0);
    thread::scope(|scope| {
        let progress = &progress;
        scope.spawn(move || {
            while let Err(RecvTimeoutError::Timeout) = until.recv_timeout(patience) {
                tell(&progress.said());
            }
        });
        let worked = work(progress);
        drop(done);
        worked
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn how_far_it_is_is_said_until_it_is_done() {
        let (tell, told) = crossbeam_channel::unbounded();
        let say = |sentence: &str| _ = tell.send(sentence.to_owned());
        let worked = telling(Duration::from_millis(1), &say, "begun", |progress| {
            assert_eq!(told.recv().as_deref(), Ok("begun"));
            progress.is("half".to_owned());
            // What was underway may come once more.
            assert!(told.iter().any(|sentence| sentence == "half"));
            7
        });
        assert_eq!(worked, 7);
        told.try_iter().for_each(drop);
        assert!(told.try_recv().is_err(), "nothing is said any more");
    }

    #[test]
    fn what_is_done_soon_is_done_in_silence() {
        let say = |sentence: &str| panic!("{sentence}");
        assert_eq!(telling(Duration::from_secs(600), &say, "begun", |_| 7), 7);
    }
}
