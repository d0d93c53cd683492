//! `handspan key`: which key a take is in, and what its melody spans.

use std::path::Path;

use super::console::{Failure, tell};
use super::replay;
use crate::music::key_finding::{FoundKey, by_class, find_keys};
use crate::paper::drawing::key_name;
use crate::wording::voices;

pub(super) const HELP: &str =
    "It holds how long each tone sounds against how well each fits a key: the profiles of Krumhansl \
and Kessler (1982). The agreement goes from -1 to 1. Percussion, the tenth channel, is left out.

Examples:
  handspan key sung.mid
  handspan key maps/takes/weir-gate.mid

Exit codes: 0 done, 2 the command line is wrong or a file cannot be read.";

/// So many keys are told.
const SHOWN: usize = 5;
/// Columns of a bar for an agreement of 1.
const BAR: f64 = 40.0;

pub(super) fn run(take: &Path) -> Result<(), Failure> {
    let times = replay::read_take(take)?.note_times();
    let name = take.display().to_string();
    let found = find_keys(&by_class(&times)).ok_or_else(|| Failure::Wrong(voices::no_key(&name)))?;
    for FoundKey { key, agreement } in found.iter().take(SHOWN) {
        let bar = "█".repeat((agreement.max(0.0) * BAR).round() as usize);
        tell(&format!("{:4} {agreement:5.2}  {bar}", key.to_string()));
    }
    let [best, next, ..] = &found[..] else { return Ok(()) };
    let lead = best.agreement - next.agreement;
    tell(&voices::certainty(&best.key.to_string(), &next.key.to_string(), lead));
    let mut sounding = (0..128_u8).filter(|note| times[usize::from(*note)] > 0);
    tell("");
    tell("For the song's map, if the take is its melody:");
    tell(&format!("  key = \"{}\"", best.key));
    if let Some(low) = sounding.next() {
        tell(&format!(
            "  melody_range = [\"{}\", \"{}\"]",
            key_name(low),
            key_name(sounding.next_back().unwrap_or(low))
        ));
    }
    Ok(())
}
