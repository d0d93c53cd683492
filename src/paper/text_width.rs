//! Text for drawings and pages: how wide it is at most, how it breaks into lines, and how it is written as XML.
//!
//! A drawing must hold on a machine whose fonts nobody knows. So a text is calculated as wide as it is in the widest of
//! the usual faces, DejaVu Sans (its advance widths, by fontTools 4); narrower faces leave a little more air.

use std::fmt::Write;

/// How strong letters are.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Weight {
    /// As usual.
    Plain,
    /// Bold.
    Bold,
}

/// Thousandths of the letter size, from the space to the tilde.
const PLAIN: [u16; 95] = [
    318, 401, 460, 838, 636, 950, 780, 275, 390, 390, 500, 838, 318, 361, 318, 337, 636, 636, 636, 636, 636, 636, 636,
    636, 636, 636, 337, 337, 838, 838, 838, 531, 1000, 684, 686, 698, 770, 632, 575, 775, 752, 295, 295, 656, 557, 863,
    748, 787, 603, 787, 695, 635, 611, 732, 684, 989, 685, 611, 685, 390, 337, 390, 838, 500, 500, 613, 635, 550, 635,
    615, 352, 635, 634, 278, 278, 579, 278, 974, 634, 612, 635, 635, 411, 521, 392, 634, 592, 818, 592, 592, 525, 636,
    337, 636, 838,
];
const BOLD: [u16; 95] = [
    348, 456, 521, 838, 696, 1002, 872, 306, 457, 457, 523, 838, 380, 415, 380, 365, 696, 696, 696, 696, 696, 696, 696,
    696, 696, 696, 400, 400, 838, 838, 838, 580, 1000, 774, 762, 734, 830, 683, 683, 821, 837, 372, 372, 775, 637, 995,
    837, 850, 733, 850, 770, 720, 682, 812, 774, 1103, 771, 724, 725, 457, 365, 457, 838, 500, 500, 675, 716, 593, 716,
    678, 435, 716, 712, 343, 343, 665, 343, 1042, 712, 687, 716, 716, 493, 595, 478, 712, 652, 924, 645, 652, 582, 712,
    365, 712, 838,
];

/// How wide a text is at most, in the unit of `size`.
pub(crate) fn width(text: &str, size: f64, weight: Weight) -> f64 {
    let table = if weight == Weight::Bold { &BOLD } else { &PLAIN };
    let of = |letter: char| match letter {
        ' '..='~' => table[letter as usize - 32],
        '\u{300}'..='\u{36F}' | '\u{200B}'..='\u{200F}' | '\u{FE00}'..='\u{FE0F}' => 0,
        '\u{A0}'..='\u{5FF}' if letter.is_lowercase() => 720,
        '\u{590}'..='\u{8FF}' => 900,
        // Ideographs and pictures are as wide as they are high, some a little wider.
        '\u{1100}'.. if !('\u{1E00}'..='\u{2BFF}').contains(&letter) => 1400,
        _ => 1000,
    };
    text.chars().map(|letter| f64::from(of(letter))).sum::<f64>() * size / 1000.0
}

/// The text in lines no wider than `most`, broken between words, and within a word where it alone is too wide.
pub(crate) fn lines(text: &str, size: f64, weight: Weight, most: f64) -> Vec<String> {
    let mut lines = Vec::new();
    let mut line = String::new();
    for word in text.split_whitespace() {
        let joined = if line.is_empty() { word.to_owned() } else { format!("{line} {word}") };
        if width(&joined, size, weight) <= most {
            line = joined;
            continue;
        }
        if !line.is_empty() {
            lines.push(std::mem::take(&mut line));
        }
        for letter in word.chars() {
            if !line.is_empty() && width(&format!("{line}{letter}"), size, weight) > most {
                lines.push(std::mem::take(&mut line));
            }
            line.push(letter);
        }
    }
    if !line.is_empty() || lines.is_empty() {
        lines.push(line);
    }
    lines
}

/// The text, or as much of its beginning as is no wider than `most`, and an ellipsis.
pub(crate) fn cut(text: &str, size: f64, weight: Weight, most: f64) -> String {
    if width(text, size, weight) <= most {
        return text.to_owned();
    }
    let mut kept = String::new();
    for letter in text.chars() {
        if width(&format!("{kept}{letter}…"), size, weight) > most {
            break;
        }
        kept.push(letter);
    }
    format!("{}…", kept.trim_end())
}

/// A text without what commands whoever shows it: controls become U+FFFD, line ends blanks, and what would turn the
/// writing of the text around it is left out.
pub(crate) fn cleaned(text: &str) -> String {
    let clean = |letter: char| match letter {
        '\t' | '\n' | '\r' => Some(' '),
        '\0'..='\x1F' | '\x7F'..='\u{9F}' | '\u{FFFE}' | '\u{FFFF}' => Some('\u{FFFD}'),
        '\u{202A}'..='\u{202E}' | '\u{2066}'..='\u{2069}' => None,
        _ => Some(letter),
    };
    text.chars().filter_map(clean).collect()
}

/// A clean text as it stands in XML and HTML, in an element or in an attribute between double quotes.
pub(crate) fn escaped(text: &str) -> String {
    let mut escaped = String::with_capacity(text.len());
    for letter in cleaned(text).chars() {
        match letter {
            '&' => escaped.push_str("&amp;"),
            '<' => escaped.push_str("&lt;"),
            '>' => escaped.push_str("&gt;"),
            '"' => escaped.push_str("&quot;"),
            '\'' => escaped.push_str("&#39;"),
            _ => escaped.push(letter),
        }
    }
    escaped
}

/// A number as short as it may be written in a drawing: two decimals at most.
pub(crate) fn number(value: f64) -> String {
    let mut text = String::new();
    let _ = write!(text, "{value:.2}");
    let short = text.trim_end_matches('0').trim_end_matches('.');
    if short == "-0" { "0".to_owned() } else { short.to_owned() }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn lines_are_no_wider_than_they_may_be() {
        let text = "one hand and it sounds full Donaudampfschifffahrtsgesellschaftskapitän 東京の冬 !";
        for most in [20.0, 60.0, 200.0, 5000.0] {
            let broken = lines(text, 10.0, Weight::Bold, most);
            assert!(broken.iter().all(|line| width(line, 10.0, Weight::Bold) <= most), "{broken:?}");
            let letters = |text: &str| text.chars().filter(|letter| !letter.is_whitespace()).collect::<String>();
            assert_eq!(letters(&broken.concat()), letters(text));
        }
        assert_eq!(lines("", 10.0, Weight::Plain, 50.0), [""]);
        // Narrower than a letter: each stands alone.
        assert_eq!(lines("ab", 10.0, Weight::Plain, 1.0), ["a", "b"]);
        assert_eq!(cut("piano and pad", 10.0, Weight::Plain, 45.0), "piano…");
    }

    #[test]
    fn what_xml_cannot_hold_does_not_get_into_it() {
        let text = "a<b>&\"c'\0\u{1b}\n\u{202e}d\u{FFFF}";
        let xml = format!("<t a=\"{0}\">{0}</t>", escaped(text));
        let read = roxmltree::Document::parse(&xml).expect("well-formed");
        let expected = "a<b>&\"c'\u{FFFD}\u{FFFD} d\u{FFFD}";
        assert_eq!(read.root_element().text(), Some(expected));
        assert_eq!(read.root_element().attribute("a"), Some(expected));
    }

    #[test]
    fn numbers_are_short() {
        assert_eq!([0.0, -0.001, 2.5, 10.0, 1.0 / 3.0].map(number), ["0", "0", "2.5", "10", "0.33"]);
    }
}
