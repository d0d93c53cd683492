//! What comes from a map, a port or a file, made fit to be shown: one place for all that must not reach a terminal, a line
//! of a log or a program that reads JSON.

/// Letters that command a terminal, end a line or turn the direction of what stands beside them.
fn disturbs(letter: char) -> bool {
    letter.is_control()
        || matches!(
            letter,
            '\u{61c}' | '\u{200e}' | '\u{200f}' | '\u{2028}'..='\u{202e}' | '\u{2066}'..='\u{2069}'
        )
}

/// A text for one line: each letter that would disturb is shown as a replacement character.
#[must_use]
pub fn clean(text: &str) -> String {
    text.chars().map(|letter| if disturbs(letter) { char::REPLACEMENT_CHARACTER } else { letter }).collect()
}

/// The same for several lines: their ends stay.
#[must_use]
pub fn clean_lines(text: &str) -> String {
    text.split('\n').map(clean).collect::<Vec<_>>().join("\n")
}

/// JSON that means the same, in which no letter disturbs who shows it. In JSON such letters stand within texts only,
/// where each may be written by its number; ends of lines between are left.
#[must_use]
pub fn clean_json(json: &str) -> String {
    let mut clean = String::with_capacity(json.len());
    for letter in json.chars() {
        if disturbs(letter) && letter != '\n' {
            // All of them lie in the first 65,536.
            clean.push_str(&format!("\\u{:04x}", u32::from(letter)));
        } else {
            clean.push(letter);
        }
    }
    clean
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Everything that must not get through.
    fn bad() -> String {
        let controls = ('\0'..='\u{9f}').filter(|letter| letter.is_control());
        controls
            .chain("\u{202a}\u{202b}\u{202c}\u{202d}\u{202e}\u{2066}\u{2067}\u{2068}\u{2069}\u{2028}\u{2029}".chars())
            .collect()
    }

    #[test]
    fn nothing_that_disturbs_is_left() {
        let shown = clean(&format!("a{}b", bad()));
        assert!(shown.starts_with('a') && shown.ends_with('b') && !shown.chars().any(disturbs), "{shown:?}");
        let lines = clean_lines("Lantern\u{1b}[2J\nsé雪 ♩ → ½\r\n");
        assert_eq!(lines, "Lantern\u{fffd}[2J\nsé雪 ♩ → ½\u{fffd}\n");
    }

    #[test]
    fn json_means_the_same() {
        let json = serde_json::to_string_pretty(&[bad()]).unwrap();
        let shown = clean_json(&json);
        assert!(!shown.chars().any(|letter| disturbs(letter) && letter != '\n'), "{shown:?}");
        assert!(shown.contains("\\u009b") && shown.contains("\\u202e"));
        assert_eq!(serde_json::from_str::<[String; 1]>(&shown).unwrap(), [bad()]);
    }
}
