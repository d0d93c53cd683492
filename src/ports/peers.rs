//! Which ports of others are connected to ours, and what it means that one comes or goes.
//!
//! The system tells the same thing in several ways (a port's end, its client's end, the end of the connection) and in
//! no fixed order. What was told already changes nothing here, so each coming and going is reported once.

use std::collections::VecDeque;

use super::back_end::Arrival;
use super::port::{Direction, PortId};
use super::table::PortTable;
use super::wish::Wish;

/// The peers of every input and output; `A` is the system's address of a port.
#[derive(Debug)]
pub(super) struct Peers<A>(PortTable<PortPeers<A>>);

#[derive(Debug)]
struct PortPeers<A> {
    /// The port that the gear file names, while it is connected.
    named: Option<A>,
    /// All that are connected: the one that is named, and what others connected.
    all: Vec<A>,
}

impl<A: Copy + PartialEq> Peers<A> {
    pub(super) fn new(wish: &Wish) -> Self {
        Peers(PortTable::new(wish, |_| PortPeers { named: None, all: Vec::with_capacity(4) }))
    }

    /// The port that the gear file names is connected from now on; nothing is reported, as at the start.
    pub(super) fn set_named(&mut self, id: PortId, peer: A) {
        if let Some(port) = self.0.get_mut(id) {
            port.named = Some(peer);
        }
        self.add(id, peer);
    }

    /// A port is connected from now on; nothing is reported, as at the start.
    pub(super) fn add(&mut self, id: PortId, peer: A) {
        if let Some(port) = self.0.get_mut(id).filter(|port| !port.all.contains(&peer)) {
            port.all.push(peer);
        }
    }

    /// A port was connected. An input with a peer is reported once; an output for everyone who begins to listen, as
    /// each needs the set-up (rule R21).
    pub(super) fn connected(&mut self, id: PortId, peer: A, changes: &mut VecDeque<Arrival<'static>>) {
        let Some(port) = self.0.get_mut(id).filter(|port| !port.all.contains(&peer)) else { return };
        let first = port.all.is_empty();
        port.all.push(peer);
        match id.direction {
            Direction::Input if first => changes.push_back(Arrival::InputBack(id.number)),
            Direction::Input => {}
            Direction::Output if first => changes.push_back(Arrival::OutputBack(id.number)),
            Direction::Output => changes.push_back(Arrival::OutputJoined(id.number)),
        }
    }

    /// A connection has ended. Of an input, nobody knows which held keys came from whom: all come up (rule R17),
    /// and it is back at once where others still play on it.
    pub(super) fn disconnected(&mut self, id: PortId, peer: A, changes: &mut VecDeque<Arrival<'static>>) {
        let Some(port) = self.0.get_mut(id) else { return };
        let Some(place) = port.all.iter().position(|known| *known == peer) else { return };
        port.all.remove(place);
        port.named = port.named.filter(|named| *named != peer);
        let last = port.all.is_empty();
        match id.direction {
            Direction::Input => {
                changes.push_back(Arrival::InputDisconnected(id.number));
                changes.extend((!last).then_some(Arrival::InputBack(id.number)));
            }
            Direction::Output => changes.extend(last.then_some(Arrival::OutputDisconnected(id.number))),
        }
    }

    /// Every port for which `gone` holds has ended.
    pub(super) fn gone(&mut self, gone: impl Fn(A) -> bool, changes: &mut VecDeque<Arrival<'static>>) {
        for (id, peer) in self.all().into_iter().filter(|(_, peer)| gone(*peer)) {
            self.disconnected(id, peer, changes);
        }
    }

    /// The connected port that the gear file names.
    pub(super) fn named(&self, id: PortId) -> Option<A> {
        self.0.get(id).and_then(|port| port.named)
    }

    /// Whether anything is connected to one of ours.
    pub(super) fn is_connected(&self, id: PortId) -> bool {
        !self.of(id).is_empty()
    }

    /// What is connected to one of ours.
    pub(super) fn of(&self, id: PortId) -> &[A] {
        self.0.get(id).map_or(&[], |port| &port.all)
    }

    /// Every connection.
    pub(super) fn all(&self) -> Vec<(PortId, A)> {
        self.0.iter().flat_map(|(id, port)| port.all.iter().map(move |peer| (id, *peer))).collect()
    }
}

#[cfg(test)]
mod tests {
    use super::super::{InputWish, OutputWish, Target};
    use super::*;

    const OUTPUT: PortId = PortId::output(0);

    fn peers(inputs: usize, outputs: usize) -> Peers<u8> {
        let input = InputWish { name: "keyboard".into(), port: "piano".into(), serial: None, optional: false };
        let output = OutputWish { name: "piano".into(), target: Target::Virtual, optional: false };
        Peers::new(&Wish { inputs: vec![input; inputs], outputs: vec![output; outputs], ..Wish::default() })
    }

    #[test]
    fn one_going_is_reported_once_however_often_it_is_told() {
        let mut peers = peers(2, 1);
        let mut changes = VecDeque::new();
        peers.set_named(PortId::input(0), 20);
        peers.set_named(PortId::input(1), 20);
        peers.gone(|peer| peer == 20, &mut changes);
        peers.disconnected(PortId::input(0), 20, &mut changes);
        peers.gone(|_| true, &mut changes);
        assert_eq!(changes, [Arrival::InputDisconnected(0), Arrival::InputDisconnected(1)]);
        assert_eq!(peers.named(PortId::input(0)), None);
    }

    #[test]
    fn an_input_that_others_still_play_on_is_back_at_once() {
        let mut peers = peers(1, 0);
        let mut changes = VecDeque::new();
        peers.set_named(PortId::input(0), 20);
        peers.connected(PortId::input(0), 129, &mut changes);
        peers.connected(PortId::input(0), 129, &mut changes);
        peers.disconnected(PortId::input(0), 129, &mut changes);
        assert_eq!(changes, [Arrival::InputDisconnected(0), Arrival::InputBack(0)]);
        assert_eq!(peers.named(PortId::input(0)), Some(20));
    }

    #[test]
    fn everyone_who_begins_to_listen_is_reported_and_only_the_last_who_stops() {
        let mut peers = peers(0, 1);
        let mut changes = VecDeque::new();
        peers.connected(OUTPUT, 129, &mut changes);
        peers.connected(OUTPUT, 130, &mut changes);
        peers.gone(|peer| peer == 129, &mut changes);
        peers.gone(|peer| peer == 130, &mut changes);
        assert_eq!(changes, [Arrival::OutputBack(0), Arrival::OutputJoined(0), Arrival::OutputDisconnected(0)]);
    }
}
