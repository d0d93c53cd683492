//! The socket at which other terminals and scripts have something done: what it answers, what it refuses, and that
//! nothing that comes in there stops the music. Real sockets and files, ports in memory.
#![cfg(unix)]

mod actions;
mod changes;
mod commands;
mod evening;
mod hostile;
mod names;
mod status;
mod truth;
