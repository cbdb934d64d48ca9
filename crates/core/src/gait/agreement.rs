//! Agreement of two sets of bouts over the same time: frames, events, boundaries.
//!
//! Events are matched one to one and in order of time, so that no bout of one side serves two of the other.

use super::segmentation::{Bout, Gait};

/// A bout without its measures.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct GaitSpan {
    /// Which gait.
    pub gait: Gait,
    /// Seconds.
    pub start_s: f64,
    /// Seconds.
    pub end_s: f64,
}

impl From<&Bout> for GaitSpan {
    fn from(bout: &Bout) -> Self {
        Self { gait: bout.gait, start_s: bout.start_s, end_s: bout.end_s }
    }
}

impl GaitSpan {
    /// Shared time over joint time (intersection over union, Jaccard 1912), 0 to 1.
    pub fn overlap_share(&self, other: &Self) -> f64 {
        let shared = (self.end_s.min(other.end_s) - self.start_s.max(other.start_s)).max(0.0);
        let joint = (self.end_s - self.start_s) + (other.end_s - other.start_s) - shared;
        if joint > 0.0 { shared / joint } else { 0.0 }
    }
}

/// Why two sets cannot be compared.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error)]
pub enum AgreementError {
    /// They do not cover the same time.
    #[error("the two sets cover different times: {0} to {1} s against {2} to {3} s")]
    DifferentCover(f64, f64, f64, f64),
    /// One of them has no bout.
    #[error("one of the two sets has no bout")]
    Empty,
}

/// Checks that both sets cover the same time within `tolerance_s`.
pub fn check_cover(
    reference: &[GaitSpan],
    other: &[GaitSpan],
    tolerance_s: f64,
) -> Result<(), AgreementError> {
    let cover = |spans: &[GaitSpan]| Some((spans.first()?.start_s, spans.last()?.end_s));
    let (Some(a), Some(b)) = (cover(reference), cover(other)) else { return Err(AgreementError::Empty) };
    if (a.0 - b.0).abs() > tolerance_s || (a.1 - b.1).abs() > tolerance_s {
        return Err(AgreementError::DifferentCover(a.0, a.1, b.0, b.1));
    }
    Ok(())
}

/// Pairs of indices of bouts of the same gait with an overlap share of at least `least`: order-preserving and one to one,
/// with the most pairs, and of those the greatest total overlap (dynamic programming over both lists).
pub fn matched(reference: &[GaitSpan], other: &[GaitSpan], least: f64) -> Vec<(usize, usize)> {
    let (n, m) = (reference.len(), other.len());
    let at = |i: usize, j: usize| i * (m + 1) + j;
    let mut best = vec![(0_u32, 0.0_f64); (n + 1) * (m + 1)];
    let better = |a: (u32, f64), b: (u32, f64)| a.0 > b.0 || a.0 == b.0 && a.1 > b.1;
    let share = |i: usize, j: usize| {
        let (a, b) = (&reference[i], &other[j]);
        (a.gait == b.gait).then(|| a.overlap_share(b)).filter(|&s| s >= least && s > 0.0)
    };
    for i in 1..=n {
        for j in 1..=m {
            let mut top = best[at(i - 1, j)];
            let left = best[at(i, j - 1)];
            if better(left, top) {
                top = left;
            }
            if let Some(s) = share(i - 1, j - 1) {
                let before = best[at(i - 1, j - 1)];
                let joined = (before.0 + 1, before.1 + s);
                if better(joined, top) {
                    top = joined;
                }
            }
            best[at(i, j)] = top;
        }
    }
    let (mut i, mut j) = (n, m);
    let mut pairs = Vec::new();
    while i > 0 && j > 0 {
        let here = best[at(i, j)];
        if here == best[at(i - 1, j)] {
            i -= 1;
        } else if here == best[at(i, j - 1)] {
            j -= 1;
        } else {
            pairs.push((i - 1, j - 1));
            i -= 1;
            j -= 1;
        }
    }
    pairs.reverse();
    pairs
}

/// F1 of events: 2·matched / (all of both sides); `None` when both are empty.
pub fn event_f1(reference: &[GaitSpan], other: &[GaitSpan], least: f64) -> Option<f64> {
    let all = reference.len() + other.len();
    (all > 0).then(|| 2.0 * matched(reference, other, least).len() as f64 / all as f64)
}

/// Seconds in which both name the same gait, and seconds in which the reference names one (not `unknown`).
pub fn shared_time_s(reference: &[GaitSpan], other: &[GaitSpan]) -> (f64, f64) {
    let (mut same, mut all) = (0.0, 0.0);
    let mut j = 0;
    for a in reference.iter().filter(|a| a.gait != Gait::Unknown) {
        all += a.end_s - a.start_s;
        while j > 0 && other.get(j).is_none_or(|b| b.start_s > a.start_s) {
            j -= 1;
        }
        while let Some(b) = other.get(j) {
            if a.gait == b.gait {
                same += (a.end_s.min(b.end_s) - a.start_s.max(b.start_s)).max(0.0);
            }
            if b.end_s >= a.end_s {
                break;
            }
            j += 1;
        }
        j = j.min(other.len().saturating_sub(1));
    }
    (same, all)
}

#[cfg(test)]
mod tests {
    use super::*;

    fn runs(list: &[(f64, f64)]) -> Vec<GaitSpan> {
        list.iter().map(|&(start_s, end_s)| GaitSpan { gait: Gait::Run, start_s, end_s }).collect()
    }

    /// Six true runs and six found ones, worked out by hand (also in `agree::bouts`).
    fn vector() -> (Vec<GaitSpan>, Vec<GaitSpan>) {
        let truth = [(300., 360.), (480., 540.), (660., 720.), (840., 900.), (1020., 1080.), (1200., 1260.)];
        let found = [(303., 362.), (478., 505.), (511., 541.), (661., 790.), (840., 900.), (1100., 1112.)];
        (runs(&truth), runs(&found))
    }

    #[test]
    fn overlap_shares_of_the_vector() {
        let (truth, found) = vector();
        for (i, j, expected) in
            [(0, 0, 0.9194), (1, 1, 0.4032), (1, 2, 0.4754), (2, 3, 0.4538), (3, 4, 1.0), (4, 5, 0.0)]
        {
            let got = truth[i].overlap_share(&found[j]);
            assert!((got - expected).abs() < 5e-5, "{i} {j}: {got}");
        }
    }

    #[test]
    fn event_scores_of_the_vector() {
        let (truth, found) = vector();
        assert_eq!(matched(&truth, &found, 0.5).len(), 2);
        assert!((event_f1(&truth, &found, 0.5).unwrap() - 1.0 / 3.0).abs() < 1e-12);
        assert_eq!(matched(&truth, &found, 0.4).len(), 4);
        assert!((event_f1(&truth, &found, 0.4).unwrap() - 2.0 / 3.0).abs() < 1e-12);
        assert_eq!(event_f1(&[], &[], 0.5), None);
    }

    #[test]
    fn shared_time_of_the_vector() {
        // True positives of the vector: 230 s of 360.
        let (truth, found) = vector();
        assert_eq!(shared_time_s(&truth, &found), (230.0, 360.0));
    }

    #[test]
    fn one_bout_is_never_matched_twice() {
        let truth = runs(&[(0., 10.), (10., 20.)]);
        let found = runs(&[(0., 20.)]);
        assert_eq!(matched(&truth, &found, 0.3).len(), 1);
    }
}
