//! Keys and voices: what a key asks of who sings and who plays. It is a suggestion; who sings decides.

use crate::evening::Asked;
use crate::music::Key;

/// What is said with every ranking.
pub(crate) const CAUTION: &str = "A suggestion: who sings decides, on the day. Pain or strain is a reason to stop, and to see \
a professional if it comes back.";

/// How a key lies for a voice: `comfortable`, `2 above comfortable`, `3 too high`.
pub(crate) fn lies(asked: &Asked) -> String {
    let beyond = |(below, above): (i32, i32), low: &str, high: &str| {
        let parts = [(below, low), (above, high)].into_iter().filter(|(far, _)| *far > 0);
        parts.map(|(far, words)| format!("{far} {words}")).collect::<Vec<_>>().join(", ")
    };
    let mut words = match (asked.outside, asked.strained) {
        ((0, 0), (0, 0)) => "comfortable".to_owned(),
        ((0, 0), strained) => beyond(strained, "below comfortable", "above comfortable"),
        (outside, _) => beyond(outside, "too low", "too high"),
    };
    if let Some(share) = asked.share.filter(|share| *share > 0.0) {
        words.push_str(&format!(" ({} % of the time)", percent(share)));
    }
    words
}

/// A share in per cent, never 0 for something and never 100 for less than all.
fn percent(share: f64) -> i64 {
    let rounded = (share * 100.0).round() as i64;
    if share < 1.0 { rounded.clamp(1, 99) } else { rounded }
}

/// Sharps or flats of a key's signature: `3♭`, `2♯`, `none`.
pub(crate) fn signature(key: Key) -> String {
    match key.signature() {
        0 => "none".to_owned(),
        sharps if sharps > 0 => format!("{sharps}♯"),
        flats => format!("{}♭", -flats),
    }
}

/// No key fits.
pub(crate) fn no_key_fits(best: &str, far: &str, octave: Option<(i32, &str)>) -> String {
    let slip = octave.map_or_else(String::new, |(octave, notes)| {
        let way = if octave > 0 { "lower" } else { "higher" };
        format!(
            " The melody may be written an octave {way} than it is sung: then write melody_range = {notes} in the song's map."
        )
    });
    format!("No key fits. The best is {best}: {far}.{slip}")
}

/// A song of which nobody is said to sing it.
pub(crate) fn nobody(title: &str) -> String {
    format!("Nobody is said to sing \"{title}\": write singer = \"…\" in its entry of the set, or give --voice alto.")
}

/// A song without a melody range.
pub(crate) fn no_melody(title: &str) -> String {
    format!(
        "What the melody of \"{title}\" spans is not known: write melody_range in its map, or give a played melody with \
         --melody TAKE.mid."
    )
}

/// A take in which nothing sounds.
pub(crate) fn empty_melody(take: &str) -> String {
    format!("In the take {take} no note sounds: there is no melody in it. Record it again, or give another take.")
}

/// A played melody sounds as if it were in another key than the chart's.
pub(crate) fn other_key(found: &str, chart: &str) -> String {
    format!(
        "The take sounds like {found}, but is read as played in the chart's key, {chart}. If it was played in {found}, record \
         it in {chart}, or correct the chart's key."
    )
}

/// A set in which nobody sings.
pub(crate) const NOBODY_SINGS: &str =
    "No entry of the set says who sings: write singer = \"…\" in an entry, or give a song and --voice alto.";

/// A take of which no key can be told.
pub(crate) fn no_key(take: &str) -> String {
    format!("Of the take {take} no key can be told: nothing sounds in it, or all twelve tones do so equally long.")
}

/// How sure a key is: by how much the best agrees better than the next, of the same tonic or not.
pub(crate) fn certainty(best: &str, next: &str, lead: f64) -> String {
    match lead {
        0.1.. => format!("{best}, clearly: {next} comes next, and agrees much less."),
        0.03.. => format!("Probably {best}; {next} agrees nearly as well."),
        _ => format!("Hard to tell: {best} and {next} agree equally well. The last bass note often decides."),
    }
}

/// A song's map has the key of a take now; its chords stay as they are written.
pub(crate) fn key_written(song: &str, was: &str, key: &str) -> String {
    if was == key {
        return format!("{song} is in {key}, as it was, and has the melody's range now.");
    }
    format!(
        "{song} is in {key} now, not in {was}. Chords that are written in it stay as they are: `handspan check` reads them in {key}."
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::evening::Suits;

    fn asked(outside: (i32, i32), strained: (i32, i32), share: Option<f64>) -> String {
        lies(&Asked { heard: (0, 0), outside, strained, suits: Suits::Well, share })
    }

    #[test]
    fn every_sentence_is_spelled_out() {
        assert_eq!(asked((0, 0), (0, 0), Some(0.0)), "comfortable");
        assert_eq!(asked((0, 0), (0, 2), Some(0.004)), "2 above comfortable (1 % of the time)");
        assert_eq!(asked((0, 0), (1, 2), None), "1 below comfortable, 2 above comfortable");
        assert_eq!(asked((3, 1), (4, 2), Some(0.999)), "3 too low, 1 too high (99 % of the time)");
        let signatures = ["C", "Eb", "Bm", "G#"].map(|key| signature(key.parse().unwrap()));
        assert_eq!(signatures, ["none", "3♭", "2♯", "4♭"]);
        assert_eq!(no_key_fits("F", "2 too high", None), "No key fits. The best is F: 2 too high.");
        assert_eq!(
            no_key_fits("F", "9 too low", Some((12, "[\"A4\", \"D5\"]"))),
            "No key fits. The best is F: 9 too low. The melody may be written an octave lower than it is sung: then write \
             melody_range = [\"A4\", \"D5\"] in the song's map."
        );
        assert_eq!(
            nobody("Snow"),
            "Nobody is said to sing \"Snow\": write singer = \"…\" in its entry of the set, or give --voice alto."
        );
        assert_eq!(
            no_melody("Snow"),
            "What the melody of \"Snow\" spans is not known: write melody_range in its map, or give a played melody with \
             --melody TAKE.mid."
        );
        assert_eq!(
            empty_melody("a.mid"),
            "In the take a.mid no note sounds: there is no melody in it. Record it again, or give another take."
        );
        assert_eq!(
            other_key("F", "D"),
            "The take sounds like F, but is read as played in the chart's key, D. If it was played in F, record it in D, or \
             correct the chart's key."
        );
        assert_eq!(
            no_key("a.mid"),
            "Of the take a.mid no key can be told: nothing sounds in it, or all twelve tones do so equally long."
        );
        assert_eq!(certainty("C", "Am", 0.21), "C, clearly: Am comes next, and agrees much less.");
        assert_eq!(certainty("C", "Am", 0.05), "Probably C; Am agrees nearly as well.");
        assert_eq!(
            certainty("C", "Am", 0.01),
            "Hard to tell: C and Am agree equally well. The last bass note often decides."
        );
    }
}
