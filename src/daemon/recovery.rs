//! What happens when the engine fails in a step: nothing hangs, and the set goes on.

use std::sync::Arc;

use super::sending::Failed;
use super::{Daemon, Happened};
use crate::engine::{Action, CueId, Engine, Event, Micros, Plain};

impl Daemon {
    /// Publishes what a step said; after a failure of the engine, mends it.
    pub(super) fn after(&mut self, stepped: Result<Option<Micros>, Failed>) {
        match stepped {
            Ok(next) => {
                self.next = next;
                self.publish();
            }
            Err(Failed) => self.recover(),
        }
    }

    /// The engine failed in the middle of a step: what it said before that was sent, all that sounds is ended, and an
    /// engine built again from the same plan goes on at the same song, section and key. If that fails too, the process
    /// ends visibly, for whoever watches over it to start it again.
    fn recover(&mut self) {
        self.publish();
        let standing = self.engine.standing();
        let cues: Vec<CueId> = self.engine.cues_on().collect();
        self.surely(|engine, sink| engine.end_everything(sink));
        self.engine = Engine::new(Arc::clone(self.engine.plan()));
        let now = self.now();
        self.surely(|engine, sink| engine.step(Event::Resume(standing), now, sink));
        // What the channels were told is forgotten with the old engine.
        self.next =
            self.surely(|engine, sink| engine.step(Event::Action(Action::Plain(Plain::ResendSounds)), now, sink));
        for cue in cues {
            self.next = self.surely(|engine, sink| engine.step(Event::CloseCue(cue), now, sink));
        }
        self.tell(Happened::Rebuilt);
    }
}
