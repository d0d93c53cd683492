//! Ends for listeners that did not keep up.
//!
//! When a listener's queue is full the system refuses what comes, and at the listener's next read it throws away all
//! that waits there besides. So nobody knows which ends it got. Once it reads again it is told the end of everything
//! that ever began at this output and does not last now: a few at a time, lest its queue (200 events, unless it asked
//! for more) is filled again by that. And all of it twice: a listener that is in the middle of a read makes room before
//! it notices that something was lost, and then what came into that room is thrown away with the rest.

/// How many ends a listener gets in one go.
const AT_ONCE: usize = 24;
/// How often everything is told.
const ROUNDS: u8 = 2;
/// Notes and pedals of a channel.
const NOTES: u32 = 128;
const PEDALS: u32 = 6;
/// Notes and pedals of all channels of an output.
const ALL: u32 = 16 * (NOTES + PEDALS);

/// What is owed to whom; `A` is the system's address of a port.
#[derive(Debug)]
pub(super) struct Arrears<A> {
    outputs: Vec<[Channel; 16]>,
    debts: Vec<Debt<A>>,
}

/// What was said on a channel: one bit for each note, one for each pedal.
#[derive(Debug, Clone, Copy, Default)]
struct Channel {
    begun: u128,
    sounding: u128,
    pressed: u8,
    down: u8,
}

/// A listener that is to hear of all that has ended, from `next` of [`ALL`] on.
#[derive(Debug, Clone, Copy)]
struct Debt<A> {
    output: usize,
    peer: A,
    next: u32,
    /// How often it is still to hear all of it.
    rounds: u8,
}

impl Channel {
    /// The end of the note or pedal of this number, if it began and does not last.
    fn end_of(&self, channel: u8, number: u32) -> Option<[u8; 3]> {
        if number < NOTES {
            return (self.begun & !self.sounding & 1 << number != 0).then_some([0x80 | channel, number as u8, 64]);
        }
        let pedal = number - NOTES;
        (self.pressed & !self.down & 1 << pedal != 0).then_some([0xB0 | channel, 64 + pedal as u8, 0])
    }
}

impl<A: Copy + PartialEq> Arrears<A> {
    pub(super) fn new(outputs: usize) -> Self {
        Arrears { outputs: vec![[Channel::default(); 16]; outputs], debts: Vec::with_capacity(8 * outputs) }
    }

    pub(super) fn is_empty(&self) -> bool {
        self.debts.is_empty()
    }

    /// Something is sent to whoever listens to an output.
    pub(super) fn said(&mut self, output: usize, message: &[u8]) {
        let (Some(channels), &[status, number @ 0..128, value]) = (self.outputs.get_mut(output), message) else {
            return;
        };
        let channel = &mut channels[usize::from(status & 0x0F)];
        match (status & 0xF0, number) {
            (0x90, _) if value > 0 => {
                channel.begun |= 1 << number;
                channel.sounding |= 1 << number;
            }
            (0x80 | 0x90, _) => channel.sounding &= !(1 << number),
            (0xB0, 64..=69) if value > 0 => {
                channel.pressed |= 1 << (number - 64);
                channel.down |= 1 << (number - 64);
            }
            (0xB0, 64..=69) => channel.down &= !(1 << (number - 64)),
            _ => {}
        }
    }

    /// One of those who listen to an output did not take something. Which one is not known; what has ended may be said
    /// twice to anyone.
    pub(super) fn owe(&mut self, output: usize, peers: &[A]) {
        for peer in peers {
            match self.debts.iter_mut().find(|debt| debt.output == output && debt.peer == *peer) {
                Some(debt) => (debt.next, debt.rounds) = (0, ROUNDS),
                None => self.debts.push(Debt { output, peer: *peer, next: 0, rounds: ROUNDS }),
            }
        }
    }

    /// Pays some of each debt; `send` says whether a listener took it. Who did not begins from the front another time.
    pub(super) fn pay(&mut self, mut send: impl FnMut(usize, A, &[u8; 3]) -> bool) {
        let outputs = &self.outputs;
        self.debts.retain_mut(|debt| {
            let mut paid = 0;
            while debt.next < ALL && paid < AT_ONCE {
                let (channel, number) = (debt.next / (NOTES + PEDALS), debt.next % (NOTES + PEDALS));
                let owed = outputs.get(debt.output).and_then(|channels| channels.get(channel as usize));
                if let Some(end) = owed.and_then(|owed| owed.end_of(channel as u8, number)) {
                    if !send(debt.output, debt.peer, &end) {
                        (debt.next, debt.rounds) = (0, ROUNDS);
                        return true;
                    }
                    paid += 1;
                }
                debt.next += 1;
            }
            if debt.next == ALL {
                // The next round is another time, by when it has gone on reading.
                debt.next = 0;
                debt.rounds -= 1;
            }
            debt.rounds > 0
        });
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn paid(arrears: &mut Arrears<u8>, full: u8) -> Vec<(u8, [u8; 3])> {
        let mut paid = Vec::new();
        arrears.pay(|_, peer, bytes| {
            let takes = peer != full;
            paid.extend(takes.then_some((peer, *bytes)));
            takes
        });
        paid
    }

    #[test]
    fn who_reads_again_hears_of_all_that_has_ended_and_who_does_not_holds_nobody_up() {
        let mut arrears = Arrears::new(2);
        for message in [[0x90, 60, 100], [0x91, 61, 100], [0xB0, 64, 127], [0x80, 60, 10], [0x90, 62, 1], [0xB0, 64, 0]]
        {
            arrears.said(0, &message);
        }
        arrears.said(1, &[0x90, 70, 1]);
        arrears.said(1, &[0x90, 70, 0]);
        arrears.owe(0, &[20, 21]);
        // What still lasts is not ended, nor is what another output said.
        let ends = [[0x80, 60, 64], [0xB0, 64, 0]];
        assert_eq!(paid(&mut arrears, 20), [(21, ends[0]), (21, ends[1])]);
        arrears.said(0, &[0x81, 61, 64]);
        let all = [ends[0], ends[1], [0x81, 61, 64]];
        let twice = |peer: u8| all.map(|end| (peer, end));
        assert_eq!(paid(&mut arrears, 0), [twice(20), twice(21)].concat(), "and once more to the other");
        assert_eq!(paid(&mut arrears, 0), twice(20));
        assert!(arrears.is_empty());
    }

    #[test]
    fn much_is_paid_a_little_at_a_time_and_from_the_front_where_more_was_lost() {
        let mut arrears = Arrears::new(1);
        for key in 0..100 {
            arrears.said(0, &[0x90, key, 100]);
            arrears.said(0, &[0x80, key, 64]);
        }
        arrears.owe(0, &[20]);
        assert_eq!(paid(&mut arrears, 0).len(), AT_ONCE);
        arrears.owe(0, &[20]);
        let mut all = Vec::new();
        while !arrears.is_empty() {
            all.extend(paid(&mut arrears, 0).into_iter().map(|(_, bytes)| bytes[1]));
        }
        assert_eq!(all, (0..100).chain(0..100).collect::<Vec<u8>>());
    }
}
