//! Two whole sides compared: every recording, every column, and what is left over.

use std::collections::{BTreeMap, BTreeSet};

use jiff::Timestamp;

use crate::gait::agreement::{AgreementError, check_cover};
use jogaudit_recording::notice::{Noted, Notice, NoticeCode};

use super::Undefined;
use super::bootstrap::{Intervals, Resampling, intervals};
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

impl ComparedBouts {
    /// The intervals of confidence of the figures over all recordings.
    pub fn intervals(&self, how: Resampling) -> Intervals {
        intervals(&self.each.iter().map(|(_, tally)| tally).collect::<Vec<_>>(), how)
    }
}

/// Compares the recordings that both sides name, and of those left over the ones that say they are of the same activity of the
/// same file.
pub fn compare_bouts(reference: &BoutSets, other: &BoutSets) -> Noted<ComparedBouts> {
    let partners = partners(reference, other);
    let mut compared = ComparedBouts::default();
    let (mut short, mut foreign): (Vec<&str>, Vec<&str>) = Default::default();
    for (name, ours) in reference {
        let Some(theirs) = partners.get(name.as_str()).map(|partner| &other[*partner]) else {
            compared.unmatched[0].push(name.clone());
            continue;
        };
        if let Err(AgreementError::DifferentCover(..)) =
            check_cover(&ours.spans, &theirs.spans, COVER_TOLERANCE_S)
        {
            short.push(name);
        }
        if ours.origin.differs(&theirs.origin) {
            foreign.push(name);
        }
        let tally = Tally::of(&ours.spans, &theirs.spans);
        compared.sum.add(&tally);
        compared.each.push((name.clone(), tally));
    }
    let taken: BTreeSet<&str> = partners.into_values().collect();
    compared.unmatched[1] = other.keys().filter(|name| !taken.contains(name.as_str())).cloned().collect();
    let mut notices = unmatched("recording", &compared.unmatched);
    let said = [
        (
            NoticeCode::CoverDiffers,
            short,
            "cover different times; what a side does not cover is unknown there",
        ),
        (
            NoticeCode::RecordingDiffers,
            foreign,
            "are of different recordings, by their SHA-256 or start; that is meant only for two recorders worn together",
        ),
    ];
    for (code, names, what) in said {
        let who = match (names.as_slice(), compared.each.len()) {
            ([], _) => continue,
            (_, 1) => "The".to_owned(),
            ([one], _) => format!("In `{one}` the"),
            (many, _) => format!("In {} recordings, `{}` the first, the", many.len(), many[0]),
        };
        notices.push(Notice::new(code, format!("{who} two sides {what}.")));
    }
    Noted { value: compared, notices }
}

/// The partner of each recording of the reference: of its name, else the only one left over that says it is of the same recording.
fn partners<'a>(reference: &'a BoutSets, other: &'a BoutSets) -> BTreeMap<&'a str, &'a str> {
    let alike = reference.keys().filter(|name| other.contains_key(*name));
    let mut partners: BTreeMap<&str, &str> = alike.map(|name| (name.as_str(), name.as_str())).collect();
    let theirs = left_over(other, reference);
    for (origin, ours) in left_over(reference, other) {
        if let ([one], Some([partner])) = (ours.as_slice(), theirs.get(&origin).map(Vec::as_slice)) {
            partners.insert(one, partner);
        }
    }
    partners
}

/// The names that the other side does not have, by SHA-256 and start of their recordings.
fn left_over<'a>(
    sets: &'a BoutSets,
    other: &BoutSets,
) -> BTreeMap<(&'a str, Option<Timestamp>), Vec<&'a str>> {
    let mut by_origin: BTreeMap<_, Vec<&str>> = BTreeMap::new();
    for (name, set) in sets.iter().filter(|(name, _)| !other.contains_key(*name)) {
        if let Some(sha256) = set.origin.sha256.as_deref() {
            by_origin.entry((sha256, set.origin.start)).or_default().push(name);
        }
    }
    by_origin
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
