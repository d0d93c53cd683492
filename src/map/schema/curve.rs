//! What a touch curve holds.

use super::form::{Field, Form, TEXT, Table};

const TOUCH: Form = Form::Number(1.0, 127.0);
const BEND: Form = Form::Whole(0, 100);

/// A curve.
pub const CURVE: Table = Table {
    what: "a curve",
    about: "Turns the velocity that was played into the one that counts.",
    fields: &[
        Field::new("lighter", BEND, "30", "A soft touch counts more: from 0, straight, to 100."),
        Field::new("heavier", BEND, "30", "A soft touch counts less: from 0, straight, to 100."),
        Field::new(
            "points",
            Form::List(&Form::Pair(&TOUCH, &TOUCH), 2),
            "[[1, 40], [64, 80], [127, 110]]",
            "A smooth rising curve through these points, each velocity in and velocity out.",
        ),
        Field::new("always", TOUCH, "90", "The same velocity for every touch."),
        Field::new("low", TOUCH, "1", "What the softest touch counts, with lighter or heavier; 1 unless given."),
        Field::new("high", TOUCH, "127", "What the hardest touch counts, with lighter or heavier; 127 unless given."),
    ],
    one_of: &["lighter", "heavier", "points", "always"],
    needs: &[],
};

/// A curve, or the name of one of the gear's.
pub const CURVE_OR_NAME: Form = Form::Either(&[TEXT, Form::Table(&CURVE)]);
