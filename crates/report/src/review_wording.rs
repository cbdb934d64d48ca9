//! The sentences of the report of a whole return.

use jiff::civil::Date;

use jogaudit_core::prescription::Plan;
use jogaudit_core::range::Range;
use jogaudit_core::review::{
    Against, Coming, Recommendation, RuleCode, Ruling, Visit, WeeklyCode, WeeklyFinding,
};
use jogaudit_recording::units::{LengthUnit, Unit};

use super::days;
use super::ends;
use super::lengths;
use super::wording::{clock, how_sure};

/// What the report ends with.
pub(super) const CAUTIONS: &str = "This judges recordings and a diary, not a body: it cannot tell whether running is \
    right for you, and it does not know what was neither recorded nor noted. With pain, swelling, a limp or pain at \
    night, stop and see a health professional. What your clinician says takes precedence over this report.";

/// What the figures of effort and loading mean.
pub(super) const EFFORT_KEY: &str = "Session load: effort × minutes, summed over the week (Foster et al. 2001, J Strength Cond Res \
    15:109-15). Monotony: mean daily load over its standard deviation (n − 1). Weekly strain: load × monotony (Foster 1998, Med Sci \
    Sports Exerc 30:1164-8). Estimated loading: body weights summed over the steps, from published peak forces of 2.0–2.9 a running \
    and 1.0–1.5 a walking step; of the plan's: against the week as prescribed.";

/// What the word for a week means, where the plan goes by weeks.
pub(super) const WEEK_KEY: &str = "A week is as prescribed when each kind of session was done as prescribed as often as the week asks \
    for, and nothing was overdone; else it is incomplete or overdone, or undecided where a recording can't tell.";

/// The ruling in one sentence: what is to be done, and from which day on.
pub(super) fn ruling(plan: &Plan, ruling: &Ruling, as_of: Date) -> String {
    let named = |stage: usize| format!("stage “{}”", plan.stages[stage].name);
    let stage = ruling.stage.map(named).unwrap_or_default();
    let from = ruling.not_before.map(|date| format!("from {}", days::long_day(date, as_of.year())));
    let reason = ruling.applied.first().map(|applied| applied.row().code);
    let Some(from) = from else {
        return match (ruling.recommendation, reason) {
            (Recommendation::SeeClinician, _) => "See a health professional before you run again.",
            (_, Some(RuleCode::StagesNotReadable)) => {
                "Rest: no session until the list of stages can be read again."
            }
            (_, Some(RuleCode::SeenNotReadable)) => {
                "Rest: no session until the list of visits can be read again."
            }
            _ => "Rest: no session until the diary can be read again.",
        }
        .to_owned();
    };
    let place = |stage: usize| plan.stages[stage].place;
    let is_here = ruling.here.zip(ruling.stage).is_some_and(|(here, next)| place(here) == place(next));
    match (ruling.recommendation, reason) {
        (_, Some(RuleCode::NothingDone)) => format!("First session: {stage}, {from}."),
        (_, Some(RuleCode::PlanComplete)) => {
            "The plan is done: ask your prescriber what comes next.".to_owned()
        }
        (Recommendation::Advance, _) => format!("By the plan, {stage} comes next, {from}."),
        (Recommendation::Rest, _) => format!("No session for now: rest. Then {stage}, {from}."),
        (Recommendation::StepBack, _) if !is_here => format!("Go back to {stage}, {from}."),
        (_, Some(RuleCode::Seen | RuleCode::TooFewKept)) => format!("Go on with {stage}, {from}."),
        _ => format!("Repeat {stage}, {from}."),
    }
}

/// How a ruling ends that does not end by itself.
pub(super) fn how_it_ends(ruling: &Ruling) -> Option<&'static str> {
    match ruling.recommendation {
        Recommendation::SeeClinician => {
            Some("This stays until a visit is noted: the day, who saw you, and the stage to go on from.")
        }
        Recommendation::Rest if ruling.not_before.is_none() => {
            Some("This stays until the file is mended; the notices say what is wrong with it.")
        }
        _ => None,
    }
}

/// A visit to a clinician in one sentence.
pub(super) fn visit(visit: &Visit, stage: Option<&str>, as_of: Date) -> String {
    let by = if visit.by.is_empty() { "a health professional" } else { &visit.by };
    let from =
        stage.map_or_else(|| "from where you were".to_owned(), |stage| format!("from stage “{stage}”"));
    let note = if visit.note.is_empty() { String::new() } else { format!(" Note: {}", visit.note) };
    format!("{}: seen by {by}, who let you go on {from}.{note}", days::long_day(visit.date, as_of.year()))
}

/// `Thursday 12 March: stage 3, 24 min`; `about` where the time is an estimate.
pub(super) fn dated(day: &str, stage: &str, session_s: Range, is_exact: bool) -> String {
    let about = if is_exact { "" } else { "about " };
    let minutes = session_s.map(|s| (s / 60.0).round().max(1.0));
    format!("{day}: stage {stage}, {about}{} min", ends::between(minutes, |n| format!("{n:.0}")))
}

/// What there is to say about the days that come.
pub(super) fn coming(plan: &Plan, coming: &Coming, as_of: Date) -> Vec<String> {
    let day = |date: &Date| days::long_day(*date, as_of.year());
    let moved = coming.moved_from.as_ref().map(|from| {
        format!(
            "The next session is moved from {}, because rest comes first; the dates after it move along.",
            day(from)
        )
    });
    let missed = match coming.missed.as_slice() {
        [] => None,
        // Without weekdays no day is meant: there was room.
        [first, rest @ ..] if plan.weekdays.is_empty() => {
            let sessions = if rest.is_empty() { "one more session" } else { "more sessions" };
            Some(format!("Since {} there was room for {sessions}. There is no need to catch up.", day(first)))
        }
        [one] => {
            Some(format!("The session meant for {} was missed. There is no need to catch up.", day(one)))
        }
        [first, .., last] => Some(format!(
            "{} sessions from {} to {} were missed. There is no need to catch up.",
            coming.missed.len(),
            day(first),
            day(last)
        )),
    };
    [moved, missed].into_iter().flatten().collect()
}

/// A finding in one sentence: what, by how much, how sure.
pub(super) fn weekly_finding(
    f: &WeeklyFinding,
    [stage, kind, left]: [Option<&str>; 3],
    units: LengthUnit,
) -> String {
    let (achieved, allowed) = (f.achieved.unwrap_or(0.0), f.prescribed.unwrap_or(0.0));
    let stage = stage.unwrap_or("?");
    let left = left.unwrap_or("?");
    let what = match f.code {
        WeeklyCode::TooManySessions => {
            let of_kind = kind.map(|kind| format!(" of “{kind}”")).unwrap_or_default();
            format!("{}{of_kind} in the week where the plan allows {allowed}", plural(achieved, "session"))
        }
        WeeklyCode::NoRestDay if achieved == 0.0 => {
            format!("No day of rest since the session before; {} needed", are(allowed))
        }
        WeeklyCode::NoRestDay => {
            format!("{} of rest since the session before; {} needed", plural(achieved, "day"), are(allowed))
        }
        WeeklyCode::StageSkipped => format!("Stage “{left}” was skipped: this was stage “{stage}”"),
        WeeklyCode::StageRushed => format!(
            "Moved on to stage “{stage}” with {achieved} of {} of stage “{left}” done as prescribed",
            plural(allowed, if f.unit == Unit::Weeks { "week" } else { "session" })
        ),
        WeeklyCode::RunningTimeJump => {
            let bound =
                if f.against == Against::Plan { "the plan's limit for the rise" } else { "the usual bound" };
            format!("Running totalled {} in the week; {bound} is {}", clock(achieved), clock(allowed))
        }
        WeeklyCode::LongestRunJump => {
            let value = |x: f64| match f.unit {
                Unit::Metres => lengths::distance(x, units),
                _ => clock(x),
            };
            format!(
                "The longest run was {}, more than is prescribed and {:.0} % above the longest of the 30 days before \
                 ({})",
                value(achieved),
                100.0 * (achieved / allowed - 1.0),
                value(allowed)
            )
        }
        WeeklyCode::RanInPain => pain(f, "in the session"),
        WeeklyCode::PainNextMorning => pain(f, "on the morning after"),
        WeeklyCode::EffortTooHigh => {
            format!("The effort noted was {achieved} of 10; the ceiling is {allowed}")
        }
        WeeklyCode::UnplannedRun => {
            format!("A {} run matches no session of the plan", clock(achieved))
        }
    };
    if f.certainty < 1.0 { format!("{what} ({}).", how_sure(f.certainty)) } else { format!("{what}.") }
}

fn pain(f: &WeeklyFinding, when: &str) -> String {
    let noted = f.achieved.filter(|pain| *pain > 0.0);
    let is_within = noted.is_some_and(|pain| pain <= f.prescribed.unwrap_or(0.0));
    if f.against == Against::PainLimit && is_within {
        return "Pain at night".to_owned();
    }
    let size = noted.map_or_else(|| "of unknown size".to_owned(), |pain| format!("{pain} of 10"));
    match f.against {
        Against::PainLimit => {
            format!("Pain {size} {when}; the limit there is {}", f.prescribed.unwrap_or(0.0))
        }
        _ => format!("Pain {size} {when}; no limit is prescribed, so any pain counts"),
    }
}

fn plural(count: f64, thing: &str) -> String {
    if count == 1.0 { format!("1 {thing}") } else { format!("{count} {thing}s") }
}

fn are(days: f64) -> String {
    if days == 1.0 { "1 is".to_owned() } else { format!("{days} are") }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn said(code: WeeklyCode, unit: Unit, against: Against, values: Option<(f64, f64)>) -> String {
        let finding = WeeklyFinding {
            code,
            date: "2026-03-02".parse().unwrap(),
            stage: Some(2),
            kind: None,
            left: Some(1),
            prescribed: values.map(|v| v.0),
            achieved: values.map(|v| v.1),
            unit,
            against,
            certainty: 1.0,
        };
        weekly_finding(&finding, [Some("3"), None, Some("2")], LengthUnit::Kilometre)
    }

    #[test]
    #[expect(clippy::too_many_lines, reason = "a table: one row a code")]
    fn each_code_has_its_sentence() {
        use WeeklyCode::*;
        let cases = [
            (
                TooManySessions,
                Unit::Sessions,
                Against::Plan,
                Some((3.0, 4.0)),
                "4 sessions in the week where the plan allows 3.",
            ),
            (
                NoRestDay,
                Unit::Days,
                Against::Plan,
                Some((1.0, 0.0)),
                "No day of rest since the session before; 1 is needed.",
            ),
            (
                NoRestDay,
                Unit::Days,
                Against::Plan,
                Some((2.0, 1.0)),
                "1 day of rest since the session before; 2 are needed.",
            ),
            (StageSkipped, Unit::Sessions, Against::Plan, None, "Stage “2” was skipped: this was stage “3”."),
            (
                StageRushed,
                Unit::Sessions,
                Against::Plan,
                Some((3.0, 1.0)),
                "Moved on to stage “3” with 1 of 3 sessions of stage “2” done as prescribed.",
            ),
            (
                RunningTimeJump,
                Unit::Seconds,
                Against::Plan,
                Some((1350.0, 1800.0)),
                "Running totalled 30:00 in the week; the plan's limit for the rise is 22:30.",
            ),
            (
                LongestRunJump,
                Unit::Metres,
                Against::Before,
                Some((400.0, 520.0)),
                "The longest run was 520 m, more than is prescribed and 30 % above the longest of the 30 days before (400 m).",
            ),
            (
                RanInPain,
                Unit::PointsOfTen,
                Against::PainLimit,
                Some((2.0, 4.0)),
                "Pain 4 of 10 in the session; the limit there is 2.",
            ),
            (
                PainNextMorning,
                Unit::PointsOfTen,
                Against::AnyPain,
                Some((0.0, 1.0)),
                "Pain 1 of 10 on the morning after; no limit is prescribed, so any pain counts.",
            ),
            (
                UnplannedRun,
                Unit::Seconds,
                Against::Plan,
                Some((0.0, 1500.0)),
                "A 25:00 run matches no session of the plan.",
            ),
            (
                EffortTooHigh,
                Unit::PointsOfTen,
                Against::Plan,
                Some((4.0, 5.5)),
                "The effort noted was 5.5 of 10; the ceiling is 4.",
            ),
        ];
        for (code, unit, against, values, expected) in cases {
            assert_eq!(said(code, unit, against, values), expected);
        }
        // Pain at night is found whatever its size: within the limit it is not above it, and 0 is no size.
        let night = |against, limit, pain| said(RanInPain, Unit::PointsOfTen, against, Some((limit, pain)));
        assert_eq!(night(Against::PainLimit, 2.0, 1.0), "Pain at night.");
        assert_eq!(
            night(Against::AnyPain, 0.0, 0.0),
            "Pain of unknown size in the session; no limit is prescribed, so any pain counts."
        );
        assert!(
            said(RanInPain, Unit::PointsOfTen, Against::PainLimit, None).starts_with("Pain of unknown size")
        );
    }

    #[test]
    fn without_weekdays_no_session_was_meant_for_a_day() {
        let date = |text: &str| -> Date { text.parse().unwrap() };
        let stage = "[[stage]]\nname = '3'\nsession = 'run 9:10'";
        let plan = Plan::parse(&format!("start = 2026-03-02\n{stage}")).unwrap().value;
        let said = |missed: &[&str]| {
            let missed = missed.iter().map(|day| date(day)).collect();
            coming(&plan, &Coming { missed, ..Coming::default() }, date("2026-03-11"))
        };
        assert_eq!(
            said(&["2026-03-05"]),
            ["Since Thursday 5 March there was room for one more session. There is no need to catch up."]
        );
        assert_eq!(
            said(&["2026-03-05", "2026-03-07"]),
            ["Since Thursday 5 March there was room for more sessions. There is no need to catch up."]
        );
    }

    #[test]
    fn weeks_are_not_called_sessions_and_a_kind_has_its_name() {
        let mut finding = WeeklyFinding {
            code: WeeklyCode::StageRushed,
            date: "2026-03-02".parse().unwrap(),
            stage: Some(2),
            kind: None,
            left: Some(1),
            prescribed: Some(2.0),
            achieved: Some(1.0),
            unit: Unit::Weeks,
            against: Against::Plan,
            certainty: 1.0,
        };
        let names = [Some("3/steady"), Some("steady"), Some("2")];
        assert_eq!(
            weekly_finding(&finding, names, LengthUnit::Kilometre),
            "Moved on to stage “3/steady” with 1 of 2 weeks of stage “2” done as prescribed."
        );
        finding = WeeklyFinding { code: WeeklyCode::TooManySessions, unit: Unit::Sessions, ..finding };
        assert_eq!(
            weekly_finding(&finding, names, LengthUnit::Kilometre),
            "1 session of “steady” in the week where the plan allows 2."
        );
    }

    #[test]
    fn what_comes_next_has_its_day() {
        let date = |text: &str| -> Date { text.parse().unwrap() };
        assert_eq!(
            dated(&days::long_day(date("2026-03-12"), 2026), "3", 1450.0.into(), true),
            "Thursday 12 March: stage 3, 24 min"
        );
        let stage = "[[stage]]\nname = '3'\nsession = 'run 9:10'";
        let plan = Plan::parse(&format!("weekdays = ['tue', 'sun']\n{stage}")).unwrap().value;
        let none = Coming::default();
        assert_eq!(coming(&plan, &none, date("2026-03-11")), Vec::<String>::new());
        let both =
            Coming { moved_from: Some(date("2026-03-10")), missed: vec![date("2026-03-08")], ..none.clone() };
        assert_eq!(
            coming(&plan, &both, date("2026-03-11")),
            [
                "The next session is moved from Tuesday 10 March, because rest comes first; the dates after it move along.",
                "The session meant for Sunday 8 March was missed. There is no need to catch up."
            ]
        );
        let several = Coming { missed: vec![date("2026-03-03"), date("2026-03-05")], ..none };
        assert!(
            coming(&plan, &several, date("2026-03-11"))[0]
                .starts_with("2 sessions from Tuesday 3 March to Thursday 5 March")
        );
    }
}
