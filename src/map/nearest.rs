//! Which known name was most likely meant by one that is not known.

/// The known name that was most likely meant, if one is near: letters swapped, left out, added or mistaken.
#[must_use]
pub fn nearest<'n>(name: &str, known: impl Iterator<Item = &'n str>) -> Option<&'n str> {
    // Names are short; comparing long ones would only cost time.
    const LONGEST: usize = 80;
    let name = name.to_lowercase();
    let length = name.chars().count();
    if length > LONGEST {
        return None;
    }
    let distance = |other: &str| strsim::osa_distance(&name, &other.to_lowercase());
    let near = |other: &&str| distance(other) <= length.max(other.chars().count()).min(12) / 3;
    known.filter(|other| other.len() <= 4 * LONGEST).filter(near).min_by_key(|other| distance(other))
}
