//! Which verdict holds where the runner's other recordings tell too: they may decide what a recording leaves open because its gaits
//! are, and never make good what it shows to be too much.

use crate::clean::Series;
use crate::gait::{Bout, Gait, RunnerPrior, Segmentation, has_cadence};
use jogaudit_recording::notice::{Notice, NoticeCode};

use super::{Audit, AuditConfig, Matched, Outcome, Prescription};

/// The others tell which gait a bout is: where each was at least this certain, that was not what was open. Our choice.
const CERTAIN: f64 = 0.9;
/// A verdict that only the others make possible must stand firmer than another: from this certainty on a finding decides it, …
const DECIDES_FIRMLY: f64 = 0.95;
/// … above this one stands in the way of `kept`, …
const STANDS_IN_THE_WAY: f64 = 0.3;
/// … and it must be the same with errors of the boundaries that are so many times as great. Chosen on seeds 6,000 to 9,059 of the simulator.
const ERRORS: f64 = 2.0;

/// The bouts of a recording and what was made of them.
#[derive(Clone, Copy, Debug)]
pub struct Judged<'j> {
    /// The bouts.
    pub bouts: &'j Segmentation,
    /// The outcome.
    pub outcome: Outcome,
    /// The audit and what it was held against; `None` when the stage is not known.
    pub audit: Option<(&'j Audit, Prescription<'j>)>,
}

impl<'j> Judged<'j> {
    /// Bouts with their audit.
    pub fn new(bouts: &'j Segmentation, audit: &'j Audit, prescription: Prescription<'j>) -> Self {
        Self { bouts, outcome: audit.outcome, audit: Some((audit, prescription)) }
    }
}

/// Whether the runner's other recordings may tell more than the recording alone did: it has no cadence, or left its verdict open.
pub fn others_may_help(series: &Series, alone: &Segmentation, outcome: Outcome) -> bool {
    outcome == Outcome::Undecided || !has_cadence(series, alone)
}

/// Whether the verdict with the runner's other recordings holds rather than that of the recording alone: where it firmly decides what
/// was open, or where it is more careful. What was overdone stays so.
pub fn holds_with_others(
    series: &Series,
    alone: Judged<'_>,
    with_others: Judged<'_>,
    config: &AuditConfig,
) -> bool {
    use Outcome::{Kept, Overdone, Undecided, Underdone};
    match (alone.outcome, with_others.outcome) {
        (Kept | Underdone, Undecided) => true,
        (Undecided, Kept | Underdone | Overdone) | (Kept | Underdone, Overdone) => {
            !are_certain(alone.bouts) && is_firm(series, with_others, config)
        }
        (Overdone, _) | (Undecided, Undecided) | (Kept | Underdone, Kept | Underdone) => false,
    }
}

/// Whether each bout of running or walking is certain.
fn are_certain(bouts: &Segmentation) -> bool {
    bouts.bouts().iter().filter(|b| matches!(b.gait, Gait::Run | Gait::Walk)).all(|b| b.certainty >= CERTAIN)
}

/// Whether a verdict leaves nothing to doubt.
fn is_firm(series: &Series, judged: Judged<'_>, config: &AuditConfig) -> bool {
    let Some((audit, prescription)) = judged.audit else { return false };
    let findings = audit.findings.iter().filter(|f| f.code.is_overdoing() || f.code.is_underdoing());
    let surest = findings.map(|f| f.certainty).fold(0.0, f64::max);
    let decided = match judged.outcome {
        Outcome::Kept => surest <= STANDS_IN_THE_WAY,
        _ => surest >= DECIDES_FIRMLY,
    };
    let wider = |b: &Bout| Bout {
        start_error_s: ERRORS * b.start_error_s,
        end_error_s: ERRORS * b.end_error_s,
        ..*b
    };
    let wider = Segmentation::new(judged.bouts.bouts().iter().map(wider).collect());
    let outcome =
        |bouts: &Segmentation| Matched::new(bouts, series, prescription, config).audit().value.outcome;
    decided && are_certain(judged.bouts) && wider.is_some_and(|wider| outcome(&wider) == judged.outcome)
}

/// Says that the verdict rests on the runner's other recordings, and what it would be without them.
pub fn note_others(runner: &RunnerPrior, alone: Outcome, with_others: Outcome) -> Notice {
    let (all, with_cadence) = (runner.teachers(), runner.teachers_with_cadence());
    let recordings =
        if all == 1 { "1 other recording".to_owned() } else { format!("{all} other recordings") };
    Notice::new(
        NoticeCode::RunnerKnown,
        format!(
            "How this runner walks and runs is known from {recordings} of the case, {with_cadence} with cadence: without \
             them this would be {alone}, with them it is {with_others}."
        ),
    )
}

#[cfg(test)]
mod tests {
    use super::super::testing::{Track, segmentation, stage};
    use super::*;
    use crate::prescription::{Runner, Tolerance};

    const KEPT: &str = "w300 r60 w120 r60 w120 r60 w120";
    const TOO_LONG: &str = "w300 r60 w120 r95 w120 r60 w120";

    /// Whether the verdict on bouts with this certainty and error of their ends holds against that of the recording alone, of which
    /// each bout is so certain.
    fn holds((alone, alone_certainty): (Outcome, f64), done: &str, certainty: f64, error_s: f64) -> bool {
        let bouts = |certainty: f64| {
            let of = |b: &Bout| Bout { certainty, start_error_s: error_s, end_error_s: error_s, ..*b };
            Segmentation::new(segmentation(done).bouts().iter().map(of).collect()).unwrap()
        };
        let (own, with_others) = (bouts(alone_certainty), bouts(certainty));
        let series = Track::of(&own).build();
        let (stage, config) = (stage(KEPT), AuditConfig::default());
        let (runner, tolerance) = (Runner::default(), Tolerance::default());
        let prescription = Prescription {
            session: &stage.session,
            limits: &stage.limits,
            runner: &runner,
            tolerance: &tolerance,
        };
        let audit = Matched::new(&with_others, &series, prescription, &config).audit().value;
        let judged = |bouts, outcome, audit| Judged { bouts, outcome, audit };
        let known = judged(&with_others, audit.outcome, Some((&audit, prescription)));
        holds_with_others(&series, judged(&own, alone, None), known, &config)
    }

    #[test]
    fn others_decide_what_is_open_and_never_make_good_what_is_overdone() {
        use Outcome::{Kept, Overdone, Undecided, Underdone};
        assert!(holds((Undecided, 0.6), KEPT, 0.99, 0.7));
        assert!(holds((Undecided, 0.6), TOO_LONG, 0.99, 0.7));
        assert!(!holds((Overdone, 0.6), KEPT, 0.99, 0.7), "what is too much stays so");
        assert!(!holds((Kept, 0.6), KEPT, 0.99, 0.7) && !holds((Underdone, 0.6), KEPT, 0.99, 0.7));
        // More careful is always possible: too much firmly, open without more.
        assert!(holds((Kept, 0.6), TOO_LONG, 0.99, 0.7));
        assert!(holds((Kept, 0.6), KEPT, 0.6, 0.7) && holds((Underdone, 0.6), KEPT, 0.6, 0.7));
    }

    #[test]
    fn what_only_the_others_make_possible_must_be_firm() {
        let open = (Outcome::Undecided, 0.6);
        assert!(!holds(open, KEPT, 0.85, 0.7), "a bout is not certain");
        assert!(!holds(open, TOO_LONG, 0.94, 0.7), "certain enough alone, not with the others");
        assert!(!holds(open, TOO_LONG, 0.99, 5.0), "twice the error would leave it open");
        assert!(!holds((Outcome::Undecided, 0.95), KEPT, 0.99, 0.7), "it was not the gaits that were open");
    }
}
