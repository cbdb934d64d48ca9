//! Did-you-mean.

/// Longer words are not compared to their end. Our choice: a key or name is never that long.
const MAX_LETTERS: usize = 64;

/// Gives the candidate that `word` most likely stands for: equal but for case, or at most a third of its letters off.
///
/// Letters are off when inserted, deleted, changed, or swapped with their neighbour (optimal string alignment).
pub(crate) fn closest<'a>(word: &str, candidates: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let wanted: String = word.chars().take(MAX_LETTERS).flat_map(char::to_lowercase).collect();
    let wanted_letters = wanted.chars().count();
    candidates
        .into_iter()
        .map(|candidate| {
            let letters: String = candidate.chars().flat_map(char::to_lowercase).collect();
            (strsim::osa_distance(&wanted, &letters), candidate)
        })
        .filter(|&(distance, candidate)| 3 * distance <= candidate.chars().count().max(wanted_letters))
        .min_by_key(|&(distance, _)| distance)
        .map(|(_, candidate)| candidate)
}

#[cfg(test)]
mod tests {
    use super::closest;

    #[test]
    fn finds_slips_and_leaves_strangers_alone() {
        let keys = ["pace_ceiling", "pace_basis", "sessions_per_week"];
        assert_eq!(closest("pace_cieling", keys), Some("pace_ceiling"));
        assert_eq!(closest("Pace_Ceiling", keys), Some("pace_ceiling"));
        assert_eq!(closest("colour", keys), None);
        assert_eq!(closest("", keys), None);
    }

    #[test]
    fn a_third_of_the_letters_may_be_off_and_a_swap_is_one() {
        assert_eq!(closest("abcxyf", ["abcdef"]), Some("abcdef"));
        assert_eq!(closest("abwxyf", ["abcdef"]), None);
        assert_eq!(closest("badcfe", ["abcdef"]), None);
        assert_eq!(closest("badcef", ["abcdef"]), Some("abcdef"));
    }
}
