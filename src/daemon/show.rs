//! What is played at present, and what may follow it.

use std::hash::{DefaultHasher, Hash, Hasher};
use std::sync::Arc;

use super::changes::Change;
use crate::engine::{Plan, Successor};
use crate::map::{Book, beside_the_set};

/// A set with its plan: what the numbers in reports mean.
#[derive(Debug)]
pub struct Show {
    /// The maps as written.
    pub book: Book,
    /// The same compiled.
    pub plan: Arc<Plan>,
    /// What was changed since the maps were read or last saved; the book has it in it.
    pub changes: Vec<Change>,
}

impl Show {
    /// A set as it begins.
    #[must_use]
    pub fn new(book: Book) -> Show {
        Show::changed(book, Vec::new())
    }

    /// A set as it begins after changes that were not saved; `book` has them in it.
    #[must_use]
    pub fn changed(book: Book, changes: Vec<Change>) -> Show {
        let plan = Arc::new(Plan::new(&book));
        Show { book, plan, changes }
    }

    /// A number for all texts of the set, from whatever folder it was named. Another version of this program may give another number for the same texts;
    /// then a performance begins afresh.
    #[must_use]
    pub fn fingerprint(&self) -> u64 {
        let mut hasher = DefaultHasher::new();
        for source in &self.book.sources {
            (beside_the_set(&source.path, &self.book.sources), &source.text).hash(&mut hasher);
        }
        hasher.finish()
    }
}

/// A saved set, ready to come into force between two events.
#[derive(Debug)]
pub struct PreparedMaps {
    pub(super) successor: Successor,
    pub(super) show: Arc<Show>,
    /// What it was prepared to follow.
    pub(super) follows: Arc<Show>,
}

impl PreparedMaps {
    /// Prepares `book`, which has `changes` in it, to follow what is played.
    #[must_use]
    pub fn new(current: &Arc<Show>, book: Book, changes: Vec<Change>) -> PreparedMaps {
        let successor = Successor::new(&current.plan, Plan::after(&book, &current.plan));
        let show = Arc::new(Show { plan: Arc::clone(successor.plan()), book, changes });
        PreparedMaps { successor, show, follows: Arc::clone(current) }
    }

    /// What will be played.
    #[must_use]
    pub fn show(&self) -> &Arc<Show> {
        &self.show
    }
}
