//! What practitioners prescribe besides runs and walks, written in a plan and held against simulated recordings with cadence:
//! each test says which in its name. That the figures hold is said of our simulator alone.

use jiff::civil::{Date, date};
use jogaudit_core::audit::{Outcome, Prescription};
use jogaudit_core::pipeline::{Config, Reviewed, Segmented, audit_recording, review_case, segment_recording};
use jogaudit_core::prescription::{DueSession, Plan, Session, Stage};
use jogaudit_core::review::{
    Diary, LeftOut, LeftOutCode, OtherRecording, Recommendation, Recorded, Written, agreed,
};
use jogaudit_recording::units::StepsPerMinute;
use jogaudit_simulate::{Fault, FaultKind, Kept, Settings, simulate};

const SEEDS: u64 = 100;
/// At least so many of a hundred verdicts are right, and at most so many are overdone by mistake.
const LEAST_RIGHT: usize = 97;
const MOST_FALSE: usize = 1;

/// Two stages of the calf of nobody, on Tuesdays, Thursdays and Sundays; 2026-03-02 is a Monday.
const DATED: &str = "
timezone = 'Europe/Oslo'
start = 2026-03-02
weekdays = ['tue', 'thu', 'sun']
[limits]
effort_ceiling = 4
sessions_per_week = 3
rest_days_between = 1
[[stage]]
name = '1'
session = 'walk 3:40, 5 x (run 0:50, walk 1:40), walk 2:10'
sessions = 2
[[stage]]
name = '2'
session = 'walk 3:40, 5 x (run 1:40, walk 1:40), walk 2:10'
sessions = 2
[[other]]
sport = 'cycling'
";

fn plan(text: &str) -> Plan {
    Plan::parse(text).unwrap_or_else(|error| panic!("{}", error.render("plan"))).value
}

fn segmented(stage: &Stage, settings: &Settings) -> (Segmented, usize) {
    segmented_session(&stage.session, settings)
}

fn segmented_session(session: &Session, settings: &Settings) -> (Segmented, usize) {
    let steps = session.expand().fixed_steps().expect("a session that its words settle");
    let recording = simulate(&steps, settings).expect("a session").recording;
    (segment_recording(&recording, &Config::default()), recording.facts().channels.len())
}

fn recorded(plan: &Plan, stage: usize, start: &str, seed: u64) -> Recorded {
    let stage = &plan.stages[stage];
    recorded_session(stage, &stage.session, start, seed)
}

fn recorded_session(stage: &Stage, session: &Session, start: &str, seed: u64) -> Recorded {
    let settings = Settings {
        seed,
        start: start.parse().unwrap(),
        kept: Kept::from(&stage.limits),
        ..Settings::default()
    };
    let (segmented, channels) = segmented_session(session, &settings);
    let Segmented { series, segmentation, notices } = segmented;
    Recorded { name: start.to_owned(), content: start.to_owned(), channels, series, segmentation, notices }
}

/// A case: each session's stage and start, and the lines of the diary.
fn reviewed(plan: &Plan, sessions: &[(usize, &str)], diary: &str, as_of: Date, seed: u64) -> Reviewed {
    let recorded =
        sessions.iter().zip(seed * 10..).map(|((stage, start), seed)| recorded(plan, *stage, start, seed));
    let diary = Diary::parse(&format!("date,pain_during,effort\n{diary}"), as_of).value;
    let ride = LeftOut {
        other: Some(OtherRecording {
            sport: "Biking".to_owned(),
            start: "2026-03-04T16:00:00Z".parse().unwrap(),
            utc_offset_s: None,
            elapsed_s: 2700,
        }),
        ..LeftOut::new("ride".to_owned(), LeftOutCode::NotOnFoot, String::new())
    };
    let (other, _) = agreed(plan, vec![ride], as_of);
    let written = Written { diary, ..Written::default() };
    review_case(plan, &written, recorded.collect(), other, as_of, &Config::default())
}

/// How many of a hundred cases are as they should be.
#[allow(clippy::print_stdout)] // the figure, shown with --show-output
fn right(mut is_right: impl FnMut(u64) -> bool) -> usize {
    let count = (0..SEEDS).filter(|seed| is_right(*seed)).count();
    println!("{count} of {SEEDS} right");
    count
}

fn rules(reviewed: &Reviewed) -> Vec<&'static str> {
    reviewed.review.ruling.applied.iter().map(|applied| applied.row().code.word()).collect()
}

const TWO_KEPT: [(usize, &str); 2] = [(0, "2026-03-03T07:00:00Z"), (0, "2026-03-05T07:00:00Z")];

#[test]
fn effort_above_the_ceiling_is_found_and_does_not_advance() {
    let plan = plan(DATED);
    let mut wrongly_found = 0;
    let count = right(|seed| {
        let ruled = |effort: &str| {
            let diary = format!("2026-03-03,0,3\n2026-03-05,0,{effort}\n");
            let reviewed = reviewed(&plan, &TWO_KEPT, &diary, date(2026, 3, 6), seed);
            (reviewed.review.ruling.recommendation, rules(&reviewed).contains(&"effort_too_high"))
        };
        let (within, above) = (ruled("4"), ruled("5.5"));
        wrongly_found += usize::from(within.1);
        within == (Recommendation::Advance, false) && above == (Recommendation::Repeat, true)
    });
    assert!(count >= LEAST_RIGHT, "{count} of {SEEDS}");
    assert_eq!(wrongly_found, 0);
}

#[test]
fn pain_moves_the_days_that_come_after_and_it_is_said() {
    let plan = plan(DATED);
    let count = right(|seed| {
        // Pain on Tuesday the 3rd: the next run-walk day is skipped, so Thursday becomes Sunday.
        let reviewed = reviewed(&plan, &TWO_KEPT[..1], "2026-03-03,3,3\n", date(2026, 3, 4), seed);
        let coming = reviewed.review.coming.expect("a plan with dates");
        let days: Vec<Date> = coming.sessions.iter().take(3).map(|session| session.date).collect();
        coming.moved_from == Some(date(2026, 3, 5))
            && days == [date(2026, 3, 8), date(2026, 3, 10), date(2026, 3, 12)]
    });
    assert!(count >= LEAST_RIGHT, "{count} of {SEEDS}");
}

#[test]
fn cycling_on_a_rest_day_is_shown_and_no_fault() {
    let plan = plan(DATED);
    let count = right(|seed| {
        let reviewed = reviewed(&plan, &TWO_KEPT, "2026-03-03,0,3\n2026-03-05,0,3\n", date(2026, 3, 6), seed);
        let week = &reviewed.review.weeks[0];
        reviewed.review.ruling.recommendation == Recommendation::Advance
            && reviewed.review.findings.is_empty()
            && week.other_s == [("cycling".to_owned(), 2700)]
            && (week.sessions, week.rest_days) == (2, 3)
            && reviewed.other[0].date == date(2026, 3, 4)
    });
    assert!(count >= LEAST_RIGHT, "{count} of {SEEDS}");
}

#[test]
fn a_calendar_over_a_change_of_the_clock_keeps_its_days() {
    // Oslo's clocks go on by an hour on Sunday 2026-03-29. A quarter past midnight on Monday is 22:15 UTC of Sunday; by the
    // old offset it would still be Sunday, the day after the session before.
    let text =
        DATED.replace("2026-03-02", "2026-03-28").replace("['tue', 'thu', 'sun']", "['sat', 'mon', 'wed']");
    let plan = plan(&text);
    let calendar: Vec<Date> = plan.calendar().unwrap().map(|session| session.date).collect();
    assert_eq!(calendar, [date(2026, 3, 28), date(2026, 3, 30), date(2026, 4, 1), date(2026, 4, 4)]);
    let count = right(|seed| {
        let sessions = [(0, "2026-03-28T08:00:00Z"), (0, "2026-03-29T22:15:00Z")];
        let reviewed =
            reviewed(&plan, &sessions, "2026-03-28,0,3\n2026-03-30,0,3\n", date(2026, 3, 31), seed);
        let days: Vec<Date> = reviewed.sessions.sessions.iter().map(|session| session.date).collect();
        let next = reviewed.review.coming.map(|coming| coming.sessions[0]);
        days == [date(2026, 3, 28), date(2026, 3, 30)]
            && reviewed.review.findings.is_empty()
            && next.is_some_and(|next| (next.date, next.stage) == (date(2026, 4, 1), 1))
    });
    assert!(count >= LEAST_RIGHT, "{count} of {SEEDS}");
}

#[test]
fn a_missed_session_is_not_made_up_and_another_weekday_is_no_fault() {
    let plan = plan(DATED);
    let count = right(|seed| {
        // Monday the 2nd is no day of the plan; Thursday the 5th is missed.
        let reviewed =
            reviewed(&plan, &[(0, "2026-03-02T07:00:00Z")], "2026-03-02,0,3\n", date(2026, 3, 8), seed);
        let coming = reviewed.review.coming.expect("a plan with dates");
        reviewed.review.findings.is_empty()
            && coming.missed == [date(2026, 3, 5)]
            && coming.moved_from.is_none()
            && coming.sessions.iter().map(|session| session.date).next() == Some(date(2026, 3, 8))
    });
    assert!(count >= LEAST_RIGHT, "{count} of {SEEDS}");
}

#[test]
fn an_optional_session_is_never_missed() {
    let missed = |per_week: &str| {
        let plan = plan(&DATED.replace("sessions_per_week = 3", &format!("sessions_per_week = {per_week}")));
        let diary = "2026-03-03,0,3\n2026-03-05,0,3\n";
        reviewed(&plan, &TWO_KEPT, diary, date(2026, 3, 9), 1)
            .review
            .coming
            .expect("a plan with dates")
            .missed
    };
    assert_eq!(missed("'2 to 3'"), Vec::<Date>::new());
    assert_eq!(missed("3"), [date(2026, 3, 8)]);
}

#[test]
fn one_repetition_more_each_time_with_one_session_repeated() {
    let plan = plan(
        "timezone = 'UTC'\n[limits]\nsessions_per_week = 3\nrest_days_between = 1\n[[stage]]\nname = 'grow'\n\
         session = 'walk 3:40, 4 rising to 6 x (run 1:20, walk 1:50), walk 2:10'\nsessions = 3",
    );
    let stage = &plan.stages[0];
    let after = |kept: u32| stage.session.due_after(kept).expect("a count that rises").session;
    // Five are due on the fifth, four are done: five stay due.
    let done = [("2026-03-03T07:00:00Z", 0), ("2026-03-05T07:00:00Z", 0), ("2026-03-08T07:00:00Z", 1)];
    let mut overdone = 0;
    let count = right(|seed| {
        let recorded = done
            .iter()
            .zip(seed * 10..)
            .map(|((start, kept), seed)| recorded_session(stage, &after(*kept), start, seed))
            .collect();
        let as_of = date(2026, 3, 9);
        let reviewed =
            review_case(&plan, &Written::default(), recorded, Vec::new(), as_of, &Config::default());
        let sessions = &reviewed.sessions.sessions;
        let outcomes: Vec<Outcome> = sessions.iter().map(|session| session.outcome).collect();
        overdone += outcomes.iter().filter(|outcome| **outcome == Outcome::Overdone).count();
        let due = |due: &Option<DueSession>| due.as_ref().map(|due| due.repetitions);
        let were_due: Vec<Option<u32>> = sessions.iter().map(|session| due(&session.due)).collect();
        outcomes == [Outcome::Kept, Outcome::Underdone, Outcome::Kept]
            && were_due == [Some(4), Some(5), Some(5)]
            && due(&reviewed.review.ruling.due) == Some(6)
    });
    assert!(count >= LEAST_RIGHT && overdone <= MOST_FALSE, "{count} of {SEEDS}, {overdone} overdone");
}

#[test]
fn everything_in_miles_with_the_cadence_of_one_leg_is_judged_as_in_kilometres() {
    let plan = plan(
        "units = 'mi'\n[runner]\nusual_run_cadence = '82 rpm'\n[limits]\npace_ceiling = '10:40 /mi'\n\
         walk_cadence_within = '30 rpm'\n[[stage]]\nname = 'canal'\nsession = 'walk 3:40, 4 x (run 0.22 mi, walk 1:40)'",
    );
    let stage = &plan.stages[0];
    let outcome = |seed: u64, faults: Vec<Fault>| {
        let settings = Settings { seed, kept: Kept::from(&stage.limits), faults, ..Settings::default() };
        let (mut segmented, _) = segmented(stage, &settings);
        audit_recording(&mut segmented, &plan, stage, &Config::default()).outcome
    };
    assert_eq!(
        Prescription::of(&plan, stage).limits.walk_cadence_floor.map(StepsPerMinute::get),
        Some(104.0)
    );
    let clean: Vec<Outcome> = (0..SEEDS).map(|seed| outcome(seed, Vec::new())).collect();
    let kept = right(|seed| clean[seed as usize] == Outcome::Kept);
    let false_overdone = clean.iter().filter(|outcome| **outcome == Outcome::Overdone).count();
    assert!(kept >= LEAST_RIGHT && false_overdone <= MOST_FALSE, "{kept} kept, {false_overdone} overdone");
    let cut = || vec![Fault::new(FaultKind::WalkCut, 50.0).at_rep(2)];
    let found = right(|seed| outcome(seed, cut()) == Outcome::Overdone);
    assert!(found >= LEAST_RIGHT, "{found} of {SEEDS} found");
}
