//! Drafts against an independent search that asks the linter itself, and every contradiction.

use super::super::lint::{LintConfig, lint};
use super::*;
use crate::prescription::Stage;

fn remarks(request: &DraftRequest, stages: &[DraftStage]) -> usize {
    lint(&request.plan(stages).unwrap(), LintConfig { weeks_away: request.weeks_away }).len()
}

/// All sessions of the family whose amounts are looked at.
fn family(request: &DraftRequest) -> Vec<DraftStage> {
    let (totals, runs) = search::amounts(request);
    let mut stages = vec![request.first()];
    for &total_s in &totals {
        for &run_s in runs.iter().filter(|run_s| **run_s <= total_s) {
            let (stage, rest_s) = (DraftStage { total_s, run_s }, total_s % run_s);
            if (rest_s == 0 || rest_s >= 60 || 3 * rest_s >= run_s) && stage != request.first() {
                stages.push(stage);
            }
        }
    }
    stages
}

/// The fewest stages by breadth-first search, each step judged by the linter on a plan of its two stages.
fn fewest_by_the_linter(request: &DraftRequest) -> Option<usize> {
    let family = family(request);
    let goal = request.goal();
    let mut reached = vec![family[0]];
    let mut left: Vec<DraftStage> = family[1..].to_vec();
    let mut frontier = reached.clone();
    // The linter's remarks on the start do not depend on the step: none may rise with it.
    for count in 1..200 {
        if frontier.contains(&goal) {
            return Some(count);
        }
        let is_step = |from: DraftStage, to: DraftStage| {
            let keeps_the_family = to.total_s >= from.total_s
                && to.run_s >= from.run_s
                && (from.runs() > 1 || to.runs() == 1 || from == family[0]);
            let later = LintConfig { weeks_away: Some(1) };
            keeps_the_family && lint(&request.plan(&[from, to]).unwrap(), later).is_empty()
        };
        let (next, rest): (Vec<_>, Vec<_>) =
            left.into_iter().partition(|to| frontier.iter().any(|from| is_step(*from, *to)));
        if next.is_empty() {
            return None;
        }
        reached.extend(&next);
        (left, frontier) = (rest, next);
    }
    None
}

#[test]
fn no_plan_of_the_family_has_fewer_stages() {
    let base = DraftRequest { warm_up_s: 0, cool_down_s: 0, ..DraftRequest::default() };
    let cases = [
        DraftRequest { session_s: 6 * 60, goal_run_s: 6 * 60, ..base.clone() },
        DraftRequest { session_s: 12 * 60, goal_run_s: 8 * 60, ..base.clone() },
        DraftRequest { session_s: 9 * 60, goal_run_s: 9 * 60, weekly_increase: Some(0.3), ..base.clone() },
        DraftRequest { run_s: 90, walk_s: 60, session_s: 8 * 60, goal_run_s: 10 * 60, ..base.clone() },
        DraftRequest { session_s: 9 * 60, goal_run_s: 7 * 60, session_ceiling_s: Some(9 * 60), ..base },
    ];
    for request in cases {
        let draft = draft(&request).unwrap_or_else(|error| panic!("{error}: {request:?}"));
        assert_eq!(Some(draft.stages.len()), fewest_by_the_linter(&request), "{request:?}");
        assert_eq!(remarks(&request, &draft.stages), 0);
    }
}

#[test]
fn the_search_by_the_linter_finds_that_there_is_no_way() {
    // 0 % a week leaves nothing to add.
    let request = DraftRequest {
        warm_up_s: 0,
        cool_down_s: 0,
        session_s: 6 * 60,
        goal_run_s: 5 * 60,
        weekly_increase: Some(0.0),
        ..DraftRequest::default()
    };
    assert_eq!(fewest_by_the_linter(&request), None);
    let error = draft(&request).unwrap_err().to_string();
    assert!(error.starts_with("--weekly-increase bars the way to the goal"), "{error}");
}

#[test]
fn a_draft_begins_and_ends_as_asked() {
    let request = DraftRequest::default();
    let draft = draft(&request).unwrap();
    let session = |index: usize| draft.plan.stages[index].session.to_string();
    assert_eq!(session(0), "walk 5:00, 5 x (run 1:00, walk 2:00), walk 5:00");
    assert_eq!(session(draft.stages.len() - 1), "walk 5:00, run 30:00, walk 5:00");
    // From 5:00 in steps of 2:00 up to 20:00 and of a tenth from there: 7, 9, …, 19, 21, 23, 25, 27:30, 30.
    assert_eq!((draft.stages.len(), draft.weeks), (13, 13));
    let totals: Vec<u32> = draft.stages.iter().map(|s| s.total_s).collect();
    assert!(totals.is_sorted() && draft.stages.iter().map(|s| s.run_s).is_sorted());
}

#[test]
fn a_fine_limit_is_met_with_fine_amounts() {
    // 3 % of 10:00 is 18 s, of 15:00 27 s: multiples of 5 s up to 11:05, where a step holds two of 10 s.
    let request = DraftRequest {
        session_s: 40 * 60,
        goal_run_s: 15 * 60,
        weekly_increase: Some(0.03),
        ..DraftRequest::default()
    };
    let (totals, _) = search::amounts(&request);
    assert_eq!(totals[..3], [600, 605, 610]);
    assert!(totals.ends_with(&[880, 890, 900]));
    let draft = draft(&request).unwrap();
    assert_eq!(remarks(&request, &draft.stages), 0);
}

#[test]
fn usual_limits_are_met_with_half_minutes() {
    let (totals, runs) = search::amounts(&DraftRequest::default());
    assert!(totals.iter().chain(&runs).all(|s| s.is_multiple_of(search::FINEST_GRAIN_S * 6)));
}

#[test]
fn the_session_is_as_long_as_the_draft_takes_it_to_be() {
    let request = DraftRequest { sessions: 2, ..DraftRequest::default() };
    let draft = draft(&request).unwrap();
    for (stage, doses) in draft.plan.stages.iter().zip(&draft.stages) {
        let figures = stage.session.figures().most;
        assert_eq!(figures.session_s, f64::from(request.takes_s(*doses)), "{}", stage.session);
        assert_eq!(figures.run_s, f64::from(doses.total_s));
        assert_eq!(figures.longest_run_s, f64::from(doses.run_s));
    }
}

#[test]
fn each_contradiction_names_its_options() {
    let base = DraftRequest::default();
    let with = |increments: Increments| DraftRequest { increments, ..DraftRequest::default() };
    let linter = Increments::default();
    let cases = [
        (
            DraftRequest { run_s: 1800, weeks_away: Some(2), ..base.clone() },
            "--run 30:00 is not shorter than --goal-run",
        ),
        (
            DraftRequest { session_s: 240 * 60, ..base.clone() },
            "--minutes and --goal-run contradict each other",
        ),
        (DraftRequest { session_s: 12 * 60, ..base.clone() }, "take 13:00, the session has 12:00"),
        (DraftRequest { run_s: 240, ..base.clone() }, "say so with --weeks-away"),
        (DraftRequest { sessions_per_week: 4, ..base.clone() }, "--per-week 4 contradicts at most 3"),
        (DraftRequest { rest_days: 0, ..base.clone() }, "--rest-days 0 contradicts"),
        (DraftRequest { rest_days: 3, ..base.clone() }, "a week of 7 days then has room for 2"),
        (with(Increments { session_share: 0.2, ..linter }), "--session-increase is looser"),
        (with(Increments { session_s: 121.0, ..linter }), "--session-step is looser"),
        (with(Increments { longest_share: 1.0, ..linter }), "--longest-increase is looser"),
        (with(Increments { longest_s: 300.0, ..linter }), "--longest-step is looser"),
        (with(Increments { run_to_walk: 3.0, ..linter }), "--run-walk-factor is outside its range"),
        (with(Increments { run_to_walk: f64::NAN, ..linter }), "--run-walk-factor is outside its range"),
        (
            DraftRequest { session_ceiling_s: Some(39 * 60), ..base.clone() },
            "contradicts the last session, which takes 40:00",
        ),
        (
            DraftRequest { most_weeks: Some(12), ..base.clone() },
            "the fewest stages are 13, which take 13 weeks",
        ),
        (DraftRequest { run_s: 5, ..base.clone() }, "--run is outside its range from 0:10"),
        (DraftRequest { sessions: 0, ..base.clone() }, "--sessions is outside its range"),
        (
            with(Increments { session_share: 0.0, session_s: 0.0, ..linter }),
            "--session-increase and --session-step bar the way to the goal, and lifting either opens it",
        ),
        (
            DraftRequest {
                increments: Increments {
                    longest_share: 0.0,
                    longest_s: 0.0,
                    session_s: 0.0,
                    session_share: 0.0,
                    ..linter
                },
                ..base
            },
            "together bar the way to the goal",
        ),
    ];
    for (request, part) in cases {
        let error = draft(&request).expect_err(part).to_string();
        assert!(error.contains(part), "{part}: {error}");
    }
}

#[test]
fn each_contradiction_of_ranges_rises_and_kinds_names_its_options() {
    let base = DraftRequest::default();
    for (request, part) in [
        (
            DraftRequest { session_least_s: Some(26 * 60), ..base.clone() },
            "--minutes has its least, 26:00, above its most, 25:00",
        ),
        (
            DraftRequest { session_s: 27 * 60, session_least_s: Some(26 * 60), ..base.clone() },
            "as many runs and walks as fit take 25:00 with warm-up and cool-down, which is not from 26:00 to 27:00",
        ),
        (
            DraftRequest { session_least_s: Some(10 * 60), ..base.clone() },
            "take 11:00, the session has 10:00",
        ),
        (
            DraftRequest {
                session_least_s: Some(21 * 60),
                session_s: 60 * 60,
                run_s: 10,
                walk_s: 10,
                ..base.clone()
            },
            "it may be 33:00 wide at most",
        ),
        (
            DraftRequest { session_least_s: Some(22 * 60), is_rising: true, ..base.clone() },
            "--rising and a range of --minutes contradict each other",
        ),
        (DraftRequest { is_rising: true, sessions: 1, ..base.clone() }, "--rising contradicts --sessions 1"),
        (
            DraftRequest { has_kinds: true, sessions_per_week: 1, ..base.clone() },
            "--kinds contradicts --per-week 1",
        ),
        (
            DraftRequest { has_kinds: true, session_s: 13 * 60, goal_run_s: 180, ..base },
            "--kinds contradicts the lengths",
        ),
    ] {
        let error = draft(&request).expect_err(part).to_string();
        assert!(error.contains(part), "{part}: {error}");
    }
}

#[test]
fn a_draft_longer_than_a_plan_may_be_is_refused() {
    // 40 minutes of 0:10 and 0:10 are 240 runs and walks, a range of half an hour has 180 ends, and 2 % a week take many
    // stages.
    let request = DraftRequest {
        run_s: 10,
        walk_s: 10,
        session_s: 50 * 60,
        session_least_s: Some(20 * 60),
        weekly_increase: Some(0.02),
        ..DraftRequest::default()
    };
    let error = draft(&request).map(|draft| draft.stages.len()).unwrap_err().to_string();
    assert!(error.contains("more runs and walks, than a plan may have"), "{error}");
}

#[test]
fn a_range_keeps_its_width_and_always_two_runs() {
    let request = DraftRequest { session_least_s: Some(20 * 60), ..DraftRequest::default() };
    let draft = draft(&request).unwrap();
    let session = |index: usize| draft.plan.stages[index].session.to_string();
    assert_eq!(session(0), "walk 5:00, for 10:00 to 15:00 (run 1:00, walk 2:00), walk 5:00");
    // 4:00, four times 1:30 and three walks of 2:00 between, and a run of 1:00 after the fourth.
    assert_eq!(session(1), "walk 5:00, for 10:00 to 15:00 (run 1:30, walk 2:00), walk 5:00");
    let narrow =
        DraftRequest { session_s: 22 * 60, session_least_s: Some(17 * 60), goal_run_s: 900, ..request };
    let draft = super::draft(&narrow).unwrap();
    for stage in draft.plan.stages.iter().filter(|stage| stage.session.to_string().contains("for ")).skip(1) {
        assert!(stage.session.figures().least.runs >= 2, "{}", stage.session);
    }
}

#[test]
fn a_week_of_kinds_begins_with_a_week() {
    let request = DraftRequest { has_kinds: true, sessions: 4, ..DraftRequest::default() };
    let draft = draft(&request).unwrap();
    let kinds: Vec<&Stage> = draft.plan.stages.iter().filter(|stage| stage.kind.is_some()).collect();
    assert_eq!(kinds.len(), 2, "the goal is the only run without a walk");
    assert_eq!(kinds.iter().map(|stage| stage.weeks).collect::<Vec<_>>(), [Some(2); 2]);
    assert_eq!(kinds.iter().map(|s| s.a_week().unwrap().most).collect::<Vec<_>>(), [2, 1]);
    // Twelve stages of 4 sessions are 48, which are 16 weeks of 3.
    assert_eq!((draft.plan.stages[11].sessions, draft.weeks), (Some(4), 18));
    let two = DraftRequest { sessions: 5, sessions_per_week: 3, ..request };
    let draft = super::draft(&two).unwrap();
    // Twelve of 5 are 60, which are 20 weeks; with 11 of them it would be 55, and two more sessions.
    let last = draft.plan.stages.iter().rfind(|stage| stage.kind.is_none()).unwrap();
    assert_eq!(last.sessions, Some(5 + (3 - (5 * (last.place as u32 + 1)) % 3) % 3));
    assert!(draft.plan.weeks().iter().all(|week| week.sessions.len() == 3));
}

#[test]
fn every_contradiction_is_named_at_once() {
    let request =
        DraftRequest { sessions_per_week: 5, rest_days: 0, most_weeks: Some(1), ..DraftRequest::default() };
    assert_eq!(draft(&request).unwrap_err().contradictions.len(), 2);
}
