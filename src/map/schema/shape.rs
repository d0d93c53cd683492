//! What a field of a map can take.

/// What a field takes.
#[derive(Debug, Clone, Copy)]
pub(super) enum Shape {
    /// A text of at most so many letters, not empty.
    Text(usize),
    /// A text of many parts.
    Parts,
    /// One of a few words.
    Words(&'static [&'static str]),
    /// What a cue can do.
    Action,
    /// `true` or `false`.
    Flag,
    /// A whole number within limits.
    Whole(i64, i64),
    /// A number within limits.
    Number(f64, f64),
    /// A note by name or number.
    Note,
    /// A musical key.
    Key,
    /// A text of this form.
    Form(&'static str),
    /// Exactly so many things, in this order.
    Row(&'static [Shape]),
    /// A list of such things, with at least so many.
    List(&'static Shape, usize),
    /// One of several shapes.
    Either(&'static [Shape]),
    /// A table that is read as this.
    Table(&'static str),
    /// Tables whose names are the player's own, each read as this.
    Named(&'static str),
    /// The same, not of tables.
    NamedValues(&'static Shape),
}

/// A field of a kind of table.
#[derive(Debug, Clone, Copy)]
pub(super) struct Field {
    /// Its name.
    pub name: &'static str,
    /// What it takes.
    pub takes: Shape,
    /// Whether the table needs it.
    pub needed: bool,
    /// What it is, in a few words.
    pub about: &'static str,
}

/// A kind of table, as the reader calls it, and its fields.
pub(super) type Home = (&'static str, &'static [Field]);
