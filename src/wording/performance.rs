//! How a performance begins and ends, what is kept of it, and what goes wrong on the way.

use std::fmt::Display;

/// What is played.
pub(crate) fn set(title: &str, entries: usize) -> String {
    format!("{title}: {entries} songs and pauses")
}

/// The first line of a log.
pub(crate) fn begins(version: &str, set: &str) -> String {
    format!("handspan {version} plays {set}")
}

/// After a run that ended unexpectedly.
pub(crate) const GOES_ON: &str =
    "The last run ended unexpectedly: the set goes on where it was, and sends nothing again.";
/// The same, with other maps.
pub(crate) const BEGINS_AGAIN: &str =
    "The last run ended unexpectedly, but the maps have changed since: the set begins again.";
/// The end was asked for.
pub(crate) const ENDED: &str = "The performance has just ended.";
/// The engine failed in a step.
pub(crate) const STARTED_AGAIN: &str =
    "The engine failed and was started again: all notes have ended, the set goes on here. Please report this.";

/// The end, and what was left out: notes outside the range, messages that outputs refused, reports that were lost.
pub(crate) fn end(out_of_range: u64, refused: u64, lost: u64) -> Vec<String> {
    let counts = [
        (out_of_range, "notes lay outside the MIDI range and were not sent"),
        (refused, "messages were refused by an output"),
    ];
    let counts = counts.iter().filter(|(count, _)| *count > 0).map(|(count, what)| format!("{count} {what}."));
    let mut lines = vec!["The end: every note has ended, every pedal is up.".to_owned()];
    lines.extend(counts);
    lines.extend((lost > 0).then(|| reports_lost(lost)));
    lines
}

/// Reports that nobody read in time.
pub(crate) fn reports_lost(count: u64) -> String {
    match count {
        1 => "One report was lost, because it was not read in time.".to_owned(),
        count => format!("{count} reports were lost, because they were not read in time."),
    }
}

/// Where the take is.
pub(crate) fn recorded_in(folder: &dyn Display) -> String {
    format!("recorded in \"{folder}\"")
}

/// Messages are missing from the take.
pub(crate) fn take_incomplete(missing: u64) -> String {
    format!("{missing} messages are missing from the take: they could not be written in time.")
}

/// The take cannot go on.
pub(crate) fn take_ended(error: &dyn Display) -> String {
    format!("The take ends here ({error}); what was recorded before can be read, the music goes on.")
}

/// Lines are missing from the log.
pub(crate) fn log_incomplete(missing: u64) -> String {
    format!("{missing} lines are missing: they could not be written in time")
}

/// The log cannot go on.
pub(crate) fn log_ended(file: &str, error: &dyn Display) -> String {
    format!("The log {file} cannot be written any longer ({error}); the music goes on.")
}

/// The system has no folder for what outlives a run.
pub(crate) const NOT_SAVED: &str = "Nothing is saved for a restart: this system has no folder for that.";

/// What outlives a run cannot be written.
pub(crate) fn cannot_save(error: &dyn Display) -> String {
    format!("Song, section and key cannot be saved for a restart ({error}).")
}

/// Others cannot reach this performance.
pub(crate) fn unreachable(error: &dyn Display) -> String {
    format!("`handspan do` and `handspan status` cannot reach this performance: {error}.")
}

/// Two tryouts run, and others reach the first.
pub(crate) const OTHERS_TRYOUT: &str = "Another `try` runs: `handspan do` and `handspan status` reach that one, and this one is steered by its page alone.";
