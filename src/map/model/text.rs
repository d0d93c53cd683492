//! Where something stands in the text of a map.

/// A place in one of the files that were read.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct Spot {
    /// Which file, as an index into [`Book::sources`].
    pub file: usize,
    /// First byte.
    pub start: usize,
    /// Byte after the last.
    pub end: usize,
}

/// A value and where it stands.
#[derive(Debug, Clone, PartialEq)]
pub struct At<T> {
    /// The value.
    pub value: T,
    /// Where it stands.
    pub spot: Spot,
}

/// A file that was read.
#[derive(Debug, Clone)]
pub struct Source {
    /// Its path as the user would write it.
    pub path: String,
    /// Its text.
    pub text: String,
}
