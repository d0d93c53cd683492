//! Ends for listeners that did not keep up.
//!
//! When a listener's queue is full the system refuses what comes, and at the listener's next read it throws away all
//! that waits there besides. So nobody knows which ends it got. Once it reads again it is told the end of everything
//! that ever began at this output and does not last now: a few at a time, lest its queue (200 events, unless it asked
//! for more) is filled again by that. And all of it twice: a listener that is in the middle of a read makes room before
//! it notices that something was lost, and then what came into that room is thrown away with the rest.

use super::super::message::{NOTES_AND_PEDALS, end_of, note_or_pedal};

/// How many ends a listener gets in one go.
const AT_ONCE: usize = 24;
/// How often everything is told.
const ROUNDS: u8 = 2;
/// Notes and pedals of all channels of an output.
const ALL: usize = 16 * NOTES_AND_PEDALS;

/// Who has missed ends, and which; `A` is the system's address of a port.
#[derive(Debug)]
pub(super) struct CatchUp<A> {
    outputs: Vec<[Channel; 16]>,
    behind: Vec<BehindListener<A>>,
}

/// What was sent on a channel, for each note and each pedal.
#[derive(Debug, Clone, Copy)]
struct Channel([SentState; NOTES_AND_PEDALS]);

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum SentState {
    Nothing,
    Begin,
    End,
}

/// A listener that is to hear of all that has ended, from `next` of [`ALL`] on.
#[derive(Debug, Clone, Copy)]
struct BehindListener<A> {
    output: usize,
    peer: A,
    next: usize,
    /// How often it is still to hear all of it.
    rounds: u8,
}

impl<A: Copy + PartialEq> CatchUp<A> {
    pub(super) fn new(outputs: usize) -> Self {
        CatchUp {
            outputs: vec![[Channel([SentState::Nothing; NOTES_AND_PEDALS]); 16]; outputs],
            behind: Vec::with_capacity(8 * outputs),
        }
    }

    pub(super) fn is_empty(&self) -> bool {
        self.behind.is_empty()
    }

    /// Something is sent to whoever listens to an output.
    pub(super) fn sent(&mut self, output: usize, message: &[u8]) {
        let (Some(channels), &[status, _, value]) = (self.outputs.get_mut(output), message) else { return };
        let Some((channel, number)) = note_or_pedal(message) else { return };
        let sent = &mut channels[channel].0[number];
        if status >= 0x90 && value > 0 {
            *sent = SentState::Begin;
        } else if *sent == SentState::Begin {
            *sent = SentState::End;
        }
    }

    /// One of those who listen to an output did not take something. Which one is not known; what has ended may be said
    /// twice to anyone.
    pub(super) fn fell_behind(&mut self, output: usize, peers: &[A]) {
        for peer in peers {
            match self.behind.iter_mut().find(|listener| listener.output == output && listener.peer == *peer) {
                Some(listener) => (listener.next, listener.rounds) = (0, ROUNDS),
                None => self.behind.push(BehindListener { output, peer: *peer, next: 0, rounds: ROUNDS }),
            }
        }
    }

    /// Sends some to each; `send` says whether a listener took it. Who did not begins from the front another time.
    pub(super) fn resend(&mut self, mut send: impl FnMut(usize, A, &[u8; 3]) -> bool) {
        let outputs = &self.outputs;
        self.behind.retain_mut(|listener| {
            let mut resent = 0;
            while listener.next < ALL && resent < AT_ONCE {
                let (channel, number) = (listener.next / NOTES_AND_PEDALS, listener.next % NOTES_AND_PEDALS);
                let ended = outputs.get(listener.output).is_some_and(|sent| sent[channel].0[number] == SentState::End);
                if let Some(end) = end_of(channel, number).filter(|_| ended) {
                    if !send(listener.output, listener.peer, &end) {
                        (listener.next, listener.rounds) = (0, ROUNDS);
                        return true;
                    }
                    resent += 1;
                }
                listener.next += 1;
            }
            if listener.next == ALL {
                // The next round is another time, by when it has gone on reading.
                listener.next = 0;
                listener.rounds -= 1;
            }
            listener.rounds > 0
        });
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn resent(catch_up: &mut CatchUp<u8>, full: u8) -> Vec<(u8, [u8; 3])> {
        let mut resent = Vec::new();
        catch_up.resend(|_, peer, bytes| {
            let takes = peer != full;
            resent.extend(takes.then_some((peer, *bytes)));
            takes
        });
        resent
    }

    #[test]
    fn who_reads_again_hears_of_all_that_has_ended_and_who_does_not_holds_nobody_up() {
        let mut catch_up = CatchUp::new(2);
        for message in [[0x90, 60, 100], [0x91, 61, 100], [0xB0, 64, 127], [0x80, 60, 10], [0x90, 62, 1], [0xB0, 64, 0]]
        {
            catch_up.sent(0, &message);
        }
        catch_up.sent(1, &[0x90, 70, 1]);
        catch_up.sent(1, &[0x90, 70, 0]);
        catch_up.fell_behind(0, &[20, 21]);
        // What still lasts is not ended, nor is what another output said.
        let ends = [[0x80, 60, 64], [0xB0, 64, 0]];
        assert_eq!(resent(&mut catch_up, 20), [(21, ends[0]), (21, ends[1])]);
        catch_up.sent(0, &[0x81, 61, 64]);
        let all = [ends[0], ends[1], [0x81, 61, 64]];
        let twice = |peer: u8| all.map(|end| (peer, end));
        assert_eq!(resent(&mut catch_up, 0), [twice(20), twice(21)].concat(), "and once more to the other");
        assert_eq!(resent(&mut catch_up, 0), twice(20));
        assert!(catch_up.is_empty());
    }

    #[test]
    fn much_is_paid_a_little_at_a_time_and_from_the_front_where_more_was_lost() {
        let mut catch_up = CatchUp::new(1);
        for key in 0..100 {
            catch_up.sent(0, &[0x90, key, 100]);
            catch_up.sent(0, &[0x80, key, 64]);
        }
        catch_up.fell_behind(0, &[20]);
        assert_eq!(resent(&mut catch_up, 0).len(), AT_ONCE);
        catch_up.fell_behind(0, &[20]);
        let mut all = Vec::new();
        while !catch_up.is_empty() {
            all.extend(resent(&mut catch_up, 0).into_iter().map(|(_, bytes)| bytes[1]));
        }
        assert_eq!(all, (0..100).chain(0..100).collect::<Vec<u8>>());
    }
}
