//! Whole plans and every kind of mistake in them.

mod page;

use super::*;
use crate::range::Range;

const WHOLE: &str = r#"
title = "Return after a calf strain"
timezone = "europe/oslo"
units = "mi"

[runner]
usual_run_cadence = "168 spm"
max_heart_rate = "182 bpm"

[limits]
pace_ceiling = "6:45 /km"
pace_basis = "level"
heart_rate_ceiling = "150 bpm"
walk_cadence_floor = "110 spm"
session_ceiling = "45:00"
sessions_per_week = 3
rest_days_between = 1
weekly_running_increase = "25 %"
pain_limit = 0

[tolerance]
run = "0:12"
walk = "20 s"
pace = "4%"

[[stage]]
name = "1"
session = "walk 5:00, 6 x (run 1:00, walk 2:00), walk 5:00"
sessions = 3

[[stage]]
name = "2"
session = "walk 30:00"
pace_ceiling = "10:50 /mi"
pace_basis = "ground"
session_ceiling = "1:00:00"
"#;

fn plan(text: &str) -> Plan {
    match Plan::parse(text) {
        Ok(plan) => plan.value,
        Err(error) => panic!("{}", error.render("plan.toml")),
    }
}

/// `(line, column, message, help)` of each mistake.
fn faults(text: &str) -> Vec<(usize, usize, String, Option<String>)> {
    let error = Plan::parse(text).expect_err(text);
    error.faults().iter().map(|f| (f.line, f.column, f.message.clone(), f.help.clone())).collect()
}

#[test]
fn every_key_is_read() {
    let plan = plan(WHOLE);
    assert_eq!(plan.title, "Return after a calf strain");
    assert_eq!(plan.timezone.as_deref(), Some("Europe/Oslo"));
    assert_eq!((plan.units, plan.read_in()), (Some(LengthUnit::Mile), LengthUnit::Mile));
    assert_eq!(plan.runner.usual_run_cadence, Some(StepsPerMinute::new(168.0)));
    assert_eq!(plan.runner.max_heart_rate, Some(BeatsPerMinute::new(182.0)));
    assert_eq!(plan.tolerance, Tolerance { run: Seconds::new(12.0), walk: Seconds::new(20.0), pace: 0.04 });
    let first = Limits {
        pace_ceiling: Some(MetresPerSecond::new(1000.0 / 405.0)),
        pace_basis: PaceBasis::Level,
        heart_rate_ceiling: Some(BeatsPerMinute::new(150.0)),
        walk_cadence_floor: Some(StepsPerMinute::new(110.0)),
        session_ceiling: Some(Seconds::new(2700.0)),
        sessions_per_week: Some(Range::exactly(3)),
        rest_days_between: Some(1),
        weekly_running_increase: Some(0.25),
        pain_limit: Some(0.0),
        ..Limits::default()
    };
    assert_eq!(plan.stage("1").unwrap().limits, first);
    assert_eq!(plan.stage("1").unwrap().sessions, Some(3));
    let second = Limits {
        pace_ceiling: Some(MetresPerSecond::new(1609.344 / 650.0)),
        pace_basis: PaceBasis::Ground,
        session_ceiling: Some(Seconds::new(3600.0)),
        ..first
    };
    assert_eq!(plan.stage("2").unwrap().limits, second);
    assert_eq!(plan.stage_names().collect::<Vec<_>>(), ["1", "2"]);
}

#[test]
fn a_cadence_of_one_leg_is_half_of_that_of_both() {
    // 84 strides are 168 steps; 24 strides below are 48 steps below: 120.
    let text = |usual: &str, limits: &str, stage: &str| {
        format!(
            "[runner]\n{usual}\n[limits]\n{limits}\n[[stage]]\nname = 'a'\nsession = 'run 20:00'\n{stage}\n"
        )
    };
    let floor = |usual: &str, limits: &str, stage: &str| {
        let plan = plan(&text(usual, limits, stage));
        (plan.runner.usual_run_cadence, plan.stages[0].limits.walk_cadence_floor.map(StepsPerMinute::get))
    };
    for usual in ["usual_run_cadence = '84 rpm'", "usual_run_cadence = '168 spm'"] {
        for within in ["walk_cadence_within = '24 rpm'", "walk_cadence_within = '48 spm'"] {
            assert_eq!(floor(usual, within, ""), (Some(StepsPerMinute::new(168.0)), Some(120.0)));
        }
        // The common figure, 20 strides: common practice, no source.
        assert_eq!(floor(usual, "", "walk_cadence_within = '20 rpm'").1, Some(128.0));
        // A stage's own stands before the plan's, whichever way either is written.
        assert_eq!(
            floor(usual, "walk_cadence_floor = '110 spm'", "walk_cadence_within = '24 rpm'").1,
            Some(120.0)
        );
        assert_eq!(
            floor(usual, "walk_cadence_within = '24 rpm'", "walk_cadence_floor = '55 rpm'").1,
            Some(110.0)
        );
    }
    let usual = "usual_run_cadence = '84 rpm'";
    for (usual, limits, stage, line, part) in [
        ("", "walk_cadence_within = '24 rpm'", "", 4, "expected `usual_run_cadence` in [runner]"),
        (usual, "walk_cadence_within = '24 rpm'\nwalk_cadence_floor = '110 spm'", "", 4, "not both"),
        (usual, "walk_cadence_within = '58 rpm'", "", 4, "it is 52 spm"),
        (usual, "walk_cadence_within = '4 rpm'", "", 4, "from 10 spm to 120 spm"),
        (usual, "walk_cadence_within = '24'", "", 4, "such as `24 rpm`"),
        ("usual_run_cadence = '168 rpm'", "walk_cadence_within = '24 rpm'", "", 2, "from 120 spm to 240 spm"),
        ("usual_run_cadence = '84 bpm'", "", "", 2, "such as `168 spm` or `84 rpm`"),
    ] {
        let faults = faults(&text(usual, limits, stage));
        assert_eq!((faults.len(), faults[0].0), (1, line), "{faults:?}");
        assert!(faults[0].2.contains(part), "{faults:?}");
    }
}

#[test]
fn words_to_the_runner_are_one_line_of_the_plan_and_of_a_stage() {
    let text = "note = 'Talk as you run.'\ncontact = 'Ring 555 0101.'\n[[stage]]\nname = 'a'\nsession = 'run 20:00'\n\
        [[stage]]\nname = 'b'\nsession = 'run 25:00'\nnote = 'Stay off the hill.'\ncontact = 'Ring 555 0102.'";
    let plan = plan(text);
    let said = |text: &str| Some(text.to_owned());
    assert_eq!((plan.note, plan.contact), (said("Talk as you run."), said("Ring 555 0101.")));
    let stages: Vec<_> = plan.stages.into_iter().map(|s| (s.note, s.contact)).collect();
    assert_eq!(
        stages,
        [(None, said("Ring 555 0101.")), (said("Stay off the hill."), said("Ring 555 0102."))]
    );
    let stage = "[[stage]]\nname = 'a'\nsession = 'run 20:00'";
    for (line, part) in [
        (format!("note = '{}'", "x".repeat(151)), "a note of 1 to 150 characters"),
        (format!("contact = '{}'", "x".repeat(101)), "a contact of 1 to 100 characters"),
        ("note = ''".to_owned(), "1 to 150"),
        ("note = \"a\\nb\"".to_owned(), "in one line"),
        ("note = ' a'".to_owned(), "without spaces at its ends"),
        ("note = 3".to_owned(), "text in quotes"),
    ] {
        let faults = faults(&format!("{line}\n{stage}"));
        assert_eq!((faults.len(), faults[0].0), (1, 1), "{faults:?}");
        assert!(faults[0].2.contains(part), "{faults:?}");
    }
    for (value, part) in [("11", "an effort from 0 to 10"), ("'4'", "a number from 0 to 10, without quotes")]
    {
        let faults = faults(&format!("{stage}\neffort_ceiling = {value}"));
        assert_eq!((faults.len(), faults[0].0, faults[0].1), (1, 4, 18), "{faults:?}");
        assert!(faults[0].2.contains(part), "{faults:?}");
    }
}

#[test]
fn days_are_read_and_bad_ones_are_shown_where_they_stand() {
    use jiff::civil::{Weekday, date};
    let stage = "[[stage]]\nname = 'a'\nsession = 'run 20:00'\n";
    let dated = plan(&format!("start = 2026-03-02\nweekdays = ['sun', 'Tue', 'thursday']\n{stage}"));
    assert_eq!(dated.start, Some(date(2026, 3, 2)));
    assert_eq!(dated.weekdays, [Weekday::Tuesday, Weekday::Thursday, Weekday::Sunday]);
    for (line, column, part) in [
        ("start = 2026-02-30", 9, ""),
        ("start = '2026-03-02'", 9, "a day without quotes, such as `2026-03-02`"),
        ("start = 2026-03-02T07:00:00Z", 9, "a day without quotes"),
        ("start = 1812-06-24", 9, "a day without quotes"),
        ("weekdays = ['tue', 'thu', 'Tuesday']", 27, "expected each day once"),
        ("weekdays = ['tue', 'thr']", 20, "`mon`, `tue`"),
        ("weekdays = ['tue', 4]", 20, "in quotes"),
        ("weekdays = []", 12, "at least one"),
        ("weekdays = 'tue'", 12, "a list of weekdays"),
    ] {
        let faults = faults(&format!("{line}\n{stage}"));
        assert_eq!((faults.len(), faults[0].0), (1, 1), "{line}: {faults:?}");
        assert!(
            faults[0].2.contains(part) && (faults[0].1 == column || part.is_empty()),
            "{line}: {faults:?}"
        );
    }
}

#[test]
fn other_training_is_a_list_of_sports_besides_running() {
    let stage = "[[stage]]\nname = 'a'\nsession = 'run 20:00'\n";
    let agreed = plan(&format!("{stage}[[other]]\nsport = 'cycling'\n[[other]]\nsport = 'Deep water'\n"));
    assert_eq!(agreed.agreed_sport("Biking"), Some("cycling"));
    assert_eq!(agreed.agreed_sport("rowing"), None);
    for (text, line, column, part) in [
        ("[[other]]\nsport = 'running'", 5, 9, "besides running and walking"),
        ("[[other]]\nsport = 'cycling'\n[[other]]\nsport = 'biking'", 7, 9, "an earlier [[other]]"),
        ("[[other]]\nsports = 'cycling'", 5, 1, "`sports` is no key of [[other]]"),
        ("[[other]]", 4, 1, "expected a `sport`"),
        ("[other]\nsport = 'cycling'", 4, 1, "two brackets"),
    ] {
        let faults = faults(&format!("{stage}{text}\n"));
        assert!(
            faults.iter().any(|f| (f.0, f.1) == (line, column) && f.2.contains(part)),
            "{text}: {faults:?}"
        );
    }
}

#[test]
fn what_the_review_goes_by_is_read() {
    let text = "[limits]\nbreak_repeat_days = 5\nbreak_step_back_days = 10\nclinician_override = 'tendon, agreed'\n\
        [[stage]]\nname = 'a'\nsession = 'run 20:00'\n\
        [[stage]]\nname = 'b'\nsession = 'run 25:00'\nbreak_repeat_days = 4";
    let limits: Vec<_> = plan(text)
        .stages
        .into_iter()
        .map(|s| (s.limits.break_repeat_days, s.limits.break_step_back_days, s.limits.clinician_override))
        .collect();
    let reason = Some("tendon, agreed".to_owned());
    assert_eq!(limits, [(Some(5), Some(10), reason.clone()), (Some(4), Some(10), reason)]);
}

#[test]
fn little_is_enough() {
    let plan = plan("\u{feff}[[stage]]\nname = 'a'\nsession = 'run 20:00'");
    assert_eq!(plan.stages[0].limits, Limits::default());
    assert_eq!(plan.tolerance, Tolerance::default());
}

#[test]
fn a_mistake_shows_line_column_and_caret() {
    let text = WHOLE.replace("run 1:00", "run 1:0x");
    let shown = Plan::parse(&text).unwrap_err().render("plan.toml");
    assert_eq!(
        shown,
        r#"  plan.toml:28:32
   28 | session = "walk 5:00, 6 x (run 1:0x, walk 2:00), walk 5:00"
      |                                ^^^^ expected a duration such as `1:00`, `90 s`, `2 min` or `400 m`
"#
    );
}

#[test]
fn columns_hold_inside_escapes_and_several_lines() {
    let one = "[[stage]]\nname = 'a'\nsession = \"walk\\t5:00, rum 1:00\"";
    assert_eq!((faults(one)[0].0, faults(one)[0].1), (3, 24));
    let many = "[[stage]]\nname = 'a'\nsession = \"\"\"\n  walk 5:00,\n  rum 1:00\"\"\"";
    assert_eq!((faults(many)[0].0, faults(many)[0].1), (5, 3));
}

#[test]
fn each_wrong_value_is_refused_at_its_place() {
    // The replaced text, its replacement, the place, a part of the message.
    for (old, new, line, column, part) in [
        ("168 spm", "84 spm", 7, 22, "strides of one leg are `rpm`"),
        ("168 spm", "168 bpm", 7, 22, "such as `168 spm`"),
        ("168 spm", "168", 7, 22, "such as `168 spm`"),
        ("182 bpm", "182 bpm now", 8, 27, "nothing more"),
        ("6:45 /km", "6:45", 11, 17, "a pace such as"),
        ("6:45 /km", "0:45 /km", 11, 17, "from 2:00 /km"),
        ("level", "flat", 12, 14, "`\"level\"`"),
        ("\"150 bpm\"", "150", 13, 22, "text in quotes"),
        ("45:00", "5 km", 15, 20, "a duration such as `45:00`"),
        ("per_week = 3", "per_week = \"3\"", 16, 21, "without quotes"),
        ("per_week = 3", "per_week = 0", 16, 21, "from 1 to 14"),
        ("per_week = 3", "per_week = -1", 16, 21, "from 1 to 14"),
        ("25 %", "25", 18, 28, "such as `25 %`"),
        ("pain_limit = 0", "pain_limit = 11", 19, 14, "from 0 to 10"),
        ("pain_limit = 0", "pain_limit = nan", 19, 14, "from 0 to 10"),
        ("0:12", "-0:12", 22, 8, "never negative"),
        ("20 s", "-20 s", 23, 9, "never negative"),
        ("4%", "60 %", 24, 9, "from 0 % to 50 %"),
        ("name = \"2\"", "name = \"1\"", 32, 8, "earlier stage"),
        ("name = \"2\"", "name = 2", 32, 8, "text in quotes"),
        ("name = \"2\"", "name = \"\"", 32, 8, "1 to 60"),
        ("name = \"2\"", "name = \"\\u001b[31m\"", 32, 8, "control"),
        ("\"mi\"", "\"miles\"", 4, 9, "`\"km\"` or `\"mi\"`"),
        ("\"mi\"", "1", 4, 9, "text in quotes"),
        ("europe/oslo", "Europe/Olso", 3, 12, "time zone"),
    ] {
        let text = WHOLE.replace(old, new);
        assert_ne!(text, WHOLE, "{old} is not in the plan");
        let faults = faults(&text);
        assert_eq!((faults.len(), faults[0].0, faults[0].1), (1, line, column), "{new}: {faults:?}");
        assert!(faults[0].2.contains(part), "{new}: {}", faults[0].2);
    }
}

#[test]
fn near_misses_are_named() {
    for (old, new, help) in [
        ("pace_ceiling = \"6", "pace_cieling = \"6", "did you mean `pace_ceiling`?"),
        ("[runner]", "[runer]", "did you mean `runner`?"),
        ("sessions = 3", "sesions = 3", "did you mean `sessions`?"),
        ("europe/oslo", "Europe/Olso", "did you mean `Europe/Oslo`?"),
    ] {
        let faults = faults(&WHOLE.replace(old, new));
        assert_eq!(faults[0].3.as_deref(), Some(help), "{new}");
    }
}

#[test]
fn all_mistakes_are_told_in_order() {
    let text = WHOLE.replace("168 spm", "x").replace("6:45 /km", "y").replace("walk 30:00", "z");
    assert_eq!(faults(&text).iter().map(|f| f.0).collect::<Vec<_>>(), [7, 11, 33]);
}

#[test]
fn what_is_missing_is_said() {
    assert!(faults("").iter().any(|f| f.2.contains("at least one stage")));
    assert!(faults("stage = []").iter().any(|f| f.2.contains("at least one stage")));
    assert!(faults("[stage]\nname='a'").iter().any(|f| f.2.contains("two brackets")));
    assert!(faults("stage = [1]").iter().any(|f| f.2.contains("two brackets")));
    let both = faults("title = 'x'\n[[stage]]\nsessions = 1");
    assert_eq!(both.iter().map(|f| f.0).collect::<Vec<_>>(), [2, 2]);
    assert!(faults("limits = 3\n[[stage]]\nname='a'\nsession='run 1:00'")[0].2.contains("`[limits]`"));
}

#[test]
fn text_that_is_not_toml_is_refused_at_its_place() {
    let (line, _, message, _) = &faults("title = 'x'\n[[stage]\nname = 'a'")[0];
    assert_eq!(*line, 2);
    assert!(message.contains("not valid TOML"), "{message}");
    assert!(faults("a = 1\na = 2").iter().any(|f| f.0 == 2));
    assert!(Plan::parse(&"[".repeat(100_000)).is_err());
    assert!(Plan::parse(&format!("a = {}", "[".repeat(100_000))).is_err());
}

proptest::proptest! {
    #[test]
    fn no_damage_panics(cut in 0..900usize, put in "[\\\\\"'\\[\\]=a-zé\n\u{0}-\u{7f}]{0,4}", drop in 0..9usize) {
        let mut text: Vec<char> = WHOLE.chars().collect();
        let start = cut.min(text.len());
        let end = (start + drop).min(text.len());
        text.splice(start..end, put.chars());
        let text: String = text.into_iter().collect();
        if let Err(error) = Plan::parse(&text) {
            proptest::prop_assert!(!error.render("p").is_empty());
        }
    }
}

#[test]
fn more_stages_than_a_plan_may_have_are_refused() {
    let stage = |n| format!("[[stage]]\nname = '{n}'\nsession = 'run 1:00'\n");
    let plan = |stages: usize| Plan::parse(&(0..stages).map(stage).collect::<String>());
    assert_eq!(plan(MOST_STAGES).unwrap().value.stages.len(), MOST_STAGES);
    let error = plan(MOST_STAGES + 1).unwrap_err().render("plan.toml");
    assert!(error.contains("expected at most 500 stages, found 501"), "{error}");
}

const KINDS: &str = "title = 'T'\n[limits]\nsessions_per_week = '2 to 3'\n[[stage]]\nname = '5'\nweeks = 2\n\
    [[stage.session]]\nname = 'run-walk'\ndo = 'walk 4:10, 5 to 6 x (run 4:40, walk 1:15)'\na_week = 2\n\
    [[stage.session]]\nname = 'steady'\ndo = 'run 18:20 to 22:10'\na_week = '0 to 1'\npace_ceiling = '7:10 /km'\n\
    [[stage]]\nname = '6'\nsession = 'run 20:00'\nsessions_per_week = 4";

#[test]
fn a_stage_may_hold_several_kinds_of_session() {
    let plan = Plan::parse(KINDS).unwrap_or_else(|error| panic!("{}", error.render("p"))).value;
    let names: Vec<&str> = plan.stage_names().collect();
    assert_eq!(names, ["5/run-walk", "5/steady", "6"]);
    assert_eq!(plan.stages.iter().map(|stage| stage.place).collect::<Vec<_>>(), [0, 0, 1]);
    assert_eq!((plan.places(), plan.kinds_at(0), plan.kinds_at(1)), (2, 0..2, 2..3));
    let (run_walk, steady) = (&plan.stages[0], &plan.stages[1]);
    assert_eq!((run_walk.weeks, run_walk.sessions, run_walk.stage_name()), (Some(2), None, "5"));
    assert_eq!(run_walk.a_week(), Some(Range::exactly(2)));
    assert_eq!(steady.a_week(), Some(Range { least: 0, most: 1 }));
    assert_eq!(steady.limits.sessions_per_week, Some(Range { least: 2, most: 3 }));
    assert!(run_walk.limits.pace_ceiling.is_none() && steady.limits.pace_ceiling.is_some());
    // Each week two run-walks and one steady run.
    let weeks: Vec<Vec<usize>> = plan.weeks().into_iter().map(|week| week.sessions).collect();
    assert_eq!(weeks, [vec![0, 1, 0], vec![0, 1, 0], vec![2, 2, 2, 2]]);
}

#[test]
fn each_slip_in_kinds_and_counts_is_shown_where_it_stands() {
    let faults = |text: &str| -> Vec<(usize, String)> {
        let error = Plan::parse(text).expect_err(text);
        error.faults().iter().map(|fault| (fault.line, fault.message.clone())).collect()
    };
    for (from, to, line, part) in [
        ("name = 'steady'\n", "", 11, "`name`"),
        ("name = 'steady'", "name = 'run-walk'", 12, "another name"),
        ("weeks = 2", "weeks = 2\nsessions = 4", 6, "not both"),
        ("a_week = '0 to 1'", "a_week = '1 to 0'", 14, "the least first: `0 to 1`"),
        ("a_week = '0 to 1'", "a_week = 'one'", 14, "from 0 to 14"),
        ("a_week = '0 to 1'", "a_week = 2", 7, "add up to 4"),
        ("sessions_per_week = '2 to 3'", "sessions_per_week = '3 to 2'", 3, "the least first: `2 to 3`"),
        ("sessions_per_week = '2 to 3'", "sessions_per_week = '2 to'", 3, "from 1 to 14"),
        ("do = 'run 18:20 to 22:10'", "session = 'run 20:00'", 11, "`do`"),
    ] {
        let text = KINDS.replace(from, to);
        assert_ne!(text, KINDS, "{from}");
        let found = faults(&text);
        assert!(found.iter().any(|(at, said)| *at == line && said.contains(part)), "{to}: {found:?}");
    }
    // All at once.
    let many = KINDS.replace("a_week = 2", "a_week = 99").replace("18:20 to 22:10", "22:10 to 18:20");
    assert_eq!(faults(&many).len(), 2);
}

#[test]
fn a_plan_that_would_take_long_to_look_at_is_refused() {
    let plan = |session: &str| -> Result<_, PlanError> {
        let stage = |n| format!("[[stage]]\nname = '{n}'\nsession = '{session}'\n");
        Plan::parse(&(0..400).map(stage).collect::<String>())
    };
    for session in [
        "10 x (1000 x (run 1 s))",
        "for 2:46:40 (run 1 s, walk 1 s)",
        "1 to 200 x (run 1 s, walk 1 s)",
        "1000 x (for 100 m (run 1 s, walk 1 s))",
    ] {
        let error = plan(session).expect_err(session);
        // Said once, where it was too much.
        assert_eq!(error.count(), 1, "{session}");
        assert!(error.faults()[0].message.contains("100000 runs and walks"), "{error}");
    }
    assert!(plan("20 to 24 x (run 1:00, walk 1:00)").is_ok());
    assert!(plan("1000 x (1000 x (1000 x (run 1 s)))").is_err());
}
