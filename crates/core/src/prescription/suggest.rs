//! Did-you-mean.

/// Gives the candidate that `word` most likely stands for: equal but for case, or at most a third of its letters off.
pub(crate) fn closest<'a>(word: &str, candidates: impl IntoIterator<Item = &'a str>) -> Option<&'a str> {
    let wanted: Vec<char> = word.chars().take(MAX_LETTERS).flat_map(char::to_lowercase).collect();
    candidates
        .into_iter()
        .map(|candidate| {
            let letters: Vec<char> = candidate.chars().flat_map(char::to_lowercase).collect();
            (distance(&wanted, &letters), candidate)
        })
        .filter(|&(distance, candidate)| 3 * distance <= candidate.chars().count().max(wanted.len()))
        .min_by_key(|&(distance, _)| distance)
        .map(|(_, candidate)| candidate)
}

/// Longer words are not compared to their end.
const MAX_LETTERS: usize = 64;

/// Edits between two words: insert, delete, change, or swap two neighbours (optimal string alignment).
fn distance(a: &[char], b: &[char]) -> usize {
    let mut rows = vec![vec![0; b.len() + 1]; a.len() + 1];
    for (i, row) in rows.iter_mut().enumerate() {
        row[0] = i;
    }
    rows[0] = (0..=b.len()).collect();
    for i in 1..=a.len() {
        for j in 1..=b.len() {
            let change = usize::from(a[i - 1] != b[j - 1]);
            let mut best = (rows[i - 1][j] + 1).min(rows[i][j - 1] + 1).min(rows[i - 1][j - 1] + change);
            if i > 1 && j > 1 && a[i - 1] == b[j - 2] && a[i - 2] == b[j - 1] {
                best = best.min(rows[i - 2][j - 2] + 1);
            }
            rows[i][j] = best;
        }
    }
    rows[a.len()][b.len()]
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
}
