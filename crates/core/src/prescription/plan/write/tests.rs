//! A plan that is printed reads back as the same plan.

use proptest::prelude::*;
use proptest::sample::select;

use super::*;

fn read(text: &str) -> Plan {
    Plan::parse(text).unwrap_or_else(|error| panic!("{}\n{text}", error.render("plan.toml"))).value
}

#[test]
fn what_stages_share_stands_under_limits() {
    let text = "title = \"A \\\"short\\\" way back\"\nnote = \"Talk.\"\n\n[limits]\npace_ceiling = \"10:50 /mi\"\n\n\
                [[stage]]\nname = \"1\"\nsession = \"walk 25:00\"\nsessions = 2\n\n\
                [[stage]]\nname = \"2\"\nweeks = 1\neffort_ceiling = 4\n";
    let kinds = "[[stage.session]]\nname = \"run-walk\"\ndo = \"5 to 6 x (run 0:50, walk 1:40)\"\na_week = 2\n\
                 [[stage.session]]\nname = \"steady\"\ndo = \"run 8:20\"\na_week = \"0 to 1\"\n";
    let plan = read(&format!("{text}{kinds}"));
    let printed = plan.to_string();
    assert_eq!(read(&printed), plan);
    // The week of the second stage follows from its kinds, and its own limit stands with each of them.
    let week = "effort_ceiling = 4\n";
    let kind = |kind: &str| kind.replace("\n[[", &format!("\nsessions_per_week = \"2 to 3\"\n{week}[["));
    let expected =
        format!("{}{}", text.replace(week, ""), kind(&format!("{kinds}[[")).trim_end_matches("[["));
    assert_eq!(printed, expected);
}

#[test]
fn a_comment_stands_behind_its_stage() {
    let plan =
        read("[[stage]]\nname = 'a'\nsession = 'run 5:00'\n[[stage]]\nname = 'b'\nsession = 'run 6:00'");
    let printed = plan.to_toml(|place| (place == 1).then(|| "the second".to_owned()));
    assert!(
        printed.contains("[[stage]]\nname = \"a\"")
            && printed.contains("[[stage]]  # the second\nname = \"b\"")
    );
    assert_eq!(read(&printed), plan);
}

fn amounts() -> impl Strategy<Value = String> {
    prop_oneof![
        (0u32..30, 0u32..60).prop_map(|(m, s)| format!("{m}:{:02}", if m == 0 { s.max(1) } else { s })),
        (10u32..5000).prop_map(|tenths| format!("{} s", f64::from(tenths) / 10.0)),
        (1u32..30).prop_map(|min| format!("{min} min")),
    ]
}

fn extents() -> impl Strategy<Value = String> {
    prop_oneof![
        4 => amounts(),
        1 => (50u32..3000).prop_map(|m| format!("{m} m")),
        1 => (1u32..30).prop_map(|tenths| format!("{} mi", f64::from(tenths) / 10.0)),
        1 => (1u32..20, 0u32..20).prop_map(|(least, more)| format!("{least} to {} min", least + more)),
        1 => (1u32..20, 0u32..20).prop_map(|(least, more)| format!("{}00 to {}00 m", least, least + more)),
        1 => (amounts(), select(vec!["more", "less"])).prop_map(|(amount, end)| format!("{amount} or {end}")),
    ]
}

fn bouts() -> impl Strategy<Value = String> {
    let motions = select(vec!["run", "jog", "walk", "rest"]);
    let ceilings = prop_oneof![
        3 => Just(String::new()),
        1 => (200u32..1700, select(vec!["km", "mi"]))
            .prop_map(|(pace, unit)| format!(" @ {}:{:02} /{unit}", pace / 60, pace % 60)),
    ];
    (motions, extents(), ceilings).prop_map(|(motion, extent, ceiling)| format!("{motion} {extent}{ceiling}"))
}

fn items() -> impl Strategy<Value = String> {
    let cycle = || (amounts(), amounts()).prop_map(|(run, walk)| format!("(run {run}, walk {walk})"));
    prop_oneof![
        3 => bouts(),
        1 => (2u32..8, cycle()).prop_map(|(times, cycle)| format!("{times} x {cycle}")),
        1 => (2u32..8, 1u32..3, select(vec!["to", "rising to"]), cycle())
            .prop_map(|(least, more, to, cycle)| format!("{least} {to} {} x {cycle}", least + more)),
        1 => (10u32..30, cycle()).prop_map(|(whole, cycle)| format!("for {whole} min {cycle}")),
        1 => (10u32..20, 0u32..5, cycle())
            .prop_map(|(least, more, cycle)| format!("for {least} to {} min {cycle}", least + more)),
        1 => (1u32..10, cycle()).prop_map(|(least, cycle)| format!("for {least} min or more {cycle}")),
    ]
}

fn sessions() -> impl Strategy<Value = String> {
    prop::collection::vec(items(), 1..4).prop_map(|items| items.join(", "))
}

/// One limit, or none, as a plan may have it.
fn a_limit() -> impl Strategy<Value = String> {
    let pace = (200u32..1700, 0u32..10, select(vec!["km", "mi"])).prop_map(|(pace, tenth, unit)| {
        format!("pace_ceiling = '{}:{:02}.{tenth} /{unit}'", pace / 60, pace % 60)
    });
    prop_oneof![
        pace,
        select(vec!["ground", "level"]).prop_map(|basis| format!("pace_basis = '{basis}'")),
        (60u32..230).prop_map(|bpm| format!("heart_rate_ceiling = '{bpm} bpm'")),
        (60u32..180).prop_map(|spm| format!("walk_cadence_floor = '{spm} spm'")),
        (5u32..40).prop_map(|rpm| format!("walk_cadence_within = '{} rpm'", f64::from(rpm) + 0.5)),
        amounts().prop_map(|time| format!("session_ceiling = '{time}'")),
        (1u32..8, 0u32..6)
            .prop_map(|(least, more)| format!("sessions_per_week = '{least} to {}'", least + more)),
        (0u32..14).prop_map(|days| format!("rest_days_between = {days}")),
        (0u32..5000).prop_map(|share| format!("weekly_running_increase = '{} %'", f64::from(share) / 10.0)),
        (0u32..100).prop_map(|pain| format!("pain_limit = {}", f64::from(pain) / 10.0)),
        (0u32..11).prop_map(|effort| format!("effort_ceiling = {effort}")),
        (1u32..366).prop_map(|days| format!("break_repeat_days = {days}")),
        (1u32..366).prop_map(|days| format!("break_step_back_days = {days}")),
        words().prop_map(|words| format!("clinician_override = {words}")),
    ]
}

/// A line of text between quotes, with what has to be escaped.
fn words() -> impl Strategy<Value = String> {
    "[a-zA-Zé⟨\"\\\\'#=\\[\\]][ -~é]{0,20}[a-z.\\\\\"]"
        .prop_map(|text| format!("\"{}\"", text.replace('\\', "\\u005C").replace('"', "\\u0022")))
}

/// Several lines, each key once: a key that stands twice is dropped.
fn lines(lines: impl Strategy<Value = String>, most: usize) -> impl Strategy<Value = String> {
    prop::collection::vec(lines, 0..=most).prop_map(|lines| {
        let mut seen = std::collections::BTreeSet::new();
        let key = |line: &str| line.split(' ').next().unwrap_or_default().to_owned();
        let once: Vec<String> = lines.into_iter().filter(|line| seen.insert(key(line))).collect();
        once.join("\n")
    })
}

fn stage_body() -> impl Strategy<Value = String> {
    let kind = (sessions(), 0u32..3, 0u32..3, lines(a_limit(), 2));
    let kinds = prop::collection::vec(kind, 1..4).prop_map(|kinds| {
        let kind = |(n, (session, least, more, limits)): (usize, (String, u32, u32, String))| {
            format!(
                "[[stage.session]]\nname = 'k{n}'\ndo = '{session}'\na_week = '{least} to {}'\n{limits}\n",
                least + more
            )
        };
        kinds.into_iter().enumerate().map(kind).collect::<String>()
    });
    prop_oneof![
        3 => sessions().prop_map(|session| format!("session = '{session}'\n")),
        1 => kinds,
    ]
}

fn plans() -> impl Strategy<Value = String> {
    let top = prop_oneof![
        words().prop_map(|words| format!("title = {words}")),
        words().prop_map(|words| format!("note = {words}")),
        words().prop_map(|words| format!("contact = {words}")),
        Just("timezone = 'Europe/Oslo'".to_owned()),
        select(vec!["km", "mi"]).prop_map(|unit| format!("units = '{unit}'")),
        (1u32..29).prop_map(|day| format!("start = 2026-02-{day:02}")),
        select(vec!["['tue', 'sun']", "['wed']", "['sun', 'mon']"])
            .prop_map(|days| format!("weekdays = {days}")),
    ];
    let tolerance = (0u32..100, 0u32..100, 0u32..500).prop_map(|(run, walk, pace)| {
        format!("[tolerance]\nrun = '{run} s'\nwalk = '{walk} s'\npace = '{} %'\n", f64::from(pace) / 10.0)
    });
    let tolerance = prop_oneof![Just(String::new()), tolerance];
    let about = prop_oneof![
        a_limit(),
        (1u32..100).prop_map(|n| format!("sessions = {n}")),
        words().prop_map(|words| format!("note = {words}")),
        words().prop_map(|words| format!("contact = {words}")),
    ];
    let stage = (lines(about, 4), stage_body());
    let stages = prop::collection::vec(stage, 1..4).prop_map(|stages| {
        let stage = |(n, (about, body)): (usize, (String, String))| {
            format!("[[stage]]\nname = 's {n}'\n{about}\n{body}")
        };
        stages.into_iter().enumerate().map(stage).collect::<String>()
    });
    let sports = prop_oneof![Just(""), Just("[[other]]\nsport = 'cycling'\n")];
    (lines(top, 5), 60u32..120, lines(a_limit(), 5), tolerance, stages, sports).prop_map(
        |(top, rpm, limits, tolerance, stages, sports)| {
            format!(
                "{top}\n[runner]\nusual_run_cadence = '{rpm} rpm'\nmax_heart_rate = '182 bpm'\n[limits]\n{limits}\n\
                 {tolerance}{stages}{sports}"
            )
        },
    )
}

/// Prints so many plans that were drawn by chance, and reads each back.
fn read_back(cases: u32) {
    let mut runner = proptest::test_runner::TestRunner::new(ProptestConfig {
        cases,
        max_global_rejects: 4 * cases,
        failure_persistence: None,
        ..ProptestConfig::default()
    });
    let result = runner.run(&plans(), |text| {
        // What a bound refuses is no plan; those are drawn again.
        let Ok(plan) = Plan::parse(&text) else { return Err(TestCaseError::reject("beyond a bound")) };
        let printed = plan.value.to_string();
        let back = Plan::parse(&printed);
        prop_assert!(back.is_ok(), "{}\n{printed}", back.unwrap_err().render("printed"));
        prop_assert_eq!(back.unwrap().value, plan.value, "{}", printed);
        Ok(())
    });
    assert!(result.is_ok(), "{}", result.unwrap_err());
}

#[test]
fn plans_read_back_as_they_were_printed() {
    read_back(500);
}

#[test]
#[ignore = "takes 20 s"]
fn ten_thousand_plans_read_back_as_they_were_printed() {
    read_back(10_000);
}
