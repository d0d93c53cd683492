//! How pieces of a sheet flow over pages.

use super::shape::Mark;

/// A strip of a page over its whole width.
#[derive(Debug, Clone)]
pub(super) struct Strip {
    /// How high it is, in millimetres.
    pub height: f64,
    /// What is drawn, from its own upper left corner.
    pub marks: Vec<Mark>,
    /// Whether the next one stays on the same page.
    pub keep: bool,
}

impl Strip {
    pub fn new(height: f64, marks: Vec<Mark>) -> Strip {
        Strip { height, marks, keep: false }
    }

    /// Nothing, so high.
    pub fn space(height: f64) -> Strip {
        Strip { height, marks: Vec::new(), keep: true }
    }
}

/// A page: pieces, each with how far down it stands.
pub(super) type Page = Vec<(f64, Strip)>;

/// Lays pieces on pages whose first has `first` and all others `others` millimetres. Pieces that are kept together go
/// to the next page together; where even a page of their own is too short, they are broken.
pub(super) fn pages(pieces: Vec<Strip>, first: f64, others: f64) -> Vec<Page> {
    let mut pages: Vec<Page> = Vec::new();
    let mut page: Page = Vec::new();
    let (mut down, mut room) = (0.0, first);
    let mut together: Vec<Strip> = Vec::new();
    for piece in pieces {
        let keep = piece.keep;
        together.push(piece);
        if keep {
            continue;
        }
        let group = std::mem::take(&mut together);
        let height: f64 = group.iter().map(|piece| piece.height).sum();
        let mut turn = |page: &mut Page| {
            pages.push(std::mem::take(page));
            (0.0, others)
        };
        if down + height > room && !page.is_empty() && height <= others {
            (down, room) = turn(&mut page);
        }
        for piece in group {
            if down + piece.height > room && !page.is_empty() {
                (down, room) = turn(&mut page);
            }
            // A page does not begin with nothing.
            if piece.marks.is_empty() && page.is_empty() {
                continue;
            }
            let height = piece.height;
            page.push((down, piece));
            down += height;
        }
    }
    if !page.is_empty() || pages.is_empty() {
        pages.push(page);
    }
    pages
}

#[cfg(test)]
mod tests {
    use super::*;

    fn laid(pieces: &[(f64, bool)]) -> Vec<Vec<f64>> {
        let mark = Mark::rect(0.0, 0.0, 1.0, 1.0);
        let pieces =
            pieces.iter().map(|(height, keep)| Strip { height: *height, marks: vec![mark.clone()], keep: *keep });
        let pages = pages(pieces.collect(), 50.0, 100.0);
        pages.iter().map(|page| page.iter().map(|(down, _)| *down).collect()).collect()
    }

    #[test]
    fn pieces_stay_together_where_a_page_can_hold_them() {
        assert_eq!(laid(&[(20.0, false), (30.0, false), (10.0, false)]), [vec![0.0, 20.0], vec![0.0]]);
        assert_eq!(laid(&[(20.0, false), (10.0, true), (30.0, false)]), [vec![0.0], vec![0.0, 10.0]]);
        let long: Vec<(f64, bool)> = (0..12).map(|number| (20.0, number < 11)).collect();
        assert_eq!(laid(&long).iter().map(Vec::len).collect::<Vec<_>>(), [2, 5, 5]);
        assert_eq!(laid(&[]), [Vec::<f64>::new()]);
    }
}
