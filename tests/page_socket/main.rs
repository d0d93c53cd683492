//! The stand: what its page sees and does over a real socket, what is refused, and that nothing that comes in there stops
//! the music. Ports in memory in which time passes; the client is tungstenite, which speaks RFC 6455.

#[cfg(unix)]
mod computer;
mod crowd;
mod evening;
mod forms;
mod hostile;
mod leaving;
mod listening;
mod log;
mod names;
#[cfg(target_os = "linux")]
mod other_user;
mod page;
mod playing;
mod requests;
mod rights;
mod thumbs;
