//! The JSON of `plan check`, `plan show` and the card against their schemas, for random plans.

use std::fmt::Write as _;

use jogaudit_core::prescription::Plan;
use jogaudit_core::prescription::lint::{LintConfig, lint};
use jogaudit_core::review::Recommendation;
use jogaudit_report::card::{self, CardView};
use jogaudit_report::plan_lint::{self, LintView};
use jogaudit_report::plan_show::{self, PlanView};
use proptest::prelude::*;
use serde_json::json;

use crate::schema::Judge;

fn sessions() -> impl Strategy<Value = String> {
    prop_oneof![
        (1u32..40, 5u32..900, 5u32..900)
            .prop_map(|(n, run, walk)| format!("{n} x (run {run} s, walk {walk} s)")),
        (5u32..30, 1u32..5).prop_map(|(tenths, run)| format!(
            "for {} mi (run {run}:00, walk 2:00)",
            f64::from(tenths) / 10.0
        )),
        (50u32..900, 50u32..900)
            .prop_map(|(run, walk)| format!("walk 5:00, 6 x (run {run} m @ 7:00 /km, walk {walk} m)")),
        (1u32..90).prop_map(|minutes| format!("run {minutes}:00 @ 6:30 /km, run 1:00")),
        Just("walk 30:00".to_owned()),
    ]
}

fn plans() -> impl Strategy<Value = Plan> {
    let limits = prop::collection::vec(
        prop::sample::select(vec![
            "sessions_per_week = 3",
            "rest_days_between = 4",
            "pace_ceiling = '11:00 /km'",
            "pace_basis = 'level'",
            "heart_rate_ceiling = '182 bpm'",
            "walk_cadence_floor = '140 spm'",
            "session_ceiling = '20:00'",
            "weekly_running_increase = '10 %'",
            "pain_limit = 7",
        ]),
        0..9,
    );
    (limits, prop::collection::vec((sessions(), prop::option::of(1u32..5)), 1..8)).prop_map(
        |(mut limits, stages)| {
            limits.sort_unstable();
            limits.dedup();
            let mut text =
                "[runner]\nmax_heart_rate = '180 bpm'\nusual_run_cadence = '138 spm'\n[limits]\n".to_owned();
            text += &limits.join("\n");
            for (n, (session, sessions)) in stages.iter().enumerate() {
                let _ = writeln!(text, "\n[[stage]]\nname = '{n}'\nsession = '{session}'");
                let _ = sessions.map(|n| writeln!(text, "sessions = {n}"));
            }
            Plan::parse(&text).unwrap_or_else(|error| panic!("{}", error.render(&text))).value
        },
    )
}

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn any_remarks_follow_their_schema(plan in plans()) {
        let remarks = lint(&plan, LintConfig::default());
        let document = Judge::new("plan-lint").judge_text(&plan_lint::json(&LintView::new(&plan, &remarks)));
        prop_assert!(document.is_ok(), "{:?}", document);
        // Sentences are whole and their figures are said.
        for remark in document.unwrap()["remarks"].as_array().unwrap() {
            for part in ["text", "proposal"] {
                let sentence = remark[part].as_str().unwrap();
                prop_assert!(sentence.ends_with('.') && !sentence.contains("  "), "{}", sentence);
            }
        }
    }

    #[test]
    fn any_plan_follows_its_schema(plan in plans()) {
        let document = Judge::new("plan").judge_text(&plan_show::json(&PlanView::new(&plan)));
        prop_assert!(document.is_ok(), "{:?}", document);
        let document = document.unwrap();
        // What is open has an estimate, what is known has none.
        for stage in document["stages"].as_array().unwrap() {
            let is_open = ["run_s", "walk_s", "session_s"].iter().any(|key| stage[key].is_null());
            prop_assert_eq!(is_open, !stage["estimate"].is_null());
        }
        let shown = plan_show::text(&PlanView::new(&plan));
        let shown = anstream::adapter::strip_str(&shown).to_string();
        prop_assert!(shown.lines().all(|line| line.chars().count() <= 80), "{}", shown);
    }

    #[test]
    fn any_card_follows_its_schema(
        plan in plans(),
        recommended in prop::option::of(prop::sample::select(Recommendation::ALL)),
    ) {
        let view = CardView::new(&plan, &plan.stages[0], recommended);
        let document = Judge::new("card").judge_text(&card::json(&view));
        prop_assert!(document.is_ok(), "{:?}", document);
        let is_none = matches!(recommended, Some(Recommendation::Rest | Recommendation::SeeClinician));
        prop_assert_eq!(document.unwrap()["bouts"].as_array().unwrap().is_empty(), is_none);
    }
}

#[test]
fn the_schemas_refuse_what_is_wrong() {
    let plan = Plan::parse("[[stage]]\nname = '1'\nsession = 'run 20:00'").unwrap().value;
    let documents = [
        ("plan-lint", plan_lint::json(&LintView::new(&plan, &lint(&plan, LintConfig::default())))),
        ("plan", plan_show::json(&PlanView::new(&plan))),
        ("card", card::json(&CardView::new(&plan, &plan.stages[0], None))),
    ];
    for (name, document) in documents {
        let judge = Judge::new(name);
        let good = judge.judge_text(&document).unwrap();
        for (key, wrong) in [("schema", json!("jogaudit.other/1")), ("extra", json!(1))] {
            let mut bad = good.clone();
            bad[key] = wrong;
            assert!(judge.judge_text(&format!("{bad}\n")).is_err(), "{name}: {key}");
        }
    }
}
