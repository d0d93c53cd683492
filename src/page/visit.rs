//! A connection from its beginning to its end, whatever it becomes.

use std::sync::Arc;

use super::hub::{Ends, Hub};
use super::limits::Slot;

/// One connection.
#[derive(Debug, Clone)]
pub(super) struct Visit {
    pub hub: Arc<Hub>,
    pub ends: Ends,
    /// Its slot among the connections, for as long as any part of it lives.
    pub slot: Arc<Slot>,
}
