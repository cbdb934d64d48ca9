//! Drafted plans by the grid: each passes the linter, or the limits contradict each other and that is said.

use std::collections::BTreeMap;

use jogaudit_core::prescription::draft::{DraftRequest, DraftedPlan, draft};
use jogaudit_core::prescription::lint::{Increments, LintConfig, lint};
use jogaudit_core::prescription::{Plan, parse_weekdays};
use jogaudit_report::plan_draft;

/// Every combination of these: 2,592 requests.
fn grid() -> Vec<DraftRequest> {
    let mut requests = Vec::new();
    for (run_s, walk_s) in [(30, 60), (60, 120), (60, 60), (90, 150), (180, 60), (240, 120)] {
        for session_s in [1200, 1500, 2100] {
            for goal_run_s in [600, 1200, 1800] {
                for (sessions, sessions_per_week) in [(1, 3), (2, 3), (3, 3), (4, 2)] {
                    for weekly_increase in [None, Some(0.25), Some(0.1), Some(0.01)] {
                        for session_ceiling_s in [None, Some(2700), Some(2000)] {
                            requests.push(DraftRequest {
                                run_s,
                                walk_s,
                                session_s,
                                goal_run_s,
                                sessions,
                                sessions_per_week,
                                weekly_increase,
                                session_ceiling_s,
                                ..DraftRequest::default()
                            });
                        }
                    }
                }
            }
        }
    }
    requests
}

/// The plan as it reads from the file that is printed.
fn read_back(drafted: &DraftedPlan, request: &DraftRequest) -> Plan {
    let text = plan_draft::toml(drafted, request);
    Plan::parse(&text).unwrap_or_else(|error| panic!("{}\n{text}", error.render("plan.toml"))).value
}

/// Fails unless the draft is what was asked for and the linter finds nothing in its file.
fn check(drafted: &DraftedPlan, request: &DraftRequest) {
    let plan = read_back(drafted, request);
    assert_eq!(plan, drafted.plan, "{request:?}");
    let remarks = lint(&plan, LintConfig { weeks_away: request.weeks_away });
    assert_eq!(remarks, [], "{request:?}");
    let first = plan.stages[0].session.figures().most;
    let last = plan.stages[plan.stages.len() - 1].session.figures().most;
    assert_eq!(first.longest_run_s, f64::from(request.run_s));
    assert!(first.session_s <= f64::from(request.session_s));
    assert_eq!((last.run_s, last.runs), (f64::from(request.goal_run_s), 1), "{request:?}");
}

#[test]
fn every_draft_of_the_grid_passes_the_linter_or_says_what_contradicts() {
    let requests = grid();
    let (mut drafted, mut refused) = (0, BTreeMap::new());
    for request in &requests {
        match draft(request) {
            Ok(plan) => {
                check(&plan, request);
                drafted += 1;
            }
            Err(error) => {
                assert!(!error.contradictions.is_empty());
                for contradiction in &error.contradictions {
                    let text = contradiction.to_string();
                    assert!(text.contains("--"), "names an option: {text}");
                    let kind = format!("{contradiction:?}");
                    let kind = kind.split([' ', '{']).next().unwrap_or_default().to_owned();
                    *refused.entry(kind).or_insert(0) += 1;
                }
            }
        }
    }
    #[allow(clippy::print_stdout)] // the table of what the grid reached, shown with --show-output
    {
        println!("{} requests, {drafted} drafted; contradictions: {refused:?}", requests.len());
    }
    assert!(drafted > 1000, "most of the grid can be drafted: {drafted}");
    assert!(refused.len() >= 3, "the grid reaches several contradictions: {refused:?}");
}

/// What 1,000 drafts with rising counts, ranges, kinds of session and days are asked for; each choice is as likely as any.
fn any_request(choices: &mut impl FnMut(usize) -> usize) -> DraftRequest {
    let mut of = |values: &[u32]| values[choices(values.len())];
    let form = of(&[0, 1, 2, 3, 4]);
    let (run_s, session_s) = (of(&[30, 50, 60, 80, 100, 150]), of(&[1200, 1380, 1620, 2040]));
    let sessions_per_week = of(&[2, 3]);
    let weekdays = ["", "tue,thu,sun", "mon,wed,fri"][of(&[0, 1, 2]) as usize];
    DraftRequest {
        run_s,
        walk_s: of(&[50, 70, 100, 140]),
        session_s,
        session_least_s: (form >= 3).then(|| session_s - of(&[120, 240, 360])),
        is_rising: form == 1 || form == 2,
        has_kinds: form == 2 || form == 4,
        goal_run_s: of(&[720, 1100, 1500, 2000]),
        warm_up_s: of(&[0, 160, 300]),
        cool_down_s: of(&[0, 180]),
        sessions: of(&[2, 3, 4, 6]),
        sessions_per_week,
        weekly_increase: [None, Some(0.3), Some(0.15)][of(&[0, 0, 1, 2]) as usize],
        session_ceiling_s: [None, Some(2700)][of(&[0, 0, 1]) as usize],
        start: (!weekdays.is_empty()).then(|| jiff::civil::date(2026, 3, 2)),
        weekdays: if weekdays.is_empty() { Vec::new() } else { parse_weekdays(weekdays).unwrap() },
        ..DraftRequest::default()
    }
}

/// What the stages of a plan are made of: rising counts, ranges of a whole, kinds of session.
fn forms(plan: &Plan) -> [bool; 3] {
    let any = |is_it: fn(&jogaudit_core::prescription::Stage) -> bool| plan.stages.iter().any(is_it);
    let is_range = |stage: &jogaudit_core::prescription::Stage| stage.session.to_string().contains("for ");
    [any(|stage| stage.session.rise().is_some()), any(is_range), any(|stage| stage.kind.is_some())]
}

#[test]
fn a_thousand_drafts_of_every_form_have_nothing_to_remark() {
    // Numerical Recipes' linear congruential generator: any other would do, the same each time.
    let mut state: u32 = 16;
    let mut choices = |many: usize| {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        (state >> 16) as usize % many
    };
    let (mut drafted, mut asked) = (0, 0);
    let mut seen = BTreeMap::new();
    while drafted < 1000 {
        asked += 1;
        assert!(asked < 5000, "most can be drafted: {drafted} of {asked}");
        let request = any_request(&mut choices);
        let Ok(plan) = draft(&request) else { continue };
        check(&plan, &request);
        let [rises, has_ranges, has_kinds] = forms(&plan.plan);
        assert!(!rises || request.is_rising, "{request:?}");
        assert_eq!(
            (has_ranges, has_kinds),
            (request.session_least_s.is_some(), request.has_kinds),
            "{request:?}"
        );
        *seen.entry([rises, has_ranges, has_kinds]).or_insert(0) += 1;
        drafted += 1;
    }
    #[allow(clippy::print_stdout)] // shown with --show-output
    {
        println!("{asked} asked for; rising, ranges, kinds: {seen:?}");
    }
    for form in [[true, false, false], [true, false, true], [false, true, false], [false, true, true]] {
        assert!(seen.get(&form).is_some_and(|count| *count >= 50), "{form:?}: {seen:?}");
    }
}

#[test]
fn a_rise_never_asks_for_more_than_the_same_draft_without_it() {
    let flat = DraftRequest { run_s: 50, walk_s: 100, ..DraftRequest::default() };
    let rising = DraftRequest { is_rising: true, ..flat.clone() };
    let (flat, drafted) = (draft(&flat).unwrap(), draft(&rising).unwrap());
    assert_eq!(drafted.stages.len(), flat.stages.len(), "as many stages");
    let text = plan_draft::toml(&drafted, &rising);
    assert!(
        text.contains("7 rising to 9 x (run 1:00, walk 1:40)") && text.contains(" of running at most"),
        "{text}"
    );
    // Each session has no less running than the one before, and each stage begins where the one before has ended.
    let running = |plan: &DraftedPlan| -> Vec<f64> {
        let of = |stage: &jogaudit_core::prescription::Stage| -> Vec<f64> {
            let number = |kept| stage.session.due_after(kept).map(|due| due.session.figures().most.run_s);
            let all = 0..stage.sessions.unwrap();
            all.map(|kept| number(kept).unwrap_or_else(|| stage.session.figures().most.run_s)).collect()
        };
        plan.plan.stages.iter().flat_map(of).collect()
    };
    let (rising, flat) = (running(&drafted), running(&flat));
    assert!(rising.is_sorted() && rising.len() == flat.len());
    assert!(rising.windows(2).all(|two| two[1] - two[0] <= (0.1 * two[0]).max(120.0) + 1e-6), "{rising:?}");
}

#[test]
fn stricter_steps_pass_too_and_never_take_fewer_stages() {
    for (session_share, longest_s, run_to_walk) in [(0.05, 120.0, 2.0), (0.1, 60.0, 1.5), (0.08, 90.0, 1.7)] {
        let loose = DraftRequest { goal_run_s: 1200, ..DraftRequest::default() };
        let increments = Increments { session_share, longest_s, run_to_walk, ..Increments::default() };
        let strict = DraftRequest { increments, ..loose.clone() };
        let (loose, drafted) = (draft(&loose).unwrap(), draft(&strict).unwrap());
        check(&drafted, &strict);
        assert!(drafted.stages.len() >= loose.stages.len());
    }
}

#[test]
fn a_return_after_weeks_may_begin_with_longer_runs() {
    let request = DraftRequest {
        run_s: 300,
        walk_s: 60,
        session_s: 1800,
        weeks_away: Some(6),
        ..DraftRequest::default()
    };
    let drafted = draft(&request).unwrap();
    check(&drafted, &request);
    let text = plan_draft::toml(&drafted, &request);
    assert!(text.replace("\n#", "").contains("plan check --weeks-away 6"), "{text}");
}

#[test]
fn the_printed_file_is_fixed() {
    let request = DraftRequest { title: "Back on the \"path\"".to_owned(), ..DraftRequest::default() };
    let text = plan_draft::toml(&draft(&request).unwrap(), &request);
    let snapshot = include_str!("plan_snapshots/draft.toml");
    assert_eq!(text, snapshot, "\n{text}");
}

#[test]
fn a_draft_with_days_reads_back_and_has_nothing_to_remark() {
    let start = Some(jiff::civil::date(2026, 3, 2));
    for (days, rest_days, per_week) in
        [("tue,thu,sun", 1, 3), ("mon,thu", 2, 2), ("wed", 1, 1), ("mon,wed,fri,sun", 0, 3)]
    {
        let weekdays = parse_weekdays(days).unwrap();
        let request = DraftRequest {
            run_s: 50,
            walk_s: 100,
            start,
            weekdays,
            rest_days,
            sessions_per_week: per_week,
            ..DraftRequest::default()
        };
        match draft(&request) {
            Ok(drafted) => {
                check(&drafted, &request);
                let days: Vec<_> =
                    drafted.plan.calendar().unwrap().map(|session| session.date.weekday()).collect();
                assert!(days.iter().all(|day| request.weekdays.contains(day)));
                assert_eq!(days.len(), drafted.stages.len() * 3);
            }
            Err(error) => assert_eq!(days, "mon,wed,fri,sun", "{error}"),
        }
    }
    let refused = |days: &str, rest_days: u32| {
        let weekdays = parse_weekdays(days).unwrap();
        draft(&DraftRequest { weekdays, rest_days, ..DraftRequest::default() }).unwrap_err().to_string()
    };
    let near = refused("mon,wed,sun", 1);
    assert!(
        near.contains("--weekdays and --rest-days 1 contradict each other: two of the weekdays have 0 days"),
        "{near}"
    );
    let few = refused("tue,thu", 1);
    assert!(few.contains("--per-week 3 contradicts --weekdays, which are 2"), "{few}");
    assert!(parse_weekdays("tue,tue").unwrap_err().contains("stands twice"));
}
