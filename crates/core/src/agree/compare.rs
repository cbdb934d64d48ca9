//! Two whole sides compared: every recording, every column, and what is left over.

use crate::gait::agreement::{AgreementError, check_cover};
use jogaudit_recording::notice::{Noted, Notice, NoticeCode};

use super::Undefined;
use super::bouts::{COVER_TOLERANCE_S, Tally};
use super::input::{BoutSets, Joined, Pairs};
use super::scores::{BlandAltman, Estimate, bland_altman, concordance, icc_2_1};

/// Two sets of bouts compared.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ComparedBouts {
    /// Each recording by name, in its order.
    pub each: Vec<(String, Tally)>,
    /// All of them added up.
    pub sum: Tally,
    /// Names without a partner, of the reference and of the other side.
    pub unmatched: [Vec<String>; 2],
}

/// Two tables of scores compared.
#[derive(Clone, Debug, PartialEq)]
pub struct ComparedScores {
    /// What was joined.
    pub joined: Joined,
    /// The figures of each of its columns, in its order.
    pub columns: Vec<ComparedColumn>,
}

/// The figures of one column.
#[derive(Clone, Debug, PartialEq)]
pub struct ComparedColumn {
    /// Bias and limits.
    pub limits: Result<BlandAltman, Undefined>,
    /// ICC(2,1).
    pub icc_2_1: Result<Estimate, Undefined>,
    /// Lin's concordance.
    pub concordance: Result<Estimate, Undefined>,
}

/// Compares the recordings that both sides name.
pub fn compare_bouts(reference: &BoutSets, other: &BoutSets) -> Noted<ComparedBouts> {
    let mut compared = ComparedBouts::default();
    let mut short: Vec<&str> = Vec::new();
    for (name, ours) in reference {
        let Some(theirs) = other.get(name) else {
            compared.unmatched[0].push(name.clone());
            continue;
        };
        if let Err(AgreementError::DifferentCover(..)) = check_cover(ours, theirs, COVER_TOLERANCE_S) {
            short.push(name);
        }
        let tally = Tally::of(ours, theirs);
        compared.sum.add(&tally);
        compared.each.push((name.clone(), tally));
    }
    compared.unmatched[1] = other.keys().filter(|name| !reference.contains_key(*name)).cloned().collect();
    let mut notices = unmatched("recording", &compared.unmatched);
    if !short.is_empty() {
        let (who, cover) = match (short.as_slice(), compared.each.len()) {
            (_, 1) => (String::new(), "The two sides cover"),
            ([one], _) => (format!("In `{one}` "), "the two sides cover"),
            (many, _) => {
                (format!("In {} recordings, `{}` the first, ", many.len(), many[0]), "the two sides cover")
            }
        };
        let text = format!("{who}{cover} different times; what a side does not cover is unknown there.");
        notices.push(Notice::new(NoticeCode::CoverDiffers, text));
    }
    Noted { value: compared, notices }
}

/// Works out the figures of every joined column.
pub fn compare_scores(joined: Joined) -> Noted<ComparedScores> {
    let mut notices = unmatched("row", &joined.unmatched);
    for (name, pairs) in joined.columns.iter().filter(|(_, pairs)| pairs.missing > 0) {
        let text = format!(
            "`{name}`: {} of {} joined rows lack a value and are left out.",
            pairs.missing, joined.matched
        );
        notices.push(Notice::new(NoticeCode::ValuesMissing, text));
    }
    let figures = |pairs: &Pairs| ComparedColumn {
        limits: bland_altman(&pairs.reference, &pairs.other),
        icc_2_1: icc_2_1(&[&pairs.reference, &pairs.other]),
        concordance: concordance(&pairs.reference, &pairs.other),
    };
    let columns = joined.columns.iter().map(|(_, pairs)| figures(pairs)).collect();
    Noted { value: ComparedScores { joined, columns }, notices }
}

fn unmatched(what: &str, names: &[Vec<String>; 2]) -> Vec<Notice> {
    let count = |names: &Vec<String>| match names.len() {
        1 => format!("1 {what}"),
        n => format!("{n} {what}s"),
    };
    let [reference, other] = names.each_ref().map(count);
    if names.iter().all(Vec::is_empty) {
        return Vec::new();
    }
    let text =
        format!("Left out for want of a partner: {reference} of the reference, {other} of the other side.");
    vec![Notice::new(NoticeCode::NoPartner, text)]
}
