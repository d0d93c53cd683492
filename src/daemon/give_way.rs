//! Threads that serve others give way to the one that plays.

/// Where the processor is short, the owner comes first: the calling thread gets what is left. On Linux a nice value
/// belongs to the thread. Where it cannot be set, the thread is as good as others.
#[cfg(target_os = "linux")]
pub(crate) fn give_way() {
    let _ = rustix::process::setpriority_process(None, 5);
}

/// Elsewhere threads have no such value of their own.
#[cfg(not(target_os = "linux"))]
pub(crate) fn give_way() {}
