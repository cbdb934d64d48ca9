//! Which verdict holds where the runner's other recordings tell too: they decide what a recording leaves open, and never make
//! good what it shows to be too much.

use crate::clean::Series;
use crate::gait::{RunnerPrior, Segmentation, has_cadence};
use jogaudit_recording::notice::{Notice, NoticeCode};

use super::Outcome;

/// Whether the runner's other recordings may tell more than the recording alone did: it has no cadence, or left its verdict open.
pub fn others_may_help(series: &Series, alone: &Segmentation, outcome: Outcome) -> bool {
    outcome == Outcome::Undecided || !has_cadence(series, alone)
}

/// Whether the verdict with the runner's other recordings holds rather than that of the recording alone: where it decides what was
/// open, or where it is more careful. What was overdone stays so.
pub fn holds_with_others(alone: Outcome, with_others: Outcome) -> bool {
    match alone {
        Outcome::Undecided => with_others != Outcome::Undecided,
        Outcome::Overdone => false,
        Outcome::Kept | Outcome::Underdone => matches!(with_others, Outcome::Overdone | Outcome::Undecided),
    }
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
    use super::*;

    #[test]
    fn others_decide_what_is_open_and_never_make_good_what_is_overdone() {
        use Outcome::{Kept, Overdone, Undecided, Underdone};
        for with_others in [Kept, Overdone, Undecided, Underdone] {
            assert!(!holds_with_others(Overdone, with_others));
            assert_eq!(holds_with_others(Undecided, with_others), with_others != Undecided);
            for alone in [Kept, Underdone] {
                let careful = matches!(with_others, Overdone | Undecided);
                assert_eq!(holds_with_others(alone, with_others), careful);
            }
        }
    }
}
