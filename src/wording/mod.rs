//! What is said of an evening, each sentence once: for terminal, log, page, paper, the answers at the control socket and
//! `try`. Whoever shows a sentence adds an indent or breaks the line; the words are here.
//!
//! It knows neither ports nor files nor threads, and nobody who shows its words. What those call happenings reaches it
//! as names and numbers.

pub(crate) mod actions;
pub(crate) mod changes;
pub(crate) mod cues;
pub(crate) mod glossary;
pub(crate) mod keys;
pub(crate) mod messages;
pub(crate) mod notices;
pub(crate) mod page;
pub(crate) mod paper;
pub(crate) mod performance;
pub(crate) mod ports;
pub(crate) mod received;
#[cfg(test)]
mod tests;
pub(crate) mod voices;
pub(crate) mod zones;

/// Several names in a sentence: `Ida, Tom and Ada`.
pub(crate) fn listed(names: &[&str]) -> String {
    match names {
        [first @ .., last] if !first.is_empty() => format!("{} and {last}", first.join(", ")),
        _ => names.concat(),
    }
}

/// Something that is on, or off.
pub(crate) fn on_off(on: bool) -> &'static str {
    if on { "on" } else { "off" }
}
