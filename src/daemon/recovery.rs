//! What happens when the engine fails in a step: nothing hangs, and the set goes on.

use std::panic::{AssertUnwindSafe, catch_unwind};
use std::sync::Arc;

use super::{Daemon, Happened};
use crate::engine::{Action, Engine, Event, Out};

/// The engine panicked.
pub(super) struct Failed;

/// Runs a step of the engine; a panic in it goes no further.
pub(super) fn contained<T>(
    engine: &mut Engine,
    out: &mut Out,
    step: impl FnOnce(&mut Engine, &mut Out) -> T,
) -> Result<T, Failed> {
    // What a panic leaves behind is looked at by `recover` only, which trusts nothing but the list of what sounds.
    catch_unwind(AssertUnwindSafe(|| step(engine, out))).map_err(|_| Failed)
}

impl Daemon {
    /// Sends what was said; after a failure of the engine, recovers first.
    pub(super) fn after(&mut self, stepped: Result<Option<u64>, Failed>) {
        match stepped {
            Ok(next) => {
                self.next = next;
                self.send();
            }
            Err(Failed) => self.recover(),
        }
    }

    /// The engine failed in the middle of a step: what it said before that is sent, all that sounds is ended, and an
    /// engine built anew from the same plan goes on at the same song, section and key. If that fails too, the process
    /// ends visibly, for whoever watches over it to start it again.
    fn recover(&mut self) {
        self.send();
        let standing = self.engine.standing();
        let cues: Vec<u16> = self.engine.standing_cues().collect();
        self.engine.end_everything(&mut self.out);
        self.send();
        self.engine = Engine::new(Arc::clone(self.engine.plan()));
        let now = self.now();
        self.engine.step(Event::Resume(standing), now, &mut self.out);
        // What the places were told is forgotten with the old engine.
        self.next = self.engine.step(Event::Action(Action::Resend), now, &mut self.out);
        for cue in cues {
            self.next = self.engine.step(Event::CloseCue(cue), now, &mut self.out);
        }
        self.send();
        self.tell(Happened::Rebuilt);
    }
}
