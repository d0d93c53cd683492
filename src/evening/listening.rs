//! Who listens to whom: zones to inputs.

use crate::map::{At, Book, Gear, Input, Song, Zone};

/// Number of inputs that are heard: one bit each in [`Inputs`]. Those beyond are not listened to.
pub const MOST_INPUTS: usize = 32;

/// A set of inputs, one bit each.
pub type Inputs = u32;

/// Whether a zone listens to an input (rule R3): to the one that it names, else to every one that plays.
#[must_use]
pub fn listens(zone: &Zone, input: &Input) -> bool {
    zone.input.as_ref().map_or(input.play, |named| named.value == input.name.value)
}

/// The inputs that are heard at all, with their numbers.
pub fn heard(gear: &Gear) -> impl Iterator<Item = (usize, &Input)> {
    gear.inputs.iter().take(MOST_INPUTS).enumerate()
}

/// The inputs that are heard and that zones may listen to, with their numbers.
pub fn playing(gear: &Gear) -> impl Iterator<Item = (usize, &Input)> {
    heard(gear).filter(|(_, input)| input.play)
}

/// The inputs that a zone listens to.
#[must_use]
pub fn inputs_of(gear: &Gear, zone: &Zone) -> Inputs {
    those(gear, |input| listens(zone, input))
}

/// The inputs whose pedals and controllers a zone follows (rule R7): that of its `feet`, else those that it listens to.
#[must_use]
pub fn feet_of(gear: &Gear, zone: &Zone) -> Inputs {
    let is = |feet: &At<String>| those(gear, |input| input.name.value == feet.value);
    zone.pedals_from.as_ref().map_or_else(|| inputs_of(gear, zone), is)
}

fn those(gear: &Gear, wanted: impl Fn(&Input) -> bool) -> Inputs {
    heard(gear).filter(|(_, input)| wanted(input)).fold(0, |set, (number, _)| set | 1 << number)
}

/// The inputs whose keyboards tell something about a song: those that play, but an optional one only where a zone names
/// it.
pub fn worth_drawing<'b>(book: &'b Book, song: &'b Song) -> impl Iterator<Item = &'b Input> {
    let named = |input: &Input| song.zones.iter().any(|zone| zone.input.is_some() && listens(zone, input));
    book.gear.inputs.iter().filter(move |input| input.play && (!input.optional || named(input)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::evening::tests::book;

    /// A keyboard, a second one that may be absent, and pedals.
    const MORE: &str =
        "[inputs.upper]\nport = \"u\"\nplay = true\noptional = true\n[inputs.pedals]\nport = \"f\"\nplay = false\n";

    fn song(zones: &str) -> Book {
        book(MORE, "[[song]]\nmap = \"0\"\n", &[&format!("title = \"Snow\"\nkey = \"D\"\n{zones}")])
    }

    #[test]
    fn a_zone_listens_to_what_it_names_else_to_all_that_play() {
        let book = song(
            "[[zone]]\nsound = \"grand\"\n[[zone]]\nsound = \"grand\"\ninput = \"upper\"\n\
             [[zone]]\nsound = \"grand\"\npedals_from = \"pedals\"\n",
        );
        let zones = &book.songs[0].zones;
        let sets = |of: fn(&Gear, &Zone) -> Inputs| zones.iter().map(|zone| of(&book.gear, zone)).collect::<Vec<_>>();
        assert_eq!(sets(inputs_of), [0b011, 0b010, 0b011]);
        // The pedals of an input that plays nothing can be followed; else a zone follows those that it listens to.
        assert_eq!(sets(feet_of), [0b011, 0b010, 0b100]);
        assert_eq!(playing(&book.gear).map(|(number, _)| number).collect::<Vec<_>>(), [0, 1]);
    }

    #[test]
    fn an_optional_keyboard_is_drawn_where_a_zone_names_it() {
        let drawn =
            |book: &Book| worth_drawing(book, &book.songs[0]).map(|input| input.name.value.clone()).collect::<Vec<_>>();
        assert_eq!(drawn(&song("[[zone]]\nsound = \"grand\"\n")), ["keyboard"]);
        assert_eq!(drawn(&song("[[zone]]\nsound = \"grand\"\ninput = \"upper\"\n")), ["keyboard", "upper"]);
    }

    #[test]
    fn inputs_beyond_the_most_are_not_heard() {
        let more: String =
            (1..40).map(|number| format!("[inputs.i{number}]\nport = \"{number}\"\nplay = true\n")).collect();
        let song = "title = \"Snow\"\nkey = \"D\"\n[[zone]]\nsound = \"grand\"\n[[zone]]\nsound = \"grand\"\ninput = \"i39\"\n";
        let book = book(&more, "[[song]]\nmap = \"0\"\n", &[song]);
        let zones = &book.songs[0].zones;
        assert_eq!([inputs_of(&book.gear, &zones[0]), inputs_of(&book.gear, &zones[1])], [Inputs::MAX, 0]);
    }
}
