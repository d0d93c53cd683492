//! Tonight's order of a song, and what section keys add along it.

use std::collections::HashMap;

use crate::map::{At, Entry, Song, Spot};

/// A step of tonight's order.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct OrderStep {
    /// Number of the section; `None` in a song without sections.
    pub section: Option<usize>,
    /// What the last section key at or before this step adds, in semitones (rule R5).
    pub lift: i32,
    /// Where that key is written, where there is one.
    pub lifted_by: Option<Spot>,
}

/// Tonight's order of a song.
#[derive(Debug, Clone)]
pub struct Order<'s> {
    song: &'s Song,
    /// Its steps; a song without sections has one. Never empty.
    pub steps: Vec<OrderStep>,
}

/// By how many semitones a section's own key lifts the song, the nearest way from the chart's key (rule R5); `None` where
/// it has no key of its own.
#[must_use]
pub fn own_lift(song: &Song, section: usize) -> Option<i32> {
    let key = song.sections.get(section)?.key.as_ref()?;
    Some(song.key.value.nearest_way(key.value))
}

/// What section keys add where a section is played after others: its own key's way from the chart's, else what the last
/// one before it added (rule R5).
#[must_use]
pub fn lift(own: Option<i32>, before: i32) -> i32 {
    own.unwrap_or(before)
}

impl<'s> Order<'s> {
    /// The order of `entry`, which is `song`'s: the entry's own, else the song's, else the sections as they are written.
    #[must_use]
    pub fn of(entry: &Entry, song: &'s Song) -> Order<'s> {
        let numbers: HashMap<&str, usize> =
            (0..song.sections.len()).map(|number| (song.sections[number].name.value.as_str(), number)).collect();
        let number = |name: &At<String>| numbers.get(name.value.as_str()).copied();
        let mut sections: Vec<Option<usize>> = match entry.order.as_ref().or(song.order.as_ref()) {
            Some(order) => order.iter().filter_map(number).map(Some).collect(),
            None => (0..song.sections.len()).map(Some).collect(),
        };
        if sections.is_empty() {
            sections.push((!song.sections.is_empty()).then_some(0));
        }
        let mut order = Order { song, steps: Vec::with_capacity(sections.len()) };
        let (mut added, mut lifted_by) = (0, None);
        for section in sections {
            added = lift(section.and_then(|section| own_lift(song, section)), added);
            let key = section.and_then(|section| song.sections.get(section)).and_then(|section| section.key.as_ref());
            lifted_by = key.map(|key| key.spot).or(lifted_by);
            order.steps.push(OrderStep { section, lift: added, lifted_by });
        }
        order
    }

    /// The sections of its steps, by number; none in a song without sections.
    pub fn sections(&self) -> impl Iterator<Item = usize> {
        self.steps.iter().filter_map(|step| step.section)
    }

    /// What section keys add in a section, seen from a step: as the section comes next in the order, else as it came
    /// last; in one that the order lacks, as if it were played at this step.
    #[must_use]
    pub fn lift_seen_from(&self, step: usize, section: usize) -> i32 {
        let mut coming = self.steps.iter().skip(step).chain(self.steps.iter().rev());
        let aside = || lift(own_lift(self.song, section), self.steps.get(step).map_or(0, |step| step.lift));
        coming.find(|step| step.section == Some(section)).map_or_else(aside, |step| step.lift)
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::evening::tests::one_song;

    const SONG: &str = "title = \"Snow\"\nkey = \"C\"\n[[section]]\nname = \"a\"\n[[section]]\nname = \"b\"\nkey = \"D\"\n\
                        [[section]]\nname = \"c\"\n[[section]]\nname = \"d\"\nkey = \"Bb\"\n[[section]]\nname = \"e\"\nkey = \"C\"\n";

    fn lifts(order: &Order<'_>) -> Vec<(Option<usize>, i32)> {
        order.steps.iter().map(|step| (step.section, step.lift)).collect()
    }

    #[test]
    fn the_last_section_key_at_or_before_a_step_counts() {
        // R5: the last section key at or before this place in the order adds its nearest way from the chart's key.
        let book = one_song("", SONG);
        let order = Order::of(&book.set.entries[0], &book.songs[0]);
        assert_eq!(lifts(&order), [(Some(0), 0), (Some(1), 2), (Some(2), 2), (Some(3), -2), (Some(4), 0)]);
        let lifted = order.steps.iter().map(|step| step.lifted_by.is_some()).collect::<Vec<_>>();
        assert_eq!(lifted, [false, true, true, true, true]);
        assert_eq!(order.steps[1].lifted_by, order.steps[2].lifted_by);
    }

    #[test]
    fn tonights_order_comes_before_the_songs_and_that_before_the_files() {
        let with_order = SONG.replace(
            "key = \"C\"\n[[section]]\nname = \"a\"",
            "key = \"C\"\norder = [\"c\", \"b\", \"c\"]\n[[section]]\nname = \"a\"",
        );
        let book = one_song("", &with_order);
        let order = Order::of(&book.set.entries[0], &book.songs[0]);
        assert_eq!(lifts(&order), [(Some(2), 0), (Some(1), 2), (Some(2), 2)]);
        let book = one_song("order = [\"d\", \"a\"]\n", &with_order);
        let order = Order::of(&book.set.entries[0], &book.songs[0]);
        assert_eq!(order.sections().collect::<Vec<_>>(), [3, 0]);
    }

    #[test]
    fn seen_from_a_step_a_section_is_lifted_as_it_comes_next_else_as_it_came_last() {
        let book = one_song("order = [\"a\", \"b\", \"a\", \"c\"]\n", SONG);
        let order = Order::of(&book.set.entries[0], &book.songs[0]);
        let seen = |step| [0, 1, 2].map(|section| order.lift_seen_from(step, section));
        assert_eq!([seen(0), seen(1), seen(3)], [[0, 2, 2], [2, 2, 2], [2, 2, 2]]);
        // Aside of the order: its own key, else the one that applies.
        assert_eq!([order.lift_seen_from(0, 3), order.lift_seen_from(2, 3)], [-2, -2]);
        let book = one_song("order = [\"b\"]\n", SONG);
        let order = Order::of(&book.set.entries[0], &book.songs[0]);
        assert_eq!(order.lift_seen_from(0, 0), 2);
    }

    #[test]
    fn a_song_without_sections_has_one_step() {
        let book = one_song("", "title = \"Snow\"\nkey = \"C\"\n");
        let order = Order::of(&book.set.entries[0], &book.songs[0]);
        assert_eq!((lifts(&order), order.sections().count()), (vec![(None, 0)], 0));
    }
}
