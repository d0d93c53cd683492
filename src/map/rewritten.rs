//! A text that was put right in places, and where each of its places stood before.

use std::ops::Range;

/// A piece of the new text: where it begins, where it stood, and whether it stands as it did.
#[derive(Debug, Clone, Copy)]
struct Piece {
    begin: usize,
    before: usize,
    kept: bool,
}

/// A text, piece by piece as it was or put there instead.
#[derive(Debug, Clone, Default)]
pub(super) struct Rewritten {
    /// The new text.
    pub text: String,
    pieces: Vec<Piece>,
}

impl Rewritten {
    /// A text as it is.
    pub fn whole(text: &str) -> Rewritten {
        let mut new = Rewritten::default();
        new.keep(text, 0..text.len());
        new
    }

    /// A text with something more at one place.
    pub fn with(text: &str, at: usize, more: &str) -> Rewritten {
        let mut new = Rewritten::default();
        new.keep(text, 0..at);
        new.put(more, at);
        new.keep(text, at..text.len());
        new
    }

    /// A part of the old text as it is.
    pub fn keep(&mut self, old: &str, part: Range<usize>) {
        self.piece(part.start, true);
        self.text.push_str(&old[part]);
    }

    /// A text in place of what stood from here on.
    pub fn put(&mut self, text: &str, before: usize) {
        self.piece(before, false);
        self.text.push_str(text);
    }

    fn piece(&mut self, before: usize, kept: bool) {
        self.pieces.push(Piece { begin: self.text.len(), before, kept });
    }

    /// Where a place of the new text stood in the old one.
    pub fn before(&self, at: usize) -> usize {
        // Of pieces that begin at one place, all but the last are empty.
        let next = self.pieces.partition_point(|piece| piece.begin <= at);
        let Some(piece) = next.checked_sub(1).and_then(|number| self.pieces.get(number)) else { return at };
        if piece.kept { piece.before + (at - piece.begin) } else { piece.before }
    }
}

/// A text that was put right again and again.
#[derive(Debug)]
pub(super) struct Layers(pub Vec<Rewritten>);

impl Layers {
    /// A text as it is.
    pub fn of(text: &str) -> Layers {
        Layers(vec![Rewritten::whole(text)])
    }

    /// The text as it is now.
    pub fn text(&self) -> &str {
        self.0.last().map_or("", |layer| &layer.text)
    }

    /// Where a place of it stood in the beginning.
    pub fn before(&self, at: usize) -> usize {
        self.0.iter().rev().fold(at, |at, layer| layer.before(at))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn places_are_found_again() {
        let old = "a = “b”, –3";
        let mut new = Rewritten::default();
        new.keep(old, 0..4);
        new.put("\"", 4);
        new.keep(old, 7..8);
        new.put("\"", 8);
        new.keep(old, 11..13);
        new.put("-", 13);
        new.keep(old, 16..17);
        assert_eq!(new.text, "a = \"b\", -3");
        assert_eq!([0, 4, 5, 6, 7, 9, 10, 11].map(|at| new.before(at)), [0, 4, 7, 8, 11, 13, 16, 17]);
        assert_eq!(Rewritten::default().before(3), 3);
    }
}
