//! Where the words of cue keys stand above a keyboard: in rows, none over another, no leader through a word.

use crate::paper::text_width::{Weight, lines, width};

/// Letter size of the words.
pub(super) const SIZE: f64 = 10.0;
/// Lines of words are no wider than this.
const MOST: f64 = 150.0;
/// Between the leader and its words, and between words.
pub(super) const SPACE: f64 = 4.0;

/// Words at the upper end of a leader that rises from a key.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct Label {
    /// Where its leader stands.
    pub x: f64,
    /// The words, in several lines where they are long, the uppermost first.
    pub lines: Vec<String>,
    /// Whether the words stand to the left of the leader.
    pub left: bool,
    /// The row of its lowest line, from 0, the nearest to the keys.
    row: usize,
    wide: f64,
}

impl Label {
    /// So many rows are needed for it and what lies below.
    pub fn rows(&self) -> usize {
        self.row + self.lines.len()
    }

    fn span(&self) -> (f64, f64) {
        match self.left {
            true => (self.x - SPACE - self.wide, self.x),
            false => (self.x, self.x + SPACE + self.wide),
        }
    }

    /// Whether this and another one, which stands already, are clear of each other: words beside words in one row, and
    /// neither leader through the other's words.
    fn is_clear_of(&self, other: &Label) -> bool {
        let ((from, to), (other_from, other_to)) = (self.span(), other.span());
        let crosses = |x: f64, (from, to): (f64, f64)| (from - SPACE..=to + SPACE).contains(&x);
        if self.row >= other.rows() {
            !crosses(self.x, other.span())
        } else if other.row >= self.rows() {
            !crosses(other.x, self.span())
        } else {
            to + SPACE < other_from || other_to + SPACE < from
        }
    }
}

/// The labels of leaders at these places, from left to right, in a drawing that is `right` wide.
pub(super) fn placed(keys: &[(f64, &str)], right: f64) -> Vec<Label> {
    let mut labels: Vec<Label> = keys
        .iter()
        .map(|(x, words)| {
            let lines = lines(words, SIZE, Weight::Plain, MOST);
            let wide = lines.iter().map(|line| width(line, SIZE, Weight::Plain)).fold(0.0, f64::max);
            Label { x: *x, lines, left: false, row: 0, wide }
        })
        .collect();
    // Words that would leave the drawing, or cover a leader whose words do, stand to the left.
    let mut limit = right;
    for label in labels.iter_mut().rev() {
        if label.span().1 + SPACE > limit && label.x > label.wide + SPACE {
            label.left = true;
            limit = label.x;
        }
    }
    let order =
        (0..labels.len()).rev().filter(|n| !labels[*n].left).chain((0..labels.len()).filter(|n| labels[*n].left));
    let order: Vec<usize> = order.collect();
    for (done, number) in order.iter().enumerate() {
        // The row above all others is clear, but for the leader.
        let above = order[..done].iter().map(|other| labels[*other].rows()).max().unwrap_or(0);
        for row in 0..=above {
            labels[*number].row = row;
            if order[..done].iter().all(|other| labels[*number].is_clear_of(&labels[*other])) {
                break;
            }
        }
    }
    labels
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn words_stand_beside_or_above_one_another() {
        let rows = |keys: &[(f64, &str)]| {
            let placed = placed(keys, 640.0);
            for (number, label) in placed.iter().enumerate() {
                let (from, to) = label.span();
                assert!(from >= 0.0 && to <= 640.0, "{label:?}");
                assert!(placed[..number].iter().all(|other| label.is_clear_of(other)), "{placed:#?}");
            }
            placed.iter().map(|label| (label.left, label.row)).collect::<Vec<_>>()
        };
        assert_eq!(rows(&[]), []);
        assert_eq!(rows(&[(20.0, "drone"), (400.0, "fade")]), [(false, 0), (false, 0)]);
        assert_eq!(rows(&[(20.0, "next section"), (32.0, "fade")]), [(false, 1), (false, 0)]);
        assert_eq!(rows(&[(600.0, "next section"), (620.0, "talkback")]), [(true, 0), (true, 1)]);
        let many: Vec<(f64, &str)> = (0..20).map(|key| (20.0 + 12.0 * f64::from(key), "panic")).collect();
        // Each stands over the leaders of the next: a stair.
        assert_eq!(rows(&many), (0..20).rev().map(|row| (false, row)).collect::<Vec<_>>());
        // Long words stand in several lines, and what stands over them clears all.
        let long = "section The last chorus of the evening, next song";
        assert_eq!(rows(&[(330.0, "fade"), (340.0, long)]), [(false, 2), (false, 0)]);
    }
}
