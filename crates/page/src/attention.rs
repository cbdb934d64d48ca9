//! What needs attention in a case, the gravest first: for the table of patients.

use jiff::civil::Date;

use jogaudit_core::audit::Outcome;
use jogaudit_core::review::{LeftOutCode, Recommendation, WeeklyCode};
use jogaudit_recording::notice::NoticeCode;
use jogaudit_report::ReviewView;
use jogaudit_report::days;

/// Days in which something counts as recent.
const RECENT_DAYS: i32 = 14;

/// What needs attention, from the gravest on.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Need {
    /// The ruling is to see a clinician.
    Clinician,
    /// The case cannot be read.
    Unreadable,
    /// The ruling is to rest.
    Rest,
    /// A session of the last days was overdone, or there was running outside the plan.
    Overdone,
    /// Pain beyond its limit was noted in the last days.
    Pain,
    /// Lines of the diary can't be read: there may be pain in them.
    UnreadableDiary,
    /// A session can't be judged.
    Undecided,
    /// A file of the case can't be read.
    UnreadableFile,
    /// The diary says nothing of the last session.
    NoDiary,
    /// No session for long.
    Away,
}

/// What a case needs attention for, in words, the gravest first.
pub(super) fn needs(review: &ReviewView, today: Date) -> Vec<(Need, String)> {
    let is_recent = |date: &str| {
        let ago = date.parse::<Date>().ok().and_then(|date| date.until(today).ok());
        ago.is_some_and(|span| (0..=RECENT_DAYS).contains(&span.get_days()))
    };
    let mut needs = Vec::new();
    match review.ruling.ruling {
        Recommendation::SeeClinician => needs.push((Need::Clinician, "see a clinician".to_owned())),
        Recommendation::Rest => needs.push((Need::Rest, "rest".to_owned())),
        _ => {}
    }
    let recent = || review.sessions.iter().filter(|session| is_recent(&session.date));
    let days_of = |outcome: Outcome| -> Vec<&str> {
        recent().filter(|s| s.outcome == Some(outcome)).map(|s| s.date.as_str()).collect()
    };
    let mut overdone = days_of(Outcome::Overdone);
    let found = review.findings.iter().filter(|finding| is_recent(&finding.date));
    overdone.extend(found.clone().filter(|f| f.code == WeeklyCode::UnplannedRun).map(|f| f.date.as_str()));
    let pain = found.filter(|finding| finding.code.is_pain());
    // Pain at night is found whatever its size; 0 is no size.
    let sizes = pain.clone().filter_map(|finding| finding.achieved).filter(|size| *size > 0.0);
    let greatest = sizes.reduce(f64::max).map(|size| format!("pain up to {size} of 10"));
    for (need, what, mut dates) in [
        (Need::Overdone, "overdone", overdone),
        (
            Need::Pain,
            greatest.as_deref().unwrap_or("pain beyond the limit"),
            pain.map(|f| f.date.as_str()).collect(),
        ),
        (Need::Undecided, "can’t be judged", days_of(Outcome::Undecided)),
    ] {
        dates.sort_unstable();
        dates.dedup();
        if !dates.is_empty() {
            let dates: Vec<String> = dates.into_iter().map(days::short).collect();
            needs.push((need, format!("{what}: {}", dates.join(", "))));
        }
    }
    needs.extend(unread_diary(review));
    let unread: Vec<&str> = review
        .left_out
        .iter()
        .filter(|file| file.code == LeftOutCode::Unreadable)
        .map(|file| file.recording.as_str())
        .collect();
    if !unread.is_empty() {
        needs.push((Need::UnreadableFile, format!("not readable: {}", unread.join(", "))));
    }
    let Some(last) = review.sessions.last() else {
        needs.push((Need::Away, "no session yet".to_owned()));
        return needs;
    };
    if last.pain_during.is_none() && last.pain_pattern.is_none() {
        needs.push((Need::NoDiary, format!("no word on pain: {}", days::short(&last.date))));
    }
    if !is_recent(&last.date) {
        needs.push((Need::Away, format!("no session since {}", days::short(&last.date))));
    }
    needs.sort();
    needs
}

/// What of the diary can't be read.
fn unread_diary(review: &ReviewView) -> Option<(Need, String)> {
    let is_diary = |code: NoticeCode| {
        [NoticeCode::DiaryLine, NoticeCode::DiaryCell, NoticeCode::DiaryNoHeader].contains(&code)
    };
    let text = match review.notices.iter().filter(|notice| is_diary(notice.code)).count() {
        0 => return None,
        1 => "a line of the diary can’t be read".to_owned(),
        count => format!("{count} places of the diary can’t be read"),
    };
    Some((Need::UnreadableDiary, text))
}

/// What is said of a case that cannot be read.
pub(super) fn unreadable(why: &str) -> Vec<(Need, String)> {
    vec![(Need::Unreadable, why.to_owned())]
}
