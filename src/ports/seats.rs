//! Which ports of others are connected to ours, and what it means that one comes or goes.
//!
//! The system tells the same thing in several ways (a port's end, its client's end, the end of the connection) and in
//! no fixed order. What was said already changes nothing here, so each coming and going is told once.

use std::collections::VecDeque;

use super::{Ready, Side};

/// The connections of every input and output; `A` is the system's address of a port.
#[derive(Debug)]
pub(super) struct Seats<A> {
    inputs: Vec<Seat<A>>,
    outputs: Vec<Seat<A>>,
}

#[derive(Debug)]
struct Seat<A> {
    /// The port that the gear file means, while it is connected.
    meant: Option<A>,
    /// All that are connected: the one that is meant, and what others connected.
    peers: Vec<A>,
}

impl<A: Copy + PartialEq> Seats<A> {
    pub(super) fn new(inputs: usize, outputs: usize) -> Self {
        let empty = |count| (0..count).map(|_| Seat { meant: None, peers: Vec::with_capacity(4) }).collect();
        Seats { inputs: empty(inputs), outputs: empty(outputs) }
    }

    fn side(&mut self, side: Side) -> &mut Vec<Seat<A>> {
        match side {
            Side::Input => &mut self.inputs,
            Side::Output => &mut self.outputs,
        }
    }

    /// The port that the gear file means is connected from now on; nothing is told, as at the start.
    pub(super) fn settle(&mut self, side: Side, number: usize, peer: A) {
        if let Some(seat) = self.side(side).get_mut(number) {
            seat.meant = Some(peer);
        }
        self.seat(side, number, peer);
    }

    /// Something is connected from now on; nothing is told, as at the start.
    pub(super) fn seat(&mut self, side: Side, number: usize, peer: A) {
        if let Some(seat) = self.side(side).get_mut(number).filter(|seat| !seat.peers.contains(&peer)) {
            seat.peers.push(peer);
        }
    }

    /// Something was connected. An input with a port is told once; an output for everyone who begins to listen,
    /// as each needs the set-up (rule R21).
    pub(super) fn join(&mut self, side: Side, number: usize, peer: A, told: &mut VecDeque<Ready>) {
        let Some(seat) = self.side(side).get_mut(number) else { return };
        if seat.peers.contains(&peer) {
            return;
        }
        let first = seat.peers.is_empty();
        seat.peers.push(peer);
        match side {
            Side::Input if first => told.push_back(Ready::InputBack(number)),
            Side::Input => {}
            Side::Output if first => told.push_back(Ready::OutputBack(number)),
            Side::Output => told.push_back(Ready::OutputJoined(number)),
        }
    }

    /// A connection has ended. Of an input, nobody knows which held keys came from whom: all come up (rule R17),
    /// and it is back at once where others still play on it.
    pub(super) fn leave(&mut self, side: Side, number: usize, peer: A, told: &mut VecDeque<Ready>) {
        let Some(seat) = self.side(side).get_mut(number) else { return };
        let Some(place) = seat.peers.iter().position(|known| *known == peer) else { return };
        seat.peers.remove(place);
        if seat.meant == Some(peer) {
            seat.meant = None;
        }
        let alone = seat.peers.is_empty();
        match side {
            Side::Input => {
                told.push_back(Ready::InputGone(number));
                if !alone {
                    told.push_back(Ready::InputBack(number));
                }
            }
            Side::Output if alone => told.push_back(Ready::OutputGone(number)),
            Side::Output => {}
        }
    }

    /// Every port for which `gone` holds has ended.
    pub(super) fn end(&mut self, gone: impl Fn(A) -> bool, told: &mut VecDeque<Ready>) {
        for side in [Side::Input, Side::Output] {
            for number in 0..self.side(side).len() {
                while let Some(peer) = self.side(side)[number].peers.iter().copied().find(|peer| gone(*peer)) {
                    self.leave(side, number, peer, told);
                }
            }
        }
    }

    /// The connected port that the gear file means.
    pub(super) fn meant(&self, side: Side, number: usize) -> Option<A> {
        let seats = if side == Side::Input { &self.inputs } else { &self.outputs };
        seats.get(number).and_then(|seat| seat.meant)
    }

    /// Whether anything is connected.
    pub(super) fn taken(&self, side: Side, number: usize) -> bool {
        let seats = if side == Side::Input { &self.inputs } else { &self.outputs };
        seats.get(number).is_some_and(|seat| !seat.peers.is_empty())
    }

    /// What is connected to one of ours.
    pub(super) fn peers(&self, side: Side, number: usize) -> &[A] {
        let seats = if side == Side::Input { &self.inputs } else { &self.outputs };
        seats.get(number).map_or(&[], |seat| &seat.peers)
    }

    /// Every connection: side, number, port.
    pub(super) fn all(&self) -> Vec<(Side, usize, A)> {
        let of = |side, seats: &[Seat<A>]| {
            let each = seats.iter().enumerate();
            each.flat_map(|(number, seat)| seat.peers.iter().map(move |peer| (side, number, *peer))).collect::<Vec<_>>()
        };
        [of(Side::Input, &self.inputs), of(Side::Output, &self.outputs)].concat()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_going_is_told_once_however_often_it_is_said() {
        let mut seats = Seats::new(2, 1);
        let mut told = VecDeque::new();
        seats.settle(Side::Input, 0, 20);
        seats.settle(Side::Input, 1, 20);
        seats.end(|peer| peer == 20, &mut told);
        seats.leave(Side::Input, 0, 20, &mut told);
        seats.end(|_| true, &mut told);
        assert_eq!(told, [Ready::InputGone(0), Ready::InputGone(1)]);
        assert_eq!(seats.meant(Side::Input, 0), None);
    }

    #[test]
    fn an_input_that_others_still_play_on_is_back_at_once() {
        let mut seats = Seats::new(1, 0);
        let mut told = VecDeque::new();
        seats.settle(Side::Input, 0, 20);
        seats.join(Side::Input, 0, 129, &mut told);
        seats.join(Side::Input, 0, 129, &mut told);
        seats.leave(Side::Input, 0, 129, &mut told);
        assert_eq!(told, [Ready::InputGone(0), Ready::InputBack(0)]);
        assert_eq!(seats.meant(Side::Input, 0), Some(20));
    }

    #[test]
    fn everyone_who_begins_to_listen_is_told_and_only_the_last_who_stops() {
        let mut seats = Seats::new(0, 1);
        let mut told = VecDeque::new();
        seats.join(Side::Output, 0, 129, &mut told);
        seats.join(Side::Output, 0, 130, &mut told);
        seats.end(|peer| peer == 129, &mut told);
        seats.end(|peer| peer == 130, &mut told);
        assert_eq!(told, [Ready::OutputBack(0), Ready::OutputJoined(0), Ready::OutputGone(0)]);
    }
}
