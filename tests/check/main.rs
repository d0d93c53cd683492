//! What `handspan check` finds, in how many songs, and how it says so.

mod beside_the_engine;
mod command;
mod cues;
mod evenings;
mod findings;
mod many_songs;

#[path = "../spelled/mod.rs"]
mod spelled;
