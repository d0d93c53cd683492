//! Counts what a thread asks the allocator for, to hold the ports to their promise of asking for nothing.

use std::alloc::{GlobalAlloc, Layout, System};
use std::cell::Cell;

thread_local! {
    static ASKED: Cell<u64> = const { Cell::new(0) };
}

/// The system's allocator, counted by thread.
pub struct Counting;

// SAFETY: every call goes to the system's allocator unchanged; the counter is a plain cell that allocates nothing.
unsafe impl GlobalAlloc for Counting {
    unsafe fn alloc(&self, layout: Layout) -> *mut u8 {
        let _ = ASKED.try_with(|asked| asked.set(asked.get() + 1));
        // SAFETY: the caller keeps the contract of `alloc`, which is the same.
        unsafe { System.alloc(layout) }
    }

    unsafe fn dealloc(&self, place: *mut u8, layout: Layout) {
        // SAFETY: the place came from the system's allocator, with this layout.
        unsafe { System.dealloc(place, layout) }
    }
}

/// How often this thread has asked for memory so far.
pub fn asked() -> u64 {
    ASKED.with(Cell::get)
}
