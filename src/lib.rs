//! handspan: from the keyboard to the sounds.
pub mod cli;
pub mod daemon;
pub mod engine;
pub mod map;
pub mod midi;
pub mod music;
pub mod ports;
