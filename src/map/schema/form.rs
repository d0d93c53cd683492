//! How a table of the maps is described: its fields, and the form of what each holds.

use super::super::allowed::{LETTERS, LETTERS_OF_REMARKS};

/// A kind of table.
pub struct Table {
    /// What it is called in messages, such as "a zone".
    pub what: &'static str,
    /// What it is for, in a sentence.
    pub about: &'static str,
    /// Its fields, as one writes them.
    pub fields: &'static [Field],
    /// Fields of which it has exactly one; empty where there is no such choice.
    pub one_of: &'static [&'static str],
    /// Fields with another that must be there too.
    pub needs: &'static [(&'static str, &'static str)],
}

/// A field of a table.
pub struct Field {
    /// Its name.
    pub name: &'static str,
    /// What it holds.
    pub form: Form,
    /// Whether it must be there.
    pub needed: bool,
    /// How it is written, for instance.
    pub example: Example,
    /// What it says, in a sentence.
    pub about: &'static str,
}

/// How a field is written, for instance.
pub enum Example {
    /// A value, as TOML has it.
    Value(&'static str),
    /// A whole line, such as a header.
    Line(&'static str),
}

/// What a field holds.
pub enum Form {
    /// A text that is not empty, with at most so many letters.
    Text(usize),
    /// A text that matches this regular expression.
    Pattern(&'static str),
    /// `true` or `false`.
    Flag,
    /// A whole number within these limits.
    Whole(i64, i64),
    /// A number within these limits.
    Number(f64, f64),
    /// One of these words.
    Words(&'static [&'static str]),
    /// Two values.
    Pair(&'static Form, &'static Form),
    /// At least so many of one form.
    List(&'static Form, usize),
    /// Any of these forms.
    Either(&'static [Form]),
    /// A table.
    Table(&'static Table),
    /// Tables, each below a header in double brackets.
    Tables(&'static Table),
    /// Values below names that the user gives them.
    Named(&'static Form),
    /// Values below names that match this regular expression.
    NamedLike(&'static str, &'static Form),
}

impl Field {
    /// A field with a value for instance.
    pub const fn new(name: &'static str, form: Form, example: &'static str, about: &'static str) -> Self {
        Field { name, form, needed: false, example: Example::Value(example), about }
    }

    /// A field that is written as a line of its own, such as a header.
    pub const fn line(name: &'static str, form: Form, example: &'static str, about: &'static str) -> Self {
        Field { name, form, needed: false, example: Example::Line(example), about }
    }

    /// The same field, where it must be there.
    pub const fn needed(self) -> Self {
        Field { needed: true, ..self }
    }
}

/// The words of a list in which each stands for something.
pub const fn words<T: Copy, const N: usize>(list: &[(&'static str, T); N]) -> [&'static str; N] {
    let mut words = [""; N];
    let mut index = 0;
    while index < N {
        words[index] = list[index].0;
        index += 1;
    }
    words
}

/// A title, a name or another short text.
pub const TEXT: Form = Form::Text(LETTERS);
/// A remark or a path.
pub const LONG_TEXT: Form = Form::Text(LETTERS_OF_REMARKS);
/// A note by name or number.
pub const NOTE: Form = Form::Either(&[Form::Whole(0, 127), Form::Pattern("^[A-G][#b]?(-?[1-9][0-9]?|0)$")]);
/// The lowest and the highest note.
pub const RANGE: Form = Form::Pair(&NOTE, &NOTE);
/// A musical key.
pub const KEY: Form = Form::Pattern("^[A-G][#b]?m?$");
/// The key that the fingers play in.
pub const PLAY_IN: Form = Form::Either(&[KEY, Form::Words(&["room"])]);
/// A value of seven bits.
pub const SEVEN_BITS: Form = Form::Whole(0, 127);
/// A channel.
pub const CHANNEL: Form = Form::Whole(1, 16);
/// A program.
pub const PROGRAM: Form = Form::Whole(1, 128);
/// Bank select.
pub const BANK: Form = Form::Pair(&SEVEN_BITS, &SEVEN_BITS);
/// A text of many parts, such as chords.
pub const PARTS: Form = Form::Pattern("\\S");
