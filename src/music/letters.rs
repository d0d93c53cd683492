//! The seven letters.

/// Semitones above C of the letters C, D, E, F, G, A, B.
pub(super) const NATURALS: [i32; 7] = [0, 2, 4, 5, 7, 9, 11];
/// The letters, in the order of [`NATURALS`].
pub(super) const LETTERS: [char; 7] = ['C', 'D', 'E', 'F', 'G', 'A', 'B'];
