//! Each kind of remark on a plan that has just that, and the edges between something and nothing.

use super::*;

const HEAD: &str = "[limits]\nsessions_per_week = 3\nrest_days_between = 1\n";

fn remarks_of(text: &str, config: LintConfig) -> Vec<Remark> {
    let plan = Plan::parse(text).unwrap_or_else(|error| panic!("{}", error.render("p"))).value;
    lint(&plan, config)
}

fn codes_of(text: &str) -> Vec<&'static str> {
    remarks_of(text, LintConfig::default()).iter().map(|remark| remark.code.word()).collect()
}

/// A plan of these sessions, three kept of each.
fn plan(sessions: &[&str]) -> String {
    plan_with(HEAD, sessions)
}

fn plan_with(head: &str, sessions: &[&str]) -> String {
    let stages = sessions.iter().enumerate().map(|(n, session)| {
        format!("[[stage]]\nname = \"{}\"\nsession = \"{session}\"\nsessions = 3\n", n + 1)
    });
    format!("note = 'Run so that you can talk.'\n{head}{}", stages.collect::<String>())
}

fn codes(sessions: &[&str]) -> Vec<&'static str> {
    codes_of(&plan(sessions))
}

#[test]
fn an_even_plan_has_nothing_to_remark() {
    assert_eq!(
        codes(&["walk 30:00", "6 x (run 1:00, walk 2:00)", "4 x (run 2:00, walk 2:00)"]),
        Vec::<&str>::new()
    );
}

#[test]
fn running_of_a_session_may_rise_by_two_minutes_or_a_tenth() {
    // 6:00 → 8:00 is the edge of the two minutes.
    assert_eq!(codes(&["6 x (run 1:00, walk 2:00)", "8 x (run 1:00, walk 2:00)"]), Vec::<&str>::new());
    let over =
        remarks_of(&plan(&["6 x (run 1:00, walk 2:00)", "9 x (run 1:00, walk 2:00)"]), LintConfig::default());
    assert_eq!(over[0].code, LintCode::SessionRunningJump);
    assert_eq!((over[0].base, over[0].value, over[0].limit), (Some(360.0), Some(540.0), Some(480.0)));
    assert_eq!((over[0].after.as_deref(), over[0].stages.as_slice()), (Some("1"), &["2".to_owned()][..]));
    assert_eq!(over[0].between, [480.0]);
    // 30:00 → 33:00 is the edge of the tenth.
    let away = LintConfig { weeks_away: Some(4) };
    assert_eq!(remarks_of(&plan(&["run 30:00", "run 33:00"]), away), []);
    assert_eq!(remarks_of(&plan(&["run 30:00", "run 33:01"]), away)[0].code, LintCode::SessionRunningJump);
}

#[test]
fn a_session_is_held_against_the_most_of_thirty_days() {
    // The easy stage lasts a week: what was run before it still counts.
    let stages = ["6 x (run 2:00, walk 2:00)", "4 x (run 2:00, walk 2:00)", "6 x (run 2:00, walk 2:00)"];
    assert_eq!(
        codes(&stages),
        ["weekly_running_jump", "running_falls"].map(|c| c).into_iter().rev().collect::<Vec<_>>()
    );
    // Five weeks of it (15 sessions): the stage before is too long ago.
    let long = plan(&stages).replacen("name = \"2\"\n", "name = \"2\"\n# long\n", 1);
    let long = long.replacen(
        "session = \"4 x (run 2:00, walk 2:00)\"\nsessions = 3",
        "session = \"4 x (run 2:00, walk 2:00)\"\nsessions = 15",
        1,
    );
    let found = codes_of(&long);
    assert_eq!(found, ["running_falls", "session_running_jump", "weekly_running_jump"]);
}

#[test]
fn the_longest_run_may_rise_by_half() {
    let away = LintConfig { weeks_away: Some(4) };
    let found = |second: &str| {
        remarks_of(&plan(&["2 x (run 10:00, walk 2:00)", second]), away)
            .iter()
            .map(|r| r.code.word())
            .collect::<Vec<_>>()
    };
    assert_eq!(found("run 15:00, walk 2:00, run 5:00"), Vec::<&str>::new());
    assert_eq!(found("run 15:01, walk 2:00, run 5:00"), ["stage_longest_run_jump"]);
}

#[test]
fn run_to_walk_may_double() {
    assert_eq!(codes(&["6 x (run 1:00, walk 2:00)", "4 x (run 2:00, walk 2:00)"]), Vec::<&str>::new());
    let found =
        remarks_of(&plan(&["6 x (run 1:00, walk 2:00)", "8 x (run 1:00, walk 0:30)"]), LintConfig::default());
    assert_eq!(found[0].code, LintCode::RunWalkJump);
    assert_eq!((found[0].base, found[0].value, found[0].limit), (Some(0.5), Some(2.0), Some(1.0)));
    assert_eq!(found[0].between, [1.0]);
}

#[test]
fn weeks_are_held_against_the_plans_own_limit() {
    // 3 × 6:00 = 18:00, then 3 × 8:00 = 24:00: a third more.
    let sessions = ["6 x (run 1:00, walk 2:00)", "8 x (run 1:00, walk 2:00)"];
    let strict = format!("{HEAD}weekly_running_increase = '30 %'\n");
    let found = remarks_of(&plan_with(&strict, &sessions), LintConfig::default());
    assert_eq!(found.len(), 1);
    assert_eq!(found[0].code, LintCode::WeeklyRunningJump);
    assert_eq!((found[0].week, found[0].base, found[0].value), (Some(2), Some(1080.0), Some(1440.0)));
    assert!((found[0].limit.unwrap() - 1080.0 * 1.3).abs() < 1e-9);
    let even = format!("{HEAD}weekly_running_increase = '34 %'\n");
    assert_eq!(remarks_of(&plan_with(&even, &sessions), LintConfig::default()), []);
}

#[test]
fn the_weeks_of_a_rising_count_have_the_number_that_is_due() {
    let found = |rising: &str| {
        let sessions = ["6 x (run 2:00, walk 2:00)", rising, "9 x (run 2:00, walk 2:00)"];
        only(
            &plan_with(&format!("{HEAD}weekly_running_increase = '25 %'\n"), &sessions),
            LintCode::WeeklyRunningJump,
        )
    };
    // 36:00, then 12:00, 14:00 and 16:00: 42:00, a sixth more; then 54:00, which is 29 % more than 42:00.
    let over = found("6 rising to 8 x (run 2:00, walk 2:00)");
    assert_eq!(over.len(), 1, "{over:?}");
    assert_eq!((over[0].week, over[0].base, over[0].value), (Some(3), Some(2520.0), Some(3240.0)));
    // 12:00, 14:00 and 14:00 are no more than 11 % more, and 54:00 a third more than that.
    assert_eq!(found("6 rising to 7 x (run 2:00, walk 2:00)")[0].base, Some(2400.0));
    // All at the most at once: 48:00 are a third more than 36:00, and then 54:00 an eighth.
    let flat = found("8 x (run 2:00, walk 2:00)");
    assert_eq!((flat.len(), flat[0].week), (1, Some(2)));
}

#[test]
fn a_stage_out_of_order_is_named_with_its_place() {
    let stages = ["6 x (run 1:00, walk 2:00)", "4 x (run 2:00, walk 2:00)", "5 x (run 1:00, walk 2:00)"];
    let found = remarks_of(&plan(&stages), LintConfig::default());
    assert_eq!(found.len(), 1);
    assert_eq!(found[0].code, LintCode::RunningFalls);
    // 5:00 belongs before the first stage, which has 6:00.
    assert_eq!((found[0].stages[0].as_str(), found[0].after.as_deref()), ("3", Some("1")));
    // The same running in shorter runs.
    let shorter = ["6 x (run 1:00, walk 2:00)", "4 x (run 2:00, walk 2:00)", "8 x (run 1:00, walk 1:00)"];
    assert_eq!(codes(&shorter), ["longest_run_falls"]);
}

#[test]
fn rest_and_sessions() {
    let one = ["6 x (run 1:00, walk 2:00)"];
    assert_eq!(codes_of(&plan_with("", &one)), ["sessions_per_week_missing", "rest_days_missing"]);
    let head = |per_week: u32, rest: u32| {
        format!("[limits]\nsessions_per_week = {per_week}\nrest_days_between = {rest}\n")
    };
    assert_eq!(codes_of(&plan_with(&head(3, 0), &one)), ["rest_days_missing"]);
    // Days 1, 4 and 7: two rest days between three sessions fit a week, three do not.
    assert_eq!(codes_of(&plan_with(&head(3, 2), &one)), Vec::<&str>::new());
    assert_eq!(codes_of(&plan_with(&head(3, 3), &one)), ["rest_days_do_not_fit"]);
    assert_eq!(codes_of(&plan_with(&head(4, 1), &one)), ["many_sessions_early"]);
    assert_eq!(codes_of(&plan_with(&head(5, 1), &one)), ["many_sessions_early", "rest_days_do_not_fit"]);
    // Walking needs no rest.
    assert_eq!(codes_of(&plan_with("", &["walk 30:00"])), Vec::<&str>::new());
    let open =
        plan(&["6 x (run 1:00, walk 2:00)", "7 x (run 1:00, walk 2:00)"]).replace("sessions = 3\n[", "[");
    assert_eq!(codes_of(&open), ["stage_sessions_missing"], "the last stage need not say");
}

#[test]
fn later_stages_may_have_more_sessions() {
    let away = LintConfig { weeks_away: Some(4) };
    let text = plan_with("[limits]\nsessions_per_week = 4\nrest_days_between = 1\n", &["run 10:00"]);
    assert_eq!(remarks_of(&text, away), []);
    assert_eq!(remarks_of(&text.replace("10:00", "9:59"), away)[0].code, LintCode::ManySessionsEarly);
}

#[test]
fn a_return_after_long_begins_at_the_beginning() {
    let late = plan(&["4 x (run 3:01, walk 2:00)"]);
    assert_eq!(codes_of(&late), ["start_not_at_beginning"]);
    assert_eq!(codes_of(&late.replace("3:01", "3:00")), Vec::<&str>::new());
    for (weeks, remarks) in [(12, 0), (13, 1)] {
        assert_eq!(remarks_of(&late, LintConfig { weeks_away: Some(weeks) }).len(), remarks);
    }
}

#[test]
fn ceilings_that_the_runner_cannot_keep() {
    let with = |runner: &str, limit: &str| {
        let head = format!("[runner]\n{runner}\n{HEAD}{limit}\n");
        codes_of(&plan_with(&head, &["6 x (run 1:00, walk 2:00)"]))
    };
    // 1000 s / 1.56 m/s = 641 s a kilometre; 1000 / 1.9 = 526 s.
    assert_eq!(with("", "pace_ceiling = '10:42 /km'"), ["pace_ceiling_is_walking"]);
    assert_eq!(with("", "pace_ceiling = '10:40 /km'"), ["pace_ceiling_is_slow"]);
    assert_eq!(with("", "pace_ceiling = '8:47 /km'"), ["pace_ceiling_is_slow"]);
    assert_eq!(with("", "pace_ceiling = '8:46 /km'"), Vec::<&str>::new());
    // 64 % of 180 is 115.2.
    let most = "max_heart_rate = '180 bpm'";
    assert_eq!(with(most, "heart_rate_ceiling = '180 bpm'"), ["heart_rate_ceiling_above_max"]);
    assert_eq!(with(most, "heart_rate_ceiling = '115 bpm'"), ["heart_rate_ceiling_too_low"]);
    assert_eq!(with(most, "heart_rate_ceiling = '116 bpm'"), Vec::<&str>::new());
    assert_eq!(with("", "heart_rate_ceiling = '60 bpm'"), Vec::<&str>::new(), "no data of the runner's");
    assert_eq!(with("usual_run_cadence = '139 spm'", ""), ["run_cadence_is_walking"]);
    assert_eq!(with("", "walk_cadence_floor = '135 spm'"), ["walk_cadence_floor_is_running"]);
    assert_eq!(with("", "walk_cadence_floor = '99 spm'"), ["walk_cadence_floor_not_brisk"]);
    assert_eq!(with("", "walk_cadence_floor = '100 spm'"), Vec::<&str>::new());
    assert_eq!(with("", "pain_limit = 5"), Vec::<&str>::new());
    assert_eq!(with("", "pain_limit = 5.5"), ["pain_limit_above_published"]);
    // 18:00 of runs and walks.
    assert_eq!(with("", "session_ceiling = '17:59'"), ["session_over_its_ceiling"]);
    assert_eq!(with("", "session_ceiling = '18:00'"), Vec::<&str>::new());
}

#[test]
fn a_runs_own_ceiling_counts_and_a_walks_does_not() {
    let head = format!("{HEAD}pace_ceiling = '7:00 /km'\n");
    let found = |session: &str| codes_of(&plan_with(&head, &[session]));
    assert_eq!(found("6 x (run 1:00 @ 12:00 /km, walk 2:00)"), ["pace_ceiling_is_walking"]);
    assert_eq!(found("6 x (run 1:00, walk 2:00 @ 12:00 /km)"), Vec::<&str>::new());
}

#[test]
fn weekdays_leave_room_for_the_days_of_rest() {
    let found = |weekdays: &str, rest_days: u32| {
        let head = format!(
            "weekdays = {weekdays}\n[limits]\nsessions_per_week = 2\nrest_days_between = {rest_days}\n"
        );
        let found = remarks_of(&plan_with(&head, &["6 x (run 0:50, walk 1:40)"]), LintConfig::default());
        let is_it = |remark: &&Remark| remark.code == LintCode::WeekdaysBreakRest;
        found.iter().find(is_it).map(|remark| (remark.value, remark.limit))
    };
    assert_eq!(found("['tue', 'thu', 'sun']", 1), None);
    assert_eq!(found("['tue', 'thu', 'sun']", 2), Some((Some(1.0), Some(2.0))));
    assert_eq!(found("['mon', 'thu', 'sun']", 1), Some((Some(0.0), Some(1.0))), "Sunday to Monday");
    assert_eq!(found("['wed']", 6), None);
}

#[test]
fn the_first_stage_that_runs_says_how_hard() {
    let found = |plan: &str, limits: &str, session: &str, stage: &str| {
        let text = format!(
            "{plan}\n{HEAD}{limits}\n[[stage]]\nname = 'w'\nsession = 'walk 30:00'\nsessions = 2\n\
             [[stage]]\nname = '1'\nsession = '{session}'\nsessions = 2\n{stage}\n"
        );
        codes_of(&text).contains(&"first_stage_without_ceiling")
    };
    let session = "walk 3:40, 5 x (run 0:50, walk 1:40)";
    assert!(found("", "", session, ""));
    for limits in ["pace_ceiling = '7:00 /km'", "heart_rate_ceiling = '150 bpm'", "effort_ceiling = 4"] {
        assert!(!found("", limits, session, ""));
        assert!(!found("", "", session, limits));
    }
    assert!(!found("note = 'Talk.'", "", session, ""));
    assert!(!found("", "", session, "note = 'Talk.'"));
    assert!(!found("", "", "run 0:50 @ 7:00 /km, walk 1:40, run 0:50 @ 7:20 /km", ""));
    assert!(found("", "", "run 0:50 @ 7:00 /km, walk 1:40, run 0:50", ""), "each run");
}

#[test]
fn what_several_stages_share_is_said_once() {
    let found = remarks_of(
        &plan_with("", &["6 x (run 1:00, walk 2:00)", "7 x (run 1:00, walk 2:00)"]),
        LintConfig::default(),
    );
    assert_eq!(found.len(), 2);
    assert!(found.iter().all(|remark| remark.stages == ["1", "2"]), "{found:?}");
}

#[test]
fn sessions_by_distance_are_compared_by_distance() {
    let sessions = ["10 x (walk 0.1 mi, run 0.1 mi)", "for 2 mi (walk 0.1 mi, run 0.2 mi)"];
    let found = remarks_of(&plan(&sessions), LintConfig::default());
    assert_eq!(found[0].code, LintCode::SessionRunningJump);
    assert_eq!((found[0].unit, found[0].is_estimated), (RemarkUnit::Metres, false));
    assert!((found[0].base.unwrap() - 1609.344).abs() < 1e-6);
    // By time after by distance: estimated.
    let mixed = remarks_of(&plan(&[sessions[0], "9 x (run 2:00, walk 1:00)"]), LintConfig::default());
    assert_eq!((mixed[0].unit, mixed[0].is_estimated), (RemarkUnit::Seconds, true));
}

#[test]
fn the_published_hospital_plan_is_uneven() {
    // manhattansportsdoc.com, secondary: running minutes 3, 6, 9, 16, 15, 18, 21, 16, 20, 12, 15, 18, 20.
    // Falls of more than a tenth: 21 → 16 and 20 → 12. Rises of more than two minutes and a tenth over the most of the
    // 30 days before: 3 → 6, 6 → 9, 9 → 16. 18 → 21 is over too: 20 at most.
    let sessions = [
        "3 x (walk 4:00, run 1:00)",
        "3 x (walk 3:00, run 2:00)",
        "3 x (walk 2:00, run 3:00)",
        "4 x (walk 1:00, run 4:00)",
        "3 x (walk 1:00, run 5:00)",
        "3 x (walk 1:00, run 6:00)",
        "3 x (walk 1:00, run 7:00)",
        "2 x (walk 1:00, run 8:00)",
        "2 x (walk 1:00, run 10:00)",
        "walk 3:00, run 12:00",
        "walk 3:00, run 15:00",
        "walk 3:00, run 18:00",
        "walk 3:00, run 20:00",
    ];
    let text = plan(&sessions).replace("sessions = 3\n[", "sessions = 1\n[");
    let found = remarks_of(&text, LintConfig::default());
    let stages = |code| -> Vec<&str> {
        found.iter().filter(|r| r.code == code).flat_map(|r| r.stages.iter().map(String::as_str)).collect()
    };
    assert_eq!(stages(LintCode::RunningFalls), ["8", "10"]);
    assert_eq!(stages(LintCode::SessionRunningJump), ["2", "3", "4", "7"]);
}

/// The remarks of these codes alone.
fn only(text: &str, code: LintCode) -> Vec<Remark> {
    remarks_of(text, LintConfig::default()).into_iter().filter(|remark| remark.code == code).collect()
}

#[test]
fn ranges_stand_in_order() {
    let found = |first: &str, second: &str| only(&plan(&[first, second]), LintCode::RangesOutOfOrder);
    // 12:00 is the least of the one, 11:00 the most of the other.
    let over = found("for 18:00 to 24:00 (run 2:00, walk 1:00)", "4 to 5 x (run 2:12, walk 1:00)");
    assert_eq!((over[0].value, over[0].limit), (Some(660.0), Some(720.0)));
    assert_eq!((over[0].stages[0].as_str(), over[0].after.as_deref()), ("2", Some("1")));
    assert_eq!(found("for 18:00 to 24:00 (run 2:00, walk 1:00)", "4 to 5 x (run 2:24, walk 1:00)"), []);
    // Exact figures are left to `running_falls`.
    assert_eq!(found("6 x (run 2:00, walk 1:00)", "5 x (run 2:00, walk 1:00)"), []);
}

#[test]
fn one_thing_at_a_time() {
    let stages = |second: &str| {
        let head = "[limits]\nrest_days_between = 1\npace_ceiling = '7:10 /km'\nsessions_per_week = 2\n";
        let first = "[[stage]]\nname = '1'\nsessions = 3\nsession = '5 x (run 1:10, walk 2:00)'\n";
        only(&format!("{head}{first}[[stage]]\nname = '2'\n{second}"), LintCode::TwoChangesAtOnce)
    };
    let longer = "session = '5 x (run 1:30, walk 2:00)'\n";
    assert_eq!(stages(longer), []);
    assert_eq!(
        stages(&format!("{longer}sessions_per_week = 3"))[0].named,
        ["more sessions a week", "longer runs"]
    );
    assert_eq!(
        stages(&format!("{longer}pace_ceiling = '6:50 /km'"))[0].named,
        ["longer runs", "more intensity"]
    );
    assert_eq!(stages("session = '5 x (run 1:10, walk 2:00)'\npace_ceiling = '6:50 /km'"), []);
    assert_eq!(stages(&format!("{longer}pace_ceiling = '7:40 /km'")), [], "less is no change to fear");
}

#[test]
fn a_rise_ends_within_its_stage() {
    let found = |sessions: u32| {
        let text = format!(
            "{HEAD}[[stage]]\nname = '1'\nsessions = {sessions}\n\
             session = 'walk 4:10, 4 rising to 7 x (run 1:10, walk 2:20)'\n"
        );
        only(&text, LintCode::RisingNeverEnds)
    };
    assert_eq!(found(4), []);
    assert_eq!((found(3)[0].value, found(3)[0].limit), (Some(3.0), Some(4.0)));
}

#[test]
fn a_kind_rises_as_often_as_its_weeks_have_it() {
    let found = |weeks: u32| {
        let text = format!(
            "{HEAD}[[stage]]\nname = '1'\nweeks = {weeks}\n[[stage.session]]\nname = 'grow'\na_week = 1\n\
             do = 'walk 4:10, 4 rising to 6 x (run 1:10, walk 2:20)'\n[[stage.session]]\nname = 'steady'\n\
             a_week = 2\ndo = 'run 9:10'\n"
        );
        only(&text, LintCode::RisingNeverEnds)
    };
    assert_eq!(found(3), []);
    let remarks = found(2);
    assert_eq!(
        (remarks[0].value, remarks[0].limit, remarks[0].unit),
        (Some(2.0), Some(3.0), RemarkUnit::Weeks)
    );
}

#[test]
fn kinds_are_to_be_told_apart_by_their_recordings() {
    let found = |second: &str| {
        let text = format!(
            "{HEAD}[[stage]]\nname = '5'\nsessions = 3\n\
             [[stage.session]]\nname = 'a'\ndo = 'walk 5:00, 4 to 5 x (run 4:40, walk 1:15)'\n\
             [[stage.session]]\nname = 'b'\ndo = '{second}'\n"
        );
        only(&text, LintCode::KindsAlike)
    };
    assert_eq!(found("run 18:20 to 22:10"), []);
    // Five runs that are 5 s longer each.
    let near = found("5 x (run 4:45, walk 1:15)");
    assert_eq!((near[0].stages[0].as_str(), near[0].after.as_deref()), ("5/b", Some("5/a")));
    assert_eq!((near[0].value, near[0].named.as_slice()), (Some(25.0), &["5 runs".to_owned()][..]));
    assert_eq!(found("5 x (run 4:46, walk 1:15)"), []);
    assert_eq!(found("3 x (run 4:40, walk 1:15)"), []);
    assert_eq!(found("6 to 7 x (run 4:40, walk 1:15)"), []);
}

#[test]
fn every_code_has_its_own_word_and_a_basis() {
    let mut words: Vec<&str> = LintCode::ALL.iter().map(|code| code.word()).collect();
    words.sort_unstable();
    words.dedup();
    assert_eq!(words.len(), LintCode::ALL.len());
    assert!(LintCode::ALL.iter().all(|code| !code.basis().is_empty()));
}
