//! A set of one's own with nothing plugged in: the real program, its page over a real socket.
#![cfg(unix)]

mod from_empty;
mod handing_over;
#[allow(dead_code)]
#[path = "../page_socket/page.rs"]
mod page;
mod running;
mod tasks;
mod without_ports;
