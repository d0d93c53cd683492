//! The keys of a song: the room's, the fingers' and the chart's (rule R5).

use super::listed;
use crate::evening::{Keys, Suits};
use crate::map::Song;

/// Whom a key suits, of those who sing: `good for Ida, within reach of Tom, not for Ada`.
pub(crate) fn suits(singers: &[(&str, Suits)]) -> String {
    let of = |wanted: Suits, words: &str| {
        let names: Vec<&str> = singers.iter().filter(|(_, suits)| *suits == wanted).map(|(name, _)| *name).collect();
        (!names.is_empty()).then(|| format!("{words} {}", listed(&names)))
    };
    let parts = [of(Suits::Well, "good for"), of(Suits::Just, "within reach of"), of(Suits::Not, "not for")];
    parts.into_iter().flatten().collect::<Vec<_>>().join(", ")
}

/// The keys of a song as it is entered tonight, with its tempo and meter: `room F, fingers C, +5, ♩ = 72, 4/4`.
pub(crate) fn tonight(keys: &Keys, song: &Song) -> String {
    let chart = (keys.chart != keys.tonight).then(|| keys.chart.to_string());
    let mut words = line(&keys.tonight.to_string(), &keys.play_in.to_string(), keys.shift, chart.as_deref());
    words.extend(song.tempo.map(|tempo| format!("♩ = {tempo}")));
    words.extend(song.meter.map(|(beats, value)| format!("{beats}/{value}")));
    words.join(", ")
}

/// The keys at this moment: `room F (+1 from tonight's key), fingers C, +5, chart D`.
pub(crate) fn now(room: &str, transposed: i32, fingers: &str, shift: i32, chart: &str) -> String {
    let room = if transposed == 0 { room.to_owned() } else { format!("{room} ({})", from_tonight(transposed)) };
    line(&room, fingers, shift, Some(chart)).join(", ")
}

fn line(room: &str, fingers: &str, shift: i32, chart: Option<&str>) -> Vec<String> {
    let mut words = vec![self::room(room), format!("fingers {fingers}")];
    words.extend((shift != 0).then(|| format!("{shift:+}")));
    words.extend(chart.map(|chart| format!("chart {chart}")));
    words
}

/// The room's key: `room F`.
pub(crate) fn room(key: &str) -> String {
    format!("room {key}")
}

/// The song or pause that comes next, with the room's key on entering it: `Next song: Nine Bells, room Am`.
pub(crate) fn next_song(title: &str, key: Option<&str>) -> String {
    let key = key.map_or_else(String::new, |key| format!(", {}", room(key)));
    format!("Next song: {title}{key}")
}

/// What the next section does to the room's key: `rises to E`.
pub(crate) fn goes_to(key: &str, rises: bool) -> String {
    format!("{} to {key}", if rises { "rises" } else { "falls" })
}

/// The room's key is as far from tonight's as it goes.
pub(crate) fn at_the_limit(above: bool) -> String {
    let side = if above { "above" } else { "below" };
    format!("Nothing changes: the room's key is an octave {side} tonight's, and goes no further.")
}

/// How far a key is from tonight's: `tonight's key`, or `+1 from tonight's key`.
pub(crate) fn from_tonight(transposed: i32) -> String {
    match transposed {
        0 => "tonight's key".to_owned(),
        transposed => format!("{transposed:+} from tonight's key"),
    }
}
