//! What the file of an output is called: a gear file may call an output what it likes, a file's name has no path in it.

use super::clean::clean;

/// The longest name in bytes, without what is put behind it: file systems take 255.
const LONGEST: usize = 200;

/// Names that are devices on some systems.
const DEVICES: [&str; 6] = ["con", "prn", "aux", "nul", "conin$", "conout$"];

/// A name for a file that lies in the folder where it is made, on every system.
#[must_use]
pub fn file_name(name: &str) -> String {
    let fits = |letter: char| if "/\\:*?\"<>|\u{fffd}".contains(letter) { '_' } else { letter };
    let mut plain: String = clean(name).chars().map(fits).collect();
    while plain.len() > LONGEST {
        plain.pop();
    }
    // What follows a dot does not make another device of it, nor do blanks before that.
    let stem = plain.split('.').next().unwrap_or_default().trim_end().to_lowercase();
    let is_number = |text: &str| text.chars().count() == 1 && text.chars().all(|digit| digit.is_numeric());
    let is_device = DEVICES.contains(&stem.as_str())
        || ["com", "lpt"].iter().any(|port| stem.strip_prefix(port).is_some_and(is_number));
    if plain.is_empty() || plain.starts_with('.') || is_device {
        plain.insert(0, '_');
    }
    if plain.ends_with(['.', ' ']) {
        plain.push('_');
    }
    plain
}

/// Names for files that lie in one folder; where two would be one file on a system that takes large and small letters
/// for the same, the later one gets a number.
#[must_use]
pub fn file_names<'n>(names: impl IntoIterator<Item = &'n str>) -> Vec<String> {
    let mut given: Vec<String> = Vec::new();
    for name in names {
        let plain = file_name(name);
        let numbered = (2_u32..).map(|number| format!("{plain} ({number})"));
        let free = |name: &String| given.iter().all(|known| known.to_lowercase() != name.to_lowercase());
        given.extend(std::iter::once(plain.clone()).chain(numbered).find(free));
    }
    given
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_usual_name_stays_and_no_name_leads_elsewhere() {
        for name in ["piano", "pad 2", "Flöte", "a.b", "com", "comb", "com12", "console", "auxiliary"] {
            assert_eq!(file_name(name), name);
        }
        let long = "ü".repeat(300);
        for (name, file) in [
            ("../../etc/cron.d/x", "_.._.._etc_cron.d_x"),
            ("/tmp/x", "_tmp_x"),
            ("..", "_.._"),
            (".", "_._"),
            ("", "_"),
            ("a\0b\nc\u{202e}d", "a_b_c_d"),
            ("c:\\x", "c__x"),
            ("nul", "_nul"),
            ("COM1.x", "_COM1.x"),
            ("Com\u{b9}", "_Com\u{b9}"),
            ("con .x", "_con .x"),
            ("CONIN$", "_CONIN$"),
            ("aux", "_aux"),
            ("lpt0", "_lpt0"),
            ("x. ", "x. _"),
            (long.as_str(), &"ü".repeat(100)),
        ] {
            assert_eq!(file_name(name), file, "{name:?}");
        }
    }

    #[test]
    fn two_outputs_are_two_files() {
        assert_eq!(
            file_names(["pad", "Pad", "a/b", "a:b", "pad (2)"]),
            ["pad", "Pad (2)", "a_b", "a_b (2)", "pad (2) (2)"]
        );
    }
}
