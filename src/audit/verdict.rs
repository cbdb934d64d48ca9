//! From findings to the outcome.

use super::{Finding, Outcome};
use crate::notice::Notice;

/// An overdoing finding decides from this certainty on.
const SURE: f64 = 0.9;
/// Below this an overdoing finding does not stand in the way of another verdict.
const EVEN: f64 = 0.5;

/// Reaches the verdict. `open` says whether something besides the findings keeps the data from telling; the reason
/// is noticed where it is found.
pub(super) fn outcome(
    findings: &[Finding],
    open: bool,
    less_walked: bool,
    notices: &mut Vec<Notice>,
) -> Outcome {
    let overdoing = || findings.iter().filter(|f| f.code.is_overdoing());
    if overdoing().any(|f| f.certainty >= SURE) {
        return Outcome::Overdone;
    }
    let hanging: Vec<&Finding> = overdoing().filter(|f| f.certainty >= EVEN).collect();
    for finding in &hanging {
        let rep = finding.rep.map_or(String::new(), |rep| format!(" {rep}"));
        notices.push(Notice::new(
            "verdict_hangs",
            format!(
                "The verdict hangs on `{}`{rep}, which is {:.0} % certain; 90 % are needed to say that too much \
                 was done.",
                finding.code.word(),
                100.0 * finding.certainty
            ),
        ));
    }
    if open || !hanging.is_empty() {
        return Outcome::Undecided;
    }
    let less = |f: &Finding| matches!(f.code, super::Code::RunTooShort | super::Code::RepMissing);
    if less_walked || findings.iter().any(less) { Outcome::Underdone } else { Outcome::Kept }
}

#[cfg(test)]
mod tests {
    use super::super::Code;
    use super::*;

    fn finding(code: Code, certainty: f64) -> Finding {
        Finding {
            code,
            rep: None,
            start_s: None,
            end_s: None,
            prescribed: None,
            achieved: None,
            unit: "s",
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
            (vec![finding(Code::RunTooLong, 0.49)], false, Outcome::Kept),
            (vec![finding(Code::RepMissing, 0.9)], false, Outcome::Underdone),
            (vec![finding(Code::RepMissing, 0.9), finding(Code::RunTooFast, 0.6)], false, Outcome::Undecided),
            (vec![finding(Code::WalkTooSlow, 1.0)], false, Outcome::Kept),
            (vec![], true, Outcome::Undecided),
        ];
        for (findings, open, expected) in cases {
            let mut notices = Vec::new();
            assert_eq!(outcome(&findings, open, false, &mut notices), expected, "{findings:?} {open}");
            let said = notices.iter().any(|n| n.code == "verdict_hangs");
            let doubt = findings.iter().any(|f| f.code.is_overdoing() && (0.5..0.9).contains(&f.certainty));
            assert_eq!(said, doubt);
        }
    }
}
