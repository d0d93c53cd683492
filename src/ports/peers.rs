//! Which ports of others are connected to ours, and what it means that one comes or goes.
//!
//! The system tells the same thing in several ways (a port's end, its client's end, the end of the connection) and in
//! no fixed order. What was said already changes nothing here, so each coming and going is told once.

use std::collections::VecDeque;

use super::{Ready, Side};

/// The connections of every input and output; `A` is the system's address of a port.
#[derive(Debug)]
pub(super) struct Peers<A> {
    inputs: Vec<PortPeers<A>>,
    outputs: Vec<PortPeers<A>>,
}

#[derive(Debug)]
struct PortPeers<A> {
    /// The port that the gear file means, while it is connected.
    named: Option<A>,
    /// All that are connected: the one that is meant, and what others connected.
    peers: Vec<A>,
}

impl<A: Copy + PartialEq> Peers<A> {
    pub(super) fn new(inputs: usize, outputs: usize) -> Self {
        let empty = |count| (0..count).map(|_| PortPeers { named: None, peers: Vec::with_capacity(4) }).collect();
        Peers { inputs: empty(inputs), outputs: empty(outputs) }
    }

    fn side(&mut self, side: Side) -> &mut Vec<PortPeers<A>> {
        match side {
            Side::Input => &mut self.inputs,
            Side::Output => &mut self.outputs,
        }
    }

    /// The port that the gear file means is connected from now on; nothing is told, as at the start.
    pub(super) fn set_named(&mut self, side: Side, number: usize, peer: A) {
        if let Some(port) = self.side(side).get_mut(number) {
            port.named = Some(peer);
        }
        self.add(side, number, peer);
    }

    /// Something is connected from now on; nothing is told, as at the start.
    pub(super) fn add(&mut self, side: Side, number: usize, peer: A) {
        if let Some(port) = self.side(side).get_mut(number).filter(|port| !port.peers.contains(&peer)) {
            port.peers.push(peer);
        }
    }

    /// Something was connected. An input with a port is told once; an output for everyone who begins to listen,
    /// as each needs the set-up (rule R21).
    pub(super) fn connected(&mut self, side: Side, number: usize, peer: A, told: &mut VecDeque<Ready>) {
        let Some(port) = self.side(side).get_mut(number) else { return };
        if port.peers.contains(&peer) {
            return;
        }
        let first = port.peers.is_empty();
        port.peers.push(peer);
        match side {
            Side::Input if first => told.push_back(Ready::InputBack(number)),
            Side::Input => {}
            Side::Output if first => told.push_back(Ready::OutputBack(number)),
            Side::Output => told.push_back(Ready::OutputJoined(number)),
        }
    }

    /// A connection has ended. Of an input, nobody knows which held keys came from whom: all come up (rule R17),
    /// and it is back at once where others still play on it.
    pub(super) fn disconnected(&mut self, side: Side, number: usize, peer: A, told: &mut VecDeque<Ready>) {
        let Some(port) = self.side(side).get_mut(number) else { return };
        let Some(place) = port.peers.iter().position(|known| *known == peer) else { return };
        port.peers.remove(place);
        if port.named == Some(peer) {
            port.named = None;
        }
        let alone = port.peers.is_empty();
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
    pub(super) fn gone(&mut self, gone: impl Fn(A) -> bool, told: &mut VecDeque<Ready>) {
        for side in [Side::Input, Side::Output] {
            for number in 0..self.side(side).len() {
                while let Some(peer) = self.side(side)[number].peers.iter().copied().find(|peer| gone(*peer)) {
                    self.disconnected(side, number, peer, told);
                }
            }
        }
    }

    /// The connected port that the gear file means.
    pub(super) fn named(&self, side: Side, number: usize) -> Option<A> {
        let peers = if side == Side::Input { &self.inputs } else { &self.outputs };
        peers.get(number).and_then(|port| port.named)
    }

    /// Whether anything is connected.
    pub(super) fn is_connected(&self, side: Side, number: usize) -> bool {
        let peers = if side == Side::Input { &self.inputs } else { &self.outputs };
        peers.get(number).is_some_and(|port| !port.peers.is_empty())
    }

    /// What is connected to one of ours.
    pub(super) fn of(&self, side: Side, number: usize) -> &[A] {
        let peers = if side == Side::Input { &self.inputs } else { &self.outputs };
        peers.get(number).map_or(&[], |port| &port.peers)
    }

    /// Every connection: side, number, port.
    pub(super) fn all(&self) -> Vec<(Side, usize, A)> {
        let of = |side, peers: &[PortPeers<A>]| {
            let each = peers.iter().enumerate();
            each.flat_map(|(number, port)| port.peers.iter().map(move |peer| (side, number, *peer))).collect::<Vec<_>>()
        };
        [of(Side::Input, &self.inputs), of(Side::Output, &self.outputs)].concat()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_going_is_told_once_however_often_it_is_said() {
        let mut peers = Peers::new(2, 1);
        let mut told = VecDeque::new();
        peers.set_named(Side::Input, 0, 20);
        peers.set_named(Side::Input, 1, 20);
        peers.gone(|peer| peer == 20, &mut told);
        peers.disconnected(Side::Input, 0, 20, &mut told);
        peers.gone(|_| true, &mut told);
        assert_eq!(told, [Ready::InputGone(0), Ready::InputGone(1)]);
        assert_eq!(peers.named(Side::Input, 0), None);
    }

    #[test]
    fn an_input_that_others_still_play_on_is_back_at_once() {
        let mut peers = Peers::new(1, 0);
        let mut told = VecDeque::new();
        peers.set_named(Side::Input, 0, 20);
        peers.connected(Side::Input, 0, 129, &mut told);
        peers.connected(Side::Input, 0, 129, &mut told);
        peers.disconnected(Side::Input, 0, 129, &mut told);
        assert_eq!(told, [Ready::InputGone(0), Ready::InputBack(0)]);
        assert_eq!(peers.named(Side::Input, 0), Some(20));
    }

    #[test]
    fn everyone_who_begins_to_listen_is_told_and_only_the_last_who_stops() {
        let mut peers = Peers::new(0, 1);
        let mut told = VecDeque::new();
        peers.connected(Side::Output, 0, 129, &mut told);
        peers.connected(Side::Output, 0, 130, &mut told);
        peers.gone(|peer| peer == 129, &mut told);
        peers.gone(|peer| peer == 130, &mut told);
        assert_eq!(told, [Ready::OutputBack(0), Ready::OutputJoined(0), Ready::OutputGone(0)]);
    }
}
