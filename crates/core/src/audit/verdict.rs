//! From findings to the outcome.

use super::certainty::{DECIDES, OPEN};
use super::{Code, Finding, Outcome};
use jogaudit_recording::notice::{Notice, NoticeCode};

/// What besides the findings bears on the verdict; each is noticed where it is found.
#[derive(Clone, Copy, Debug, Default)]
pub(super) struct Doubts {
    /// Something keeps the data from telling what was done.
    pub(super) open: bool,
    /// Nothing shows that it was kept: a prescribed ceiling could not be checked, or a bout may hide another gait.
    pub(super) unshown: bool,
    /// On a stage of walking alone less was walked.
    pub(super) less_walked: bool,
}

/// Reaches the verdict.
pub(super) fn outcome(findings: &[Finding], doubts: Doubts, notices: &mut Vec<Notice>) -> Outcome {
    let overdoing = |f: &&Finding| f.code.is_overdoing();
    let less = |f: &&Finding| f.code.is_underdoing();
    let is_sure = |f: &Finding| f.certainty >= DECIDES;
    if findings.iter().filter(overdoing).any(is_sure) {
        return Outcome::Overdone;
    }
    if hangs(findings.iter().filter(overdoing), "too much was done", notices) || doubts.open {
        return Outcome::Undecided;
    }
    if doubts.less_walked || findings.iter().filter(less).any(is_sure) {
        return Outcome::Underdone;
    }
    if hangs(findings.iter().filter(less), "less was done", notices) || doubts.unshown {
        return Outcome::Undecided;
    }
    Outcome::Kept
}

/// What a finding is about, in a few words.
const fn what_of(code: Code) -> &'static str {
    match code {
        Code::RunTooLong => "too long a run",
        Code::RunTooFast => "too fast a run",
        Code::RunTooShort => "too short a run",
        Code::WalkCutShort => "a walk cut short",
        Code::WalkMissing => "a walk left out",
        Code::WalkTooSlow => "too slow a walk",
        Code::RepMissing => "a run left out",
        Code::RepExtra => "running on after the end",
        Code::RunningTimeOver => "too much running in all",
        Code::SessionTooLong => "too long a session",
        Code::UnplannedRun => "running where none is prescribed",
        Code::HeartRateTooHigh => "too high a heart rate",
    }
}

/// Whether a finding that is not sure can't be ruled out either, and says so of each.
fn hangs<'a>(findings: impl Iterator<Item = &'a Finding>, what: &str, notices: &mut Vec<Notice>) -> bool {
    let before = notices.len();
    for finding in findings.filter(|f| f.certainty >= OPEN) {
        let rep = finding.rep.map_or(String::new(), |rep| format!(" (number {rep})"));
        notices.push(Notice::new(
            NoticeCode::VerdictHangs,
            format!(
                "The verdict depends on {}{rep}, which is {:.0} % sure; {:.0} % is needed to say that {what}, less than {:.0} % to \
                 rule it out.",
                what_of(finding.code),
                100.0 * finding.certainty,
                100.0 * DECIDES,
                100.0 * OPEN
            ),
        ));
    }
    notices.len() > before
}

#[cfg(test)]
mod tests {
    use super::super::Code;
    use super::*;
    use jogaudit_recording::units::Unit;

    fn finding(code: Code, certainty: f64) -> Finding {
        Finding {
            code,
            rep: None,
            start_s: None,
            end_s: None,
            prescribed: None,
            range: None,
            achieved: None,
            unit: Unit::Seconds,
            excess: None,
            certainty,
        }
    }

    #[test]
    fn the_surest_overdoing_decides_and_doubt_is_said() {
        let cases = [
            (vec![], false, Outcome::Kept),
            (vec![finding(Code::RunTooLong, 0.9)], true, Outcome::Overdone),
            (vec![finding(Code::RunTooLong, 0.89)], false, Outcome::Undecided),
            (vec![finding(Code::RunTooLong, 0.4)], false, Outcome::Undecided),
            (vec![finding(Code::RunTooLong, 0.39)], false, Outcome::Kept),
            (vec![finding(Code::RepMissing, 0.9)], false, Outcome::Underdone),
            (vec![finding(Code::RepMissing, 0.9), finding(Code::RunTooFast, 0.6)], false, Outcome::Undecided),
            (vec![finding(Code::RunTooShort, 0.89)], false, Outcome::Undecided),
            (vec![finding(Code::RepMissing, 0.4)], false, Outcome::Undecided),
            (vec![finding(Code::RepMissing, 0.39)], false, Outcome::Kept),
            (
                vec![finding(Code::RunTooShort, 0.6), finding(Code::RepMissing, 0.9)],
                false,
                Outcome::Underdone,
            ),
            (vec![finding(Code::WalkTooSlow, 1.0)], false, Outcome::Kept),
            (vec![], true, Outcome::Undecided),
        ];
        for (findings, open, expected) in cases {
            let mut notices = Vec::new();
            let doubts = Doubts { open, ..Doubts::default() };
            assert_eq!(outcome(&findings, doubts, &mut notices), expected, "{findings:?} {open}");
            let said = notices.iter().any(|n| n.code == NoticeCode::VerdictHangs);
            let doubt = expected == Outcome::Undecided && !open;
            assert_eq!(said, doubt, "{findings:?}");
        }
    }

    #[test]
    fn what_was_not_shown_is_not_kept() {
        let of = |findings: &[Finding]| {
            outcome(findings, Doubts { unshown: true, ..Doubts::default() }, &mut Vec::new())
        };
        assert_eq!(of(&[]), Outcome::Undecided);
        assert_eq!(of(&[finding(Code::RepMissing, 0.9)]), Outcome::Underdone);
        assert_eq!(of(&[finding(Code::RunTooLong, 0.9)]), Outcome::Overdone);
    }
}
