//! Our ports by number: one entry for each input and each output that the gear file wants.

use std::convert::Infallible;

use super::port::{Direction, PortId};
use super::wish::Wish;

/// One entry for each of our ports.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(super) struct PortTable<T> {
    pub(super) inputs: Vec<T>,
    pub(super) outputs: Vec<T>,
}

impl<T> PortTable<T> {
    /// An entry for every port of `wish`, inputs first; the first failure ends it.
    pub(super) fn try_new<E>(wish: &Wish, mut entry: impl FnMut(PortId) -> Result<T, E>) -> Result<Self, E> {
        let inputs = (0..wish.inputs.len()).map(|number| entry(PortId::input(number))).collect::<Result<_, E>>()?;
        let outputs = (0..wish.outputs.len()).map(|number| entry(PortId::output(number))).collect::<Result<_, E>>()?;
        Ok(PortTable { inputs, outputs })
    }

    /// An entry for every port of `wish`, inputs first.
    pub(super) fn new(wish: &Wish, mut entry: impl FnMut(PortId) -> T) -> Self {
        let Ok(table) = Self::try_new(wish, |id| Ok::<T, Infallible>(entry(id)));
        table
    }

    pub(super) fn get(&self, id: PortId) -> Option<&T> {
        match id.direction {
            Direction::Input => self.inputs.get(id.number),
            Direction::Output => self.outputs.get(id.number),
        }
    }

    pub(super) fn get_mut(&mut self, id: PortId) -> Option<&mut T> {
        match id.direction {
            Direction::Input => self.inputs.get_mut(id.number),
            Direction::Output => self.outputs.get_mut(id.number),
        }
    }

    /// All entries, inputs first.
    pub(super) fn iter(&self) -> impl Iterator<Item = (PortId, &T)> {
        let inputs = self.inputs.iter().enumerate().map(|(number, entry)| (PortId::input(number), entry));
        inputs.chain(self.outputs.iter().enumerate().map(|(number, entry)| (PortId::output(number), entry)))
    }

    /// All entries of one direction.
    pub(super) fn of_mut(&mut self, direction: Direction) -> impl Iterator<Item = (PortId, &mut T)> {
        let entries = if direction == Direction::Input { &mut self.inputs } else { &mut self.outputs };
        entries.iter_mut().enumerate().map(move |(number, entry)| (PortId { direction, number }, entry))
    }
}
