//! Which part of a line of a map nobody may see when the line is shown: passcodes, however they are misspelled.

use std::ops::Range;

/// The fields of `[stand]` that everybody may see.
const OPEN: [&str; 2] = ["listen", "input"];

/// Where in a line, which begins and ends at `line` of `text`, something secret begins; the rest of the line is.
pub(super) fn from(text: &str, line: Range<usize>) -> Option<usize> {
    let shown = text.get(line.clone())?;
    let before = text.get(..line.start)?;
    if is_within_a_passcode(before) {
        return Some(0);
    }
    let after_sign = |from: usize| shown[from..].find('=').map(|sign| from + sign + 1);
    if let Some(at) = shown.to_ascii_lowercase().find("passcode") {
        let behind = at + "passcode".len();
        return Some(after_sign(behind).unwrap_or(behind));
    }
    let bare = shown.trim_start();
    let key = bare.split(['=', ' ', '\t', '"', '\'']).next().unwrap_or_default();
    let is_header = bare.starts_with('[');
    let of_stand = key == "stand" || key.strip_prefix("stand.").is_some_and(|field| !OPEN.contains(&field));
    let in_stand = !is_header && is_in_stand(before) && !OPEN.contains(&key) && !bare.starts_with('#');
    let begin = shown.len() - bare.len() + key.len();
    (of_stand || in_stand).then(|| after_sign(begin).unwrap_or(begin))
}

/// Whether the last header is the one of the stand.
fn is_in_stand(before: &str) -> bool {
    let headers = before.lines().rev().map(str::trim).filter(|line| line.starts_with('['));
    let header = headers.map(|line| line.trim_matches(['[', ']', ' ', '\t'])).next();
    header.is_some_and(|header| header.split(']').next().is_some_and(|name| name.trim() == "stand"))
}

/// Whether a text over several lines that a passcode is has begun and not ended.
fn is_within_a_passcode(before: &str) -> bool {
    let Some(at) = before.to_ascii_lowercase().rfind("passcode") else { return false };
    ["\"\"\"", "'''"].iter().any(|quotes| before.get(at..).is_some_and(|rest| rest.matches(quotes).count() % 2 == 1))
}

/// A part of a line that begins at `start` of it, hidden from `secret` on, letter for letter, so that marks lie where
/// they lay.
pub(super) fn hide(part: &str, start: usize, secret: Option<usize>) -> String {
    let shown = |(at, letter): (usize, char)| {
        let is_secret = secret.is_some_and(|from| start + at >= from);
        if is_secret && !letter.is_whitespace() && !"\"'{}=".contains(letter) { '•' } else { letter }
    };
    part.char_indices().map(shown).collect()
}

/// What stands in place of what nobody may see.
pub const LEFT_OUT: &str = "(left out)";

/// A map's text without what nobody may see.
#[must_use]
pub fn without_secrets(text: &str) -> String {
    let mut shown = String::with_capacity(text.len());
    let mut start = 0;
    for line in text.split_inclusive('\n') {
        let end = start + line.trim_end_matches('\n').len();
        match from(text, start..end) {
            // A line of a passcode over several lines is shown as nothing.
            Some(0) => {}
            Some(at) => {
                shown.push_str(line.get(..at).unwrap_or_default());
                shown.push(' ');
                shown.push_str(LEFT_OUT);
                shown.push('\n');
            }
            None => shown.push_str(line),
        }
        start += line.len();
    }
    shown
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The last line of a text as it is shown.
    fn last(text: &str) -> String {
        let start = text.rfind('\n').map_or(0, |end| end + 1);
        hide(&text[start..], 0, from(text, start..text.len()))
    }

    #[test]
    fn no_passcode_is_shown() {
        for text in [
            "[stand]\npasscode = \"ember\"",
            "[stand]\nPassCode=\"ember\" # ember",
            "[stand]\npasscode \"ember\"",
            "[stand]\nviewing_passcode = 'ember",
            "[stand]\npasscod = \"ember\"",
            "[stand]\npass\"ember\"",
            "[stand] # here\nword = \"ember\"",
            "[ stand ]\nword = \"ember\"",
            "stand = { listen = \"off\", passcode = \"ember\" }",
            "stand.word = \"ember\"",
            "[stand]\npasscode = \"\"\"\nember",
            "# the passcode is ember",
        ] {
            assert!(!last(text).contains("ember"), "{}", last(text));
        }
    }

    #[test]
    fn everything_else_is() {
        for text in [
            "[stand]\nlisten = \"127.0.0.1:7340\"",
            "[stand]\ninput = \"keyboard\"",
            "[stand]\npasscode = \"x\"\n[outputs.pad]\nvirtual = true",
            "[outputs.pad]\npass_clock = true",
            "[stand]",
        ] {
            let start = text.rfind('\n').map_or(0, |end| end + 1);
            assert_eq!(last(text), text[start..], "{text}");
        }
    }

    #[test]
    fn a_text_is_shown_without_its_passcodes() {
        let text = "[stand]\nlisten = \"0.0.0.0:7340\"\npasscode = \"\"\"\nseven grey\nherons\"\"\"\n# after\n[outputs.pad]\nvirtual = true";
        let shown = without_secrets(text);
        assert!(!shown.contains("grey") && !shown.contains("herons"), "{shown}");
        assert!(shown.contains("passcode = (left out)\n"), "{shown}");
        assert!(
            shown.contains("listen = \"0.0.0.0:7340\"\n") && shown.ends_with("[outputs.pad]\nvirtual = true"),
            "{shown}"
        );
    }
}
