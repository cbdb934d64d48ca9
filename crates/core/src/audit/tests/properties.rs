//! What has to hold for any session.

use proptest::prelude::*;

use super::super::testing::{segmentation_of, session, stage_of};
use super::*;
use crate::gait::{Bout, Gait};

/// Runs and walks in turn, with first and last walk: lengths of `reps` runs and the walks between.
fn any_session() -> impl Strategy<Value = Vec<(Gait, f64)>> {
    let rep = (40.0..400.0f64, 60.0..240.0f64);
    (60.0..400.0f64, prop::collection::vec(rep, 1..7), 60.0..400.0f64).prop_map(|(first, reps, last)| {
        let mut parts = vec![(Gait::Walk, first)];
        for (run, walk) in reps {
            parts.extend([(Gait::Run, run), (Gait::Walk, walk)]);
        }
        parts.pop();
        parts.push((Gait::Walk, last));
        parts
    })
}

fn text(parts: &[(Gait, f64)]) -> String {
    let letter = |gait| if gait == Gait::Run { "r" } else { "w" };
    let words: Vec<String> = parts.iter().map(|(gait, s)| format!("{}{s}", letter(*gait))).collect();
    words.join(" ")
}

fn audit_parts(done: &[(Gait, f64)], prescribed: &[(Gait, f64)]) -> Audit {
    let segmentation = segmentation_of(done);
    let series = Track::of(&segmentation).build();
    let stage = stage_of(session(&text(prescribed)));
    run_audit(&segmentation, &series, &stage, &Runner::default()).value
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]

    #[test]
    fn less_than_the_tolerance_is_never_overdone(
        prescribed in any_session(),
        jitter in prop::collection::vec(-0.95..0.95f64, 14),
    ) {
        let runs = prescribed.iter().filter(|p| p.0 == Gait::Run).count() as f64;
        let mut done = prescribed.clone();
        // The runs' tolerance all together is smaller than the sum of them: √n times one.
        for (part, j) in done.iter_mut().zip(jitter) {
            part.1 += j * if part.0 == Gait::Run { 10.0 / runs.sqrt() } else { 10.0 };
        }
        let audit = audit_parts(&done, &prescribed);
        prop_assert_eq!(audit.outcome, Outcome::Kept, "{:#?}", audit.findings);
    }

    #[test]
    fn a_longer_run_is_never_less_too_long(
        prescribed in any_session(),
        which in any::<prop::sample::Index>(),
        more in 0.0..60.0f64,
        still_more in 0.0..60.0f64,
    ) {
        let runs: Vec<usize> = (0..prescribed.len()).filter(|i| prescribed[*i].0 == Gait::Run).collect();
        let at = runs[which.index(runs.len())];
        let excess = |by: f64| {
            let mut done = prescribed.clone();
            done[at].1 += by;
            let audit = audit_parts(&done, &prescribed);
            let of_code = audit.findings.iter().filter(|f| f.code == Code::RunTooLong);
            of_code.filter_map(|f| f.excess).sum::<f64>()
        };
        let (small, large) = (excess(more), excess(more + still_more));
        prop_assert!(large >= small - 1e-9, "{small} then {large}");
    }

    #[test]
    fn tiny_stands_change_nothing(
        prescribed in any_session(),
        stretch in prop::collection::vec(-30.0..40.0f64, 14),
        cuts in prop::collection::vec((any::<prop::sample::Index>(), 0.2..0.8f64), 1..4),
    ) {
        let done: Vec<(Gait, f64)> =
            prescribed.iter().zip(stretch).map(|(p, s)| (p.0, (p.1 + s).max(20.0))).collect();
        let mut cut = done.clone();
        for (which, share) in cuts {
            let at = which.index(cut.len());
            let (gait, length) = cut[at];
            if gait == Gait::Stand {
                continue;
            }
            cut.splice(at..=at, [(gait, length * share), (Gait::Stand, 1e-6), (gait, length * (1.0 - share))]);
        }
        // Without errors at the ends of bouts, so that more ends do not make the lengths less sure.
        let exact = |parts: &[(Gait, f64)]| {
            let bouts = segmentation_of(parts)
                .bouts()
                .iter()
                .map(|b| Bout { start_error_s: 0.0, end_error_s: 0.0, ..*b })
                .collect();
            let segmentation = Segmentation::new(bouts).unwrap();
            let series = Track::of(&segmentation).build();
            let stage = stage_of(session(&text(&prescribed)));
            run_audit(&segmentation, &series, &stage, &Runner::default()).value
        };
        let (plain, split) = (exact(&done), exact(&cut));
        let key = |a: &Audit| a.findings.iter().map(|f| (f.code, f.rep)).collect::<Vec<_>>();
        prop_assert_eq!(key(&plain), key(&split));
        prop_assert_eq!(plain.outcome, split.outcome);
        for (a, b) in plain.reps.iter().zip(&split.reps) {
            prop_assert!((a.achieved_s - b.achieved_s).abs() < 1e-4);
        }
    }

    #[test]
    fn any_bouts_give_an_audit_in_order_with_probabilities(
        done in prop::collection::vec((0..4usize, 1.0..300.0f64), 0..40),
        prescribed in any_session(),
    ) {
        let kinds = [Gait::Run, Gait::Walk, Gait::Stand, Gait::Unknown];
        let parts: Vec<(Gait, f64)> = done.iter().map(|(g, s)| (kinds[*g], *s)).collect();
        let audit = audit_parts(&parts, &prescribed);
        let is_known = parts.iter().any(|p| p.0 != Gait::Unknown);
        prop_assert_eq!(audit.reps.len(), if is_known { prescribed.len() } else { 0 });
        for finding in &audit.findings {
            prop_assert!((0.0..=1.0).contains(&finding.certainty), "{finding:?}");
            prop_assert!(finding.excess.is_some_and(|e| e > 0.0), "{finding:?}");
        }
        let starts: Vec<f64> = audit.findings.iter().filter_map(|f| f.start_s).collect();
        prop_assert!(starts.windows(2).all(|w| w[0] <= w[1]));
        let moved: f64 = audit.reps.iter().map(|r| r.achieved_s).sum();
        let total: f64 = parts.iter().filter(|p| matches!(p.0, Gait::Run | Gait::Walk)).map(|p| p.1).sum();
        prop_assert!(moved <= total + 1e-6);
        let reps: Vec<f64> = audit.reps.iter().filter_map(|r| r.start_s).collect();
        prop_assert!(reps.windows(2).all(|w| w[0] <= w[1]));
    }
}
