//! What is counted on one recording or on many.

use jogaudit_core::gait::Gait;
use jogaudit_core::gait::agreement::{GaitSpan, matched, shared_time_s};

use crate::rivals::Found;

/// Sums over recordings.
#[derive(Clone, Default)]
pub(crate) struct Score {
    pub(crate) recordings: usize,
    same_s: f64,
    all_s: f64,
    matched: usize,
    events: usize,
    exact: usize,
    count_errors: usize,
    boundary_s: Vec<f64>,
    bouts: Vec<(f64, bool)>,
    /// Lengths of the true bouts, s, and whether each was found.
    true_s: Vec<(f64, bool)>,
    /// Boundary errors over their stated standard errors.
    scaled: Vec<f64>,
}

impl Score {
    /// Of one recording. Where the truth is unknown (a pause), nothing is counted.
    pub(crate) fn of(truth: &[GaitSpan], found: &Found) -> Self {
        let known: Vec<GaitSpan> = truth.iter().filter(|s| s.gait != Gait::Unknown).copied().collect();
        let (mut spans, mut certainty, mut error_s) = (Vec::new(), Vec::new(), Vec::new());
        for ((span, c), e) in found.spans.iter().zip(&found.certainty).zip(&found.error_s) {
            let hidden = truth.iter().any(|t| {
                t.gait == Gait::Unknown
                    && t.end_s.min(span.end_s) - t.start_s.max(span.start_s)
                        > 0.5 * (span.end_s - span.start_s)
            });
            if span.gait != Gait::Unknown && !hidden {
                spans.push(*span);
                certainty.push(*c);
                error_s.push(*e);
            }
        }
        let (same_s, all_s) = shared_time_s(&known, &found.spans);
        let pairs = matched(&known, &spans, 0.5);
        let mut score = Self {
            recordings: 1,
            same_s,
            all_s,
            matched: pairs.len(),
            events: known.len() + spans.len(),
            exact: usize::from(known.len() == spans.len() && pairs.len() == known.len()),
            count_errors: known.len().abs_diff(spans.len()),
            true_s: (0..)
                .zip(&known)
                .map(|(k, span)| (span.end_s - span.start_s, pairs.iter().any(|&(i, _)| i == k)))
                .collect(),
            ..Self::default()
        };
        let last_s = truth.last().map_or(0.0, |t| t.end_s);
        let edge = |at_s: f64| {
            at_s < 1.0
                || at_s > last_s - 1.0
                || truth.iter().any(|t| {
                    t.gait == Gait::Unknown && (at_s - t.start_s).abs().min((at_s - t.end_s).abs()) < 1.0
                })
        };
        for &(i, j) in &pairs {
            // The start of each matched bout, and its end where the next one is not matched, so that none counts twice.
            if !edge(known[i].start_s) {
                score.boundary_s.push((known[i].start_s - spans[j].start_s).abs());
                if error_s[j] > 0.0 {
                    score.scaled.push((known[i].start_s - spans[j].start_s).abs() / error_s[j]);
                }
            }
            if !edge(known[i].end_s) && !pairs.iter().any(|&(k, _)| known[k].start_s == known[i].end_s) {
                score.boundary_s.push((known[i].end_s - spans[j].end_s).abs());
            }
        }
        for (j, c) in certainty.iter().enumerate() {
            score.bouts.push((*c, pairs.iter().any(|p| p.1 == j)));
        }
        score
    }

    pub(crate) fn sum<'a>(scores: impl IntoIterator<Item = &'a Self>) -> Self {
        let mut all = Self::default();
        for one in scores {
            all.recordings += one.recordings;
            all.same_s += one.same_s;
            all.all_s += one.all_s;
            all.matched += one.matched;
            all.events += one.events;
            all.exact += one.exact;
            all.count_errors += one.count_errors;
            all.boundary_s.extend(&one.boundary_s);
            all.bouts.extend(&one.bouts);
            all.true_s.extend(&one.true_s);
            all.scaled.extend(&one.scaled);
        }
        all
    }

    pub(crate) fn time_right(&self) -> f64 {
        self.same_s / self.all_s
    }

    pub(crate) fn event_f1(&self) -> f64 {
        2.0 * self.matched as f64 / self.events as f64
    }

    pub(crate) fn boundary_s(&self, quantile: f64) -> f64 {
        let mut sorted = self.boundary_s.clone();
        sorted.sort_by(f64::total_cmp);
        sorted.get(((sorted.len() as f64 - 1.0) * quantile).round() as usize).copied().unwrap_or(f64::NAN)
    }

    pub(crate) fn exact_count(&self) -> f64 {
        self.exact as f64 / self.recordings as f64
    }

    /// Of the true bouts that last from so long to so long, s, how many were found.
    pub(crate) fn found_of_length(&self, from_s: f64, to_s: f64) -> (usize, usize) {
        let of: Vec<bool> =
            self.true_s.iter().filter(|b| (from_s..to_s).contains(&b.0)).map(|b| b.1).collect();
        (of.iter().filter(|found| **found).count(), of.len())
    }

    /// Bouts too many or too few, a recording.
    pub(crate) fn count_error(&self) -> f64 {
        self.count_errors as f64 / self.recordings as f64
    }

    fn has_certainty(&self) -> bool {
        self.bouts.iter().all(|b| b.0.is_finite())
    }

    /// Expected calibration error over ten bins; not a number for who does not say how sure a bout is.
    pub(crate) fn calibration_error(&self) -> f64 {
        if !self.has_certainty() {
            return f64::NAN;
        }
        let mut bins = [(0.0, 0.0); 10];
        for &(c, right) in &self.bouts {
            let bin = &mut bins[((c * 10.0) as usize).min(9)];
            bin.0 += c;
            bin.1 += f64::from(u8::from(right));
        }
        bins.iter().map(|b| (b.0 - b.1).abs()).sum::<f64>() / self.bouts.len() as f64
    }

    /// Share of right bouts among those said to be at least 0.9 certain.
    fn right_of_the_sure(&self) -> f64 {
        let sure: Vec<bool> = self.bouts.iter().filter(|b| b.0 >= 0.9).map(|b| b.1).collect();
        sure.iter().filter(|right| **right).count() as f64 / sure.len().max(1) as f64
    }

    /// Share of the boundaries whose error is at most so many of the stated standard errors.
    pub(crate) fn within_errors(&self, most: f64) -> f64 {
        self.scaled.iter().filter(|z| **z <= most).count() as f64 / self.scaled.len() as f64
    }

    pub(crate) const HEAD: &str = "| condition | who | time right | event F1 | boundary median, s | 95th, s | exact count | count error | calibration error | right of those ≥ 0.9 | within 2 SE |
|---|---|---|---|---|---|---|---|---|---|---|";

    pub(crate) fn row(&self, condition: &str, who: &str) -> String {
        let calibration = if self.has_certainty() {
            format!("{:.3} | {:.1} %", self.calibration_error(), 100.0 * self.right_of_the_sure())
        } else {
            "– | –".to_owned()
        };
        let within = if self.scaled.is_empty() {
            "–".to_owned()
        } else {
            format!("{:.0} %", 100.0 * self.within_errors(2.0))
        };
        format!(
            "| {condition} | {who} | {:.2} % | {:.4} | {:.2} | {:.2} | {:.0} % | {:.2} | {calibration} | {within} |",
            100.0 * self.time_right(),
            self.event_f1(),
            self.boundary_s(0.5),
            self.boundary_s(0.95),
            100.0 * self.exact_count(),
            self.count_error(),
        )
    }
}
